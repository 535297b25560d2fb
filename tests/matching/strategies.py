"""Hypothesis strategies for packs."""

from hypothesis import strategies as st

from plates.matching.problem import Installed, Problem, Slot
from tests.matching.packs import mirrored, pool_of, rows

STEP = 2_540
thicknesses = st.integers(700, 712).map(STEP.__mul__)
own_u = st.sampled_from([0.0, 3.0 * STEP, 8.0 * STEP])


@st.composite
def pools(draw, most: int = 7):
    count = draw(st.integers(0, most))

    def column(of):
        return draw(st.lists(of, min_size=count, max_size=count))

    return pool_of(
        column(thicknesses),
        u=column(own_u),
        pieces=column(st.integers(1, 3)),
        received=column(st.integers(0, 2)),
        keys=draw(st.permutations(range(count))),
    )


@st.composite
def slots(draw, mine: list[int]):
    cut = draw(st.integers(0, len(mine)))
    stack = st.builds(Installed, thicknesses, st.just(False) | st.booleans(), own_u)
    return Slot(
        "steels",
        tuple(draw(st.lists(stack, max_size=3))),
        swap=draw(st.just(True) | st.booleans()),
        empty=draw(st.sampled_from([0, 0, 0, 1])),
        extra=draw(st.sampled_from([0, 0, 1])),
        ordinary=rows(*mine[:cut]),
        substitute=rows(*mine[cut:]),
    )


@st.composite
def packs(draw, most: int = 7):
    """A small pack of one to three slots whose pools do not overlap, gap or height, inch or mm."""
    pool = draw(pools(most))
    count = draw(st.integers(1, 3))
    low = draw(st.integers(30, 60))
    width = draw(st.integers(1, 25))
    pack = Problem(
        "gap",
        STEP * draw(st.integers(20, 90)),
        STEP * low,
        STEP * (low + width),
        STEP * draw(st.integers(low, low + width)),
        pool,
        tuple(draw(slots(list(range(index, len(pool), count)))) for index in range(count)),
        draw(st.sampled_from([0.0, 1.0, 2.0, 5.0])) * STEP,
        0.5 * STEP,
        max_changes=draw(st.sampled_from([None, None, 1, 3])),
    )
    return mirrored(pack, draw(st.sampled_from(["gap", "height"])), draw(st.sampled_from(["inch", "mm"])))
