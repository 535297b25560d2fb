"""What would have closed a pack: true at both ends, to the nanometre."""

from dataclasses import replace
from itertools import combinations

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from plates.matching.problem import Pool, Problem, Range, Slot
from plates.matching.search import match
from plates.matching.shortfall import would_close
from tests.matching.packs import installed, nm, pool_of
from tests.matching.strategies import packs


def closes(problem: Problem, slot: int, count: int, thickness: int) -> bool:
    """Whether ``count`` new plates of this thickness, alone on the shelf, close the pack in that slot."""
    pool: Pool = pool_of([thickness] * count)
    none = np.empty(0, np.int64)
    slots = [replace(one, ordinary=none, substitute=none, extra=0) for one in problem.slots]
    slots[slot] = replace(slots[slot], ordinary=np.arange(count))
    answer = match(replace(problem, pool=pool, slots=tuple(slots)))
    return any(option.changes == count for option in answer.options)


@settings(max_examples=120, deadline=None)
@given(problem=packs(), data=st.data())
def test_each_range_is_true_at_both_ends(problem, data):
    ranges = would_close(problem)
    for one in ranges:
        others = [r for r in ranges if (r.slot, r.count) == (one.slot, one.count)]
        for thickness in (one.from_nm, one.to_nm, data.draw(st.integers(one.from_nm, one.to_nm))):
            assert _predictions(problem, one.slot, one.count, thickness)
        for outside in (one.from_nm - 1, one.to_nm + 1):
            if outside >= 1:
                assert not any(r.from_nm <= outside <= r.to_nm for r in others)
                assert not _predictions(problem, one.slot, one.count, outside)


def _predictions(problem: Problem, index: int, count: int, thickness: int) -> bool:
    """By trying every choice of outs."""
    slot = problem.slots[index]
    sign = -1 if problem.measures == "gap" else 1
    out = count - slot.empty
    for choice in combinations(range(len(slot.installed)), max(out, 0)):
        if out < 0 or any(plate.must_go and i not in choice for i, plate in enumerate(slot.installed)):
            continue
        change = count * thickness - sum(slot.installed[i].thickness_nm for i in choice)
        if problem.low_nm <= problem.clearance_nm + sign * change <= problem.high_nm:
            return True
    return False


@settings(max_examples=80, deadline=None)
@given(problem=packs())
def test_the_search_agrees_on_the_first_range(problem):
    """Put on the shelf, a plate at either end closes the pack; one outside does not.

    A pack that stands in its window as it is has no shortfall, and is offered no needless exchange."""
    problem = replace(problem, max_changes=None)
    assume(not any(option.changes == 0 for option in match(problem).options))
    for one in would_close(problem):
        if one.count == 1:
            assert closes(problem, one.slot, 1, one.from_nm)
            assert closes(problem, one.slot, 1, one.to_nm)
            assert closes(problem, one.slot, 1, one.to_nm + 1) == any(
                other.slot == one.slot and other.count == 1 and other.from_nm <= one.to_nm + 1 <= other.to_nm
                for other in would_close(problem)
            )


def stack(*thickness: str, reads: str, **more) -> Problem:
    slot = Slot("steels", installed(*map(nm, thickness)), swap=True, **more)
    return Problem("gap", nm(reads), nm("0.048"), nm("0.072"), nm("0.060"), pool_of([]), (slot,), 0.0, 0.0)


def test_ranges_of_different_outs_are_joined_where_they_meet():
    apart = stack("0.0500", "0.1000", reads="0.089")
    assert [r for r in would_close(apart) if r.count == 1] == [
        Range(0, 1, nm("0.067"), nm("0.091")),
        Range(0, 1, nm("0.117"), nm("0.141")),
    ]
    meeting = stack("0.0500", "0.0740", reads="0.089")
    assert [r for r in would_close(meeting) if r.count == 1] == [Range(0, 1, nm("0.067"), nm("0.115"))]


def test_two_equal_plates_fill_an_empty_place_and_replace_one():
    problem = stack("0.0770", reads="0.166", empty=1)
    assert would_close(problem) == (
        Range(0, 1, nm("0.094"), nm("0.118")),
        Range(0, 2, nm("0.0855"), nm("0.0975")),
    )


def test_nothing_closes_a_pack_that_two_slots_keep_open():
    problem = stack("0.0770", reads="0.166", empty=1)
    other = Slot("other", (), empty=1)
    assert would_close(replace(problem, slots=(*problem.slots, other))) == ()
