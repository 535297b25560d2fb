"""Against every exchange there is, on small packs with a bit of everything."""

import random
from dataclasses import replace

import pytest

from plates.matching.problem import Way
from plates.matching.search import distances, match
from plates.matching.shortfall import would_close
from tests.matching import oracle
from tests.matching.packs import random_pack

PACKS = 100  # for each of the four mirrors and each kind of window


def _shown(problem, exchange, overlapping):
    if overlapping:  # which slot takes which of two equal plates is no matter of the answer
        return exchange.way, exchange.changes, oracle.figures(problem, exchange)
    return exchange.way, exchange.ins, exchange.outs


def _overlapping(problem):
    used = [row for slot in problem.slots for row in {*slot.ordinary.tolist(), *slot.substitute.tolist()}]
    return len(used) != len(set(used))


@pytest.mark.parametrize("tight", [False, True], ids=["wide", "4 nm"])
def test_options_and_their_order(mirror, tight):
    answered = 0
    for seed in range(PACKS):
        problem = mirror(random_pack(random.Random(seed), 7))
        if tight:
            problem = _tightened(problem)
        overlapping = _overlapping(problem)
        expected = [_shown(problem, one, overlapping) for one in oracle.options(problem)]
        answer = match(problem)
        assert [_shown(problem, one, overlapping) for one in answer.options] == expected, seed
        assert (answer.shortfall is None) == bool(expected)
        answered += bool(expected)
    assert answered >= PACKS // 20


def _rank(problem, one):
    return abs(one.predicted_nm - problem.target_nm), one.way, one.changes


def _tightened(problem):
    return replace(problem, low_nm=problem.target_nm - 2, high_nm=problem.target_nm + 2)


def test_distance_of_every_way_and_number_of_changes(mirror):
    for seed in range(PACKS):
        problem = mirror(random_pack(random.Random(1_000 + seed), 7))
        best: dict[tuple[Way, int], int] = {}
        for one in oracle.exchanges(problem):
            distance = abs(one.predicted_nm - problem.target_nm)
            best[one.way, one.changes] = min(distance, best.get((one.way, one.changes), distance))
        for way in Way:
            most = problem.max_changes if problem.max_changes is not None else 12
            assert distances(problem, way, most) == {k: d for (w, k), d in best.items() if w == way and k}, seed


def test_the_figures_of_each_option(mirror):
    for seed in range(PACKS):
        problem = mirror(random_pack(random.Random(2_000 + seed), 7))
        known = {(one.ins, one.outs): one for one in oracle.exchanges(problem)}
        for option in match(problem).options:
            same = known[option.ins, option.outs]
            assert option.predicted_nm == same.predicted_nm
            assert option.way == same.way
            assert option.u_nm == pytest.approx(same.u_nm, rel=1e-12)
            assert option.probability == pytest.approx(same.probability, abs=1e-12)


def test_nearest_on_hand_where_nothing_closes(mirror):
    short = 0
    for seed in range(PACKS):
        problem = mirror(random_pack(random.Random(3_000 + seed), 7))
        answer = match(problem)
        if answer.shortfall is None:
            continue
        short += 1
        everything = oracle.exchanges(problem)
        ranks = [_rank(problem, one) for one in everything]
        nearest = answer.shortfall.nearest
        assert (nearest and _rank(problem, nearest)) == min(ranks, default=None), seed
        assert answer.shortfall.would_close == would_close(problem)
    assert short >= PACKS // 4
