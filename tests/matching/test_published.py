"""Selection against figures from outside the project, each with its source."""

import numpy as np
import pytest

from plates.matching.problem import Problem, Slot, Way
from plates.matching.search import distances, match
from tests.matching.packs import every, installed, nm, pool_of


def filled(weights: list[int], total: int, count: int, **columns) -> Problem:
    """A pack with ``count`` empty places that must be filled to the point: the sum put in is ``total``."""
    pool = pool_of(weights, **columns)
    slot = Slot("all", empty=count, ordinary=every(pool))
    return Problem("gap", total + 1_000, 1_000, 1_000, 1_000, pool, (slot,), 0.0, 0.0)


def chosen(problem: Problem) -> list[list[int]]:
    return [sorted(int(problem.pool.thickness_nm[row]) for _, row in one.ins) for one in match(problem).options]


def reaches(weights: list[int], total: int) -> list[int]:
    """The numbers of plates with which the total is met exactly."""
    pool = pool_of(weights)
    slot = Slot("all", extra=len(weights), ordinary=every(pool))
    problem = Problem("gap", total + 1_000, 1_000, 1_000, 1_000, pool, (slot,), 0.0, 0.0)
    return [k for k, distance in distances(problem, Way.EXTRA, len(weights)).items() if distance == 0]


def test_subset_sum_with_a_single_answer():
    # J. Burkardt, SUBSET_SUM data sets, P02.
    weights = [267, 493, 869, 961, 1000, 1153, 1246, 1598, 1766, 1922]
    assert reaches(weights, 5842) == [5]
    assert chosen(filled(weights, 5842, 5)) == [[869, 961, 1000, 1246, 1766]]
    for taken in (869, 961, 1000, 1246, 1766):
        assert chosen(filled([one for one in weights if one != taken], 5842, 5)) == []


def test_subset_sum_with_three_answers():
    # J. Burkardt, SUBSET_SUM data sets, P01: {15,22,16}, {22,14,9,8}, {15,14,16,8}.
    weights = [15, 22, 14, 26, 32, 9, 16, 8]
    assert reaches(weights, 53) == [3, 4]
    assert chosen(filled(weights, 53, 3)) == [[15, 16, 22]]
    assert chosen(filled([one for one in weights if one != 15], 53, 4)) == [[8, 9, 14, 22]]
    assert chosen(filled([one for one in weights if one != 22], 53, 4)) == [[8, 14, 15, 16]]
    assert chosen(filled([one for one in weights if one not in (15, 9)], 53, 4)) == []


def test_subset_sum_with_duplicates():
    # J. Burkardt, SUBSET_SUM data sets, P04: two answers by item, one by value.
    weights = [41, 34, 21, 20, 8, 7, 7, 4, 3, 3]
    counts = reaches(weights, 50)
    by_value = {tuple(values) for count in counts for values in chosen(filled(weights, 50, count))}
    (values,) = by_value
    (double,) = [one for one in set(values) if weights.count(one) == 2 and values.count(one) == 1]
    once, twice = weights.copy(), weights.copy()
    once.remove(double)
    twice = [one for one in weights if one != double]
    assert chosen(filled(once, 50, len(values))) == [list(values)]
    assert reaches(twice, 50) == []


def test_knapsack():
    # J. Burkardt, KNAPSACK_01, P01: capacity 165, best profit 309. The best load weighs 165 to the point, so among
    # all loads of five that do, the one with the largest sum of pieces is the published one.
    weights, profits = [23, 31, 29, 44, 53, 38, 63, 85, 89, 82], [92, 57, 49, 68, 60, 43, 67, 84, 87, 72]
    problem = filled(weights, 165, 5, pieces=profits)
    (option,) = match(problem).options
    assert sum(profits[row] for _, row in option.ins) == 309


def test_selective_end_plates():
    # Published service manual: window 1.51-1.71 mm, plates 3.0 3.2 3.4 3.6 3.8 mm. On a 0.01 mm grid of 101 gap
    # sums exactly one fits at 97 and two at 4.
    sizes = [nm(one, "mm") for one in ("3.0", "3.2", "3.4", "3.6", "3.8")]
    low, high = nm("1.51", "mm"), nm("1.71", "mm")
    fitting = []
    for step in range(101):
        room = sizes[0] + low + step * nm("0.01", "mm")
        fits = 0
        for size in sizes:
            slot = Slot("end plate", empty=1, ordinary=np.array([0]))
            alone = Problem("gap", room, low, high, (low + high) // 2, pool_of([size]), (slot,), 0.0, 0.0)
            fits += len(match(alone).options)
        pool = pool_of(sizes)
        slot = Slot("end plate", empty=1, ordinary=every(pool))
        whole = Problem("gap", room, low, high, (low + high) // 2, pool, (slot,), 0.0, 0.0)
        assert len(match(whole).options) == 1  # of two that fit the nearer one is shown
        fitting.append(fits)
    assert (fitting.count(1), fitting.count(2)) == (97, 4)


def washers(room: int, sizes: list[int]) -> bool:
    pool = pool_of(sizes)
    slot = Slot("washer", empty=1, ordinary=every(pool))
    low, high = nm("0.004"), nm("0.022")
    problem = Problem("gap", room, low, high, (low + high) // 2, pool, (slot,), 0.0, 0.0)
    return bool(match(problem).options)


def test_selective_washers():
    # US Army TM 9-2320-387-24-2, Table 28-2: washers 0.057-0.061 … 0.121-0.125 in steps of 0.016 in, end play
    # 0.004-0.022 in. Each at its middle, one always fits; at the ends of their tolerance the worst step is 0.020 in,
    # wider than the window, and there are rooms that none fits.
    thou = nm("0.001")
    middles = [nm("0.059") + step * 16 * thou for step in range(5)]
    rooms = range(middles[0] + 4 * thou, middles[-1] + 22 * thou + 1, thou // 2)
    assert all(washers(room, middles) for room in rooms)
    assert not washers(rooms[0] - 1, middles)
    ends = [middles[0] - 2 * thou, middles[1] + 2 * thou]
    assert ends[1] - ends[0] == nm("0.020")
    assert washers(ends[0] + 22 * thou, ends)
    assert not washers(ends[0] + 22 * thou + 1, ends)
    assert not washers(ends[1] + 4 * thou - 1, ends)
    assert washers(ends[1] + 4 * thou, ends)


@pytest.mark.parametrize("missing", ["0.001", "0.010", "0.017"])
def test_thick_and_thin_steels(missing):
    # US Army TM 9-2320-279-34-1, p. 7-111: thick steels 0.116-0.123, thin 0.099-0.106, stack 2.521-2.553 in; the
    # midpoints differ by 0.017, so a stack up to that much too low is closed by one thick in place of a thin.
    thick, thin = (nm("0.116") + nm("0.123")) // 2, (nm("0.099") + nm("0.106")) // 2
    assert thick - thin == nm("0.017")
    low, high = nm("2.521"), nm("2.553")
    pool = pool_of([thick])
    slot = Slot("steels", installed(*[thin] * 4), swap=True, ordinary=every(pool))
    problem = Problem("height", low - nm(missing), low, high, (low + high) // 2, pool, (slot,), 0.0, 0.0)
    (option,) = match(problem).options
    assert option.changes == 1
    assert option.predicted_nm == low - nm(missing) + nm("0.017")
