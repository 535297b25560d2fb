"""Limits on a pack: how much its plates may differ, how high its stack may grow."""

import random
from collections import Counter
from dataclasses import replace

import pytest

from plates.matching.limits import keeps
from plates.matching.problem import Problem, Slot, Splines, Spread
from plates.matching.search import match
from plates.matching.shortfall import would_close
from tests.matching import oracle
from tests.matching.packs import installed, nm, pool_of, random_pack, rows, with_limits

PACKS = 250


def _shown(problem, exchange):
    """Of exchanges equal in every figure either may be named."""
    return exchange.way, exchange.changes, *oracle.figures(problem, exchange)


def _limited(seed, mirror, plates=7):
    rng = random.Random(seed)
    return mirror(with_limits(random_pack(rng, plates), rng))


def test_options_are_those_of_every_exchange_that_keeps_to_the_limits(mirror):
    seen = Counter()
    for seed in range(PACKS):
        problem = _limited(seed, mirror)
        expected = [_shown(problem, one) for one in oracle.options(problem)]
        answer = match(problem)
        assert [_shown(problem, one) for one in answer.options] == expected, seed
        assert all(keeps(problem, one) for one in answer.options)
        free = match(replace(problem, spread=None, splines=None))
        seen["limits mattered"] += [_shown(problem, one) for one in free.options] != expected
        seen["answered"] += bool(expected)
    assert seen["limits mattered"] >= PACKS // 10 and seen["answered"] >= PACKS // 20


def test_a_shortfall_names_the_nearest_that_keeps_to_them(mirror):
    seen = 0
    for seed in range(PACKS):
        problem = replace(_limited(1_000 + seed, mirror), low_nm=1, high_nm=2, target_nm=1)
        answer = match(problem)
        reachable = oracle.exchanges(problem)
        nearest = min((abs(one.predicted_nm - 1), one.way, one.changes) for one in reachable) if reachable else None
        found = answer.shortfall.nearest
        assert (found and (abs(found.predicted_nm - 1), found.way, found.changes)) == nearest, seed
        seen += nearest is not None
    assert seen >= PACKS // 2


def test_what_would_close_it_keeps_to_them(mirror):
    """At both ends of every range the new plates close the pack, one nanometre beyond they do not."""
    ends = 0
    for seed in range(PACKS):
        problem = _limited(2_000 + seed, mirror)
        if problem.max_changes is not None:
            continue
        for found in would_close(problem):
            for edge, closes in (
                (found.from_nm, True),
                (found.to_nm, True),
                (found.from_nm - 1, False),
                (found.to_nm + 1, False),
            ):
                if edge > 0:
                    assert _closed_by(problem, found.slot, found.count, edge) == closes, (seed, found, edge)
                    ends += 1
    assert ends > PACKS


def _closed_by(problem: Problem, index: int, count: int, thickness_nm: int) -> bool:
    slots = [
        replace(slot, extra=0, ordinary=rows(*range(count)) if place == index else rows(), substitute=rows())
        for place, slot in enumerate(problem.slots)
    ]
    asked = replace(problem, pool=pool_of([thickness_nm] * count), slots=tuple(slots))
    fits = [one for one in oracle.exchanges(asked) if asked.low_nm <= one.predicted_nm <= asked.high_nm]
    return any(one.changes == count for one in fits)


def _pack(stack, shelf, *, reads, spread=None, splines=None, ring=None):
    slots = [Slot("steels", installed(*map(nm, stack)), swap=True, ordinary=rows(*range(len(shelf))))]
    lying = [nm(one) for one in shelf]
    if ring:
        fitted, on_hand = ring
        slots.append(
            Slot("ring", installed(nm(fitted)), swap=True, ordinary=rows(*range(len(lying), len(lying) + len(on_hand))))
        )
        lying += [nm(one) for one in on_hand]
    return Problem(
        "gap", nm(reads), nm("0.040"), nm("0.060"), nm("0.050"), pool_of(lying), tuple(slots), 38_100.0, 13_678.0,
        spread=spread, splines=splines,
    )  # fmt: skip


def test_a_thick_steel_beside_thin_ones_is_left_where_the_pack_must_be_even():
    stack, shelf = ["0.0700"] * 5, ["0.0950", "0.0780", "0.0780", "0.0780"]
    free = match(_pack(stack, shelf, reads="0.075"))
    even = match(_pack(stack, shelf, reads="0.075", spread=Spread((0,), nm("0.0100"))))
    assert [one.changes for one in free.options if one.sure] == [1]
    assert [(one.changes, one.predicted_nm) for one in even.options if one.sure] == [(3, nm("0.051"))]


def test_a_pack_as_it_stands_is_no_option_where_its_plates_differ_too_much():
    uneven = _pack(["0.0700", "0.0700", "0.0850"], ["0.0700"], reads="0.050", spread=Spread((0,), nm("0.0100")))
    assert match(uneven).options == ()
    even = replace(uneven, clearance_nm=nm("0.035"))
    assert [(one.changes, one.predicted_nm) for one in match(even).options] == [(1, nm("0.050"))]


@pytest.mark.parametrize("grow_nm, changed", [(nm("0.0100"), {0}), (nm("0.0099"), {1})])
def test_the_ring_takes_up_what_the_splines_leave_no_room_for(grow_nm, changed):
    pack = _pack(["0.0700"] * 3, ["0.0800"], reads="0.060", splines=Splines((0,), grow_nm), ring=("0.0620", ["0.0720"]))
    nearest = [one for one in match(pack).options if one.predicted_nm == nm("0.050")]
    assert [{slot for slot, _ in one.ins} for one in nearest] == [changed]


def test_off_the_splines_stand_only_single_plates():
    pack = _pack(["0.0700"] * 3, ["0.0800"], reads="0.060", splines=Splines((), 0))
    with pytest.raises(ValueError, match="holds more than one plate"):
        match(pack)
