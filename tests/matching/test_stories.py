"""The day's questions with invented numbers, each told as gap and height, in inch and mm."""

import pytest

from plates.matching.problem import Pool, Problem, Range, Slot, Way
from plates.matching.search import match
from tests.matching.packs import FEELER, MOVE_NM, every, installed, nm, pool_of, told


def pack(reads: str, window: tuple[str, str], stack: tuple[str, ...], shelf: tuple[str, ...], **more) -> Problem:
    """One slot of steels; the target is the middle of the window; everything in inch, read by feeler."""
    low, high = map(nm, window)
    pool: Pool = pool_of([nm(one) for one in shelf])
    slot = Slot("steels", installed(*map(nm, stack)), swap=bool(stack), ordinary=every(pool), **more)
    return Problem(
        "gap", nm(reads), low, high, (low + high) // 2, pool, (slot,), float(nm(FEELER)), MOVE_NM
    )  # fmt: skip


def thicknesses(problem: Problem, option) -> tuple[list[int], list[int]]:
    ins = sorted(int(problem.pool.thickness_nm[row]) for _, row in option.ins)
    return ins, sorted(problem.slots[slot].installed[i].thickness_nm for slot, i in option.outs)


def test_loose(mirror):
    steels, shelf = ("0.0698", "0.0699", "0.0700", "0.0701", "0.0702"), ("0.0771", "0.0771", "0.0768")
    problem = pack("0.074", ("0.040", "0.060"), steels, shelf)
    mirrored = mirror(problem)
    three, two = match(mirrored).options
    assert (three.changes, three.sure, three.way) == (3, True, Way.ORDINARY)
    assert told(problem, mirrored, three.predicted_nm) == nm("0.0527")
    assert three.outs == ((0, 0), (0, 1), (0, 2))  # the thinnest three
    assert (two.changes, two.sure) == (2, False)
    assert told(problem, mirrored, two.predicted_nm) == nm("0.0595")
    assert 0.5 < two.probability < 0.95


SIX = ("0.0770",) * 6


def test_nothing_on_the_shelf(mirror):
    problem = pack("0.089", ("0.048", "0.072"), SIX, ("0.0855",))
    mirrored = mirror(problem)
    answer = match(mirrored)
    assert answer.options == ()
    nearest = answer.shortfall.nearest
    assert (nearest.changes, told(problem, mirrored, nearest.predicted_nm)) == (1, nm("0.0805"))
    step = int(mirrored.pool.thickness_nm[0]) // 855  # a tenth of a thou, or what stands for it in mm
    assert answer.shortfall.would_close == (Range(0, 1, 940 * step, 1180 * step), Range(0, 2, 855 * step, 975 * step))


@pytest.mark.parametrize(
    ("shelf", "changes", "predicted"),
    [
        (("0.087", "0.087"), 2, "0.0690"),
        (("0.0855", "0.087", "0.087"), 3, "0.0605"),
        (("0.087", "0.087", "0.087"), 3, "0.0590"),
    ],
)
def test_what_would_have_closed_it(mirror, shelf, changes, predicted):
    problem = pack("0.089", ("0.048", "0.072"), SIX, shelf)
    mirrored = mirror(problem)
    found = {one.changes: told(problem, mirrored, one.predicted_nm) for one in match(mirrored).options}
    assert found[changes] == nm(predicted)


def test_short_a_steel(mirror):
    """The reading is one steel too many: counted anew, the empty place takes it and nothing else happens."""
    stack = ("0.0775",) * 4
    open_place = pack("0.1275", ("0.040", "0.060"), stack, ("0.0775",), empty=1)
    best = match(mirror(open_place)).options[0]
    assert (best.way, best.changes, best.outs, best.sure) == (Way.ORDINARY, 1, (), True)
    assert best.predicted_nm == mirror(open_place).target_nm
    added = pack("0.1275", ("0.040", "0.060"), stack, ("0.0775",), extra=1)
    best = match(mirror(added)).options[0]
    assert (best.way, best.changes, best.outs, best.sure) == (Way.EXTRA, 1, (), True)
    full = pack("0.1275", ("0.040", "0.060"), stack, ("0.0775",))
    assert match(mirror(full)).options == ()


def test_height_goes_the_other_way():
    """38.46 mm where 37.8-38.2 is wanted: a thinner plate in makes it lower; the gap formula would say 38.86."""
    pool = pool_of([nm("1.60", "mm")])
    slot = Slot("steels", installed(nm("2.00", "mm")), swap=True, ordinary=every(pool))
    problem = Problem(
        "height", nm("38.46", "mm"), nm("37.8", "mm"), nm("38.2", "mm"), nm("38.0", "mm"), pool, (slot,),
        float(nm(FEELER)), MOVE_NM,
    )  # fmt: skip
    (option,) = match(problem).options
    assert thicknesses(problem, option) == ([nm("1.60", "mm")], [nm("2.00", "mm")])
    assert option.predicted_nm == nm("38.06", "mm")


def test_in_the_window_there_is_nothing_to_do(mirror):
    """Single-sided plates, six outer and six inner, count six: 0.061 lies in 0.048-0.072."""
    problem = mirror(pack("0.061", ("0.048", "0.072"), SIX, ("0.0780", "0.0760")))
    still = match(problem).options[0]
    assert (still.changes, still.way, still.sure) == (0, Way.ORDINARY, True)
    assert still.predicted_nm == problem.clearance_nm


def test_ring_set():
    """Ring 2.00 mm, reads 0.82 where 1.00-1.30 is wanted: 1.60 (1.22) before 1.80 (1.02), both short of sure.

    1.02 lies farther from the target than 1.22 with as many changes, so one option is shown.
    """
    pool = pool_of([nm("1.60", "mm"), nm("1.80", "mm")])
    slot = Slot("ring", installed(nm("2.00", "mm")), swap=True, ordinary=every(pool))
    problem = Problem(
        "gap", nm("0.82", "mm"), nm("1.00", "mm"), nm("1.30", "mm"), nm("1.15", "mm"), pool, (slot,),
        float(nm("0.08", "mm")), 0.0,
    )  # fmt: skip
    (option,) = match(problem).options
    assert (option.predicted_nm, option.sure) == (nm("1.22", "mm"), False)
