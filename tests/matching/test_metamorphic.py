"""What must not change the answer, and what can only make it better: no oracle needed."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plates.matching.problem import Pool, Problem, Way
from plates.matching.search import distances, match
from tests.benchmarks.oracles import differs
from tests.matching.packs import mirrored, told
from tests.matching.strategies import STEP, own_u, packs, thicknesses


@pytest.mark.parametrize("small", [False, True], ids=["solvers", "every exchange"])
def test_the_same_answer_as_the_oracles(small: bool) -> None:
    """A short form of ``python -m tests.benchmarks.oracles``, which tries 2 000 of each."""
    for seed in range(10_000, 10_000 + (60 if small else 15)):
        assert differs(seed, small) == "", seed


def _with_one_more(problem: Problem, slot: int, thickness_nm: int, u_nm: float, substitute: bool) -> Problem:
    pool, row = problem.pool, len(problem.pool)
    slots = list(problem.slots)
    rows = "substitute" if substitute else "ordinary"
    slots[slot] = replace(slots[slot], **{rows: np.append(getattr(slots[slot], rows), row)})
    return replace(
        problem,
        slots=tuple(slots),
        pool=Pool(
            np.append(pool.thickness_nm, thickness_nm),
            np.append(pool.u_nm, u_nm),
            np.append(pool.pieces, 1),
            np.append(pool.received, 9),
            [*pool.keys, 99],
        ),
    )


@settings(max_examples=150, deadline=None)
@given(st.data(), packs(), thicknesses, own_u, st.booleans())
def test_one_more_plate_never_makes_the_best_answer_worse(data, problem, thickness_nm, u_nm, substitute):
    slot = data.draw(st.integers(0, len(problem.slots) - 1))
    richer = _with_one_more(problem, slot, thickness_nm, u_nm, substitute)
    for way in Way:
        before, after = distances(problem, way, 4), distances(richer, way, 4)
        # A plate more opens the way of substitutes; what was reached by fewer slots is reached still.
        assert all(changes in after and after[changes] <= distance for changes, distance in before.items())
    one, other = match(problem), match(richer)
    assert bool(one.options) <= bool(other.options)
    assert any(option.sure for option in one.options) <= any(option.sure for option in other.options)


@settings(max_examples=150, deadline=None)
@given(packs(), st.integers(-300 * STEP, 900 * STEP))
def test_shifting_all_lengths_shifts_nothing(problem, by):
    """Every plate thicker by the same, where as many go in as come out: the same exchanges, the same predictions."""
    fixed = replace(problem, slots=tuple(replace(slot, empty=0, extra=0) for slot in problem.slots))
    shifted = replace(
        fixed,
        pool=replace(fixed.pool, thickness_nm=fixed.pool.thickness_nm + by),
        slots=tuple(
            replace(slot, installed=tuple(replace(one, thickness_nm=one.thickness_nm + by) for one in slot.installed))
            for slot in fixed.slots
        ),
    )
    assert match(shifted).options == match(fixed).options


@settings(max_examples=150, deadline=None)
@given(packs())
def test_a_window_and_a_reading_shifted_together_shift_the_predictions(problem):
    by = 7 * STEP
    moved = ("clearance_nm", "low_nm", "high_nm", "target_nm")
    shifted = replace(problem, **{name: getattr(problem, name) + by for name in moved})
    there = [replace(one, predicted_nm=one.predicted_nm + by) for one in match(problem).options]
    assert [_figures(one) for one in match(shifted).options] == [_figures(one) for one in there]


def _figures(one):
    return one.way, one.ins, one.outs, one.predicted_nm, round(one.probability, 9)


@settings(max_examples=100, deadline=None)
@given(packs(), st.sampled_from(["gap", "height"]), st.sampled_from(["inch", "mm"]))
def test_inch_and_mm_gap_and_height_agree(problem, measures, lattice):
    if problem.measures != "gap" or problem.clearance_nm % STEP:
        return
    mirror = mirrored(problem, measures, lattice)
    here, there = match(problem), match(mirror)
    assert [(one.way, one.ins, one.outs, one.sure) for one in here.options] == [
        (one.way, one.ins, one.outs, one.sure) for one in there.options
    ]
    assert [one.predicted_nm for one in here.options] == [
        told(problem, mirror, one.predicted_nm) for one in there.options
    ]


@settings(max_examples=100, deadline=None)
@given(st.data(), packs())
def test_a_narrower_window_offers_nothing_that_the_wider_one_lacks(data, problem):
    """Of each way and number of changes what is nearest in the narrow window is the nearest in the wide one."""
    off = data.draw(st.integers(0, 3 * STEP))
    narrow = replace(
        problem,
        low_nm=max(problem.low_nm, problem.target_nm - off),
        high_nm=max(min(problem.high_nm, problem.target_nm + off), problem.target_nm + 1),
    )
    wide = {(one.way, one.changes): one.predicted_nm for one in match(problem).options}
    best = {
        way: min((abs(nm - problem.target_nm) for (w, _), nm in wide.items() if w == way), default=None) for way in Way
    }
    for one in match(narrow).options:
        assert best[one.way] is not None and best[one.way] <= abs(one.predicted_nm - problem.target_nm)
