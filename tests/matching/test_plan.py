"""Several packs at once: against every joint exchange there is, and against the packs answered one by one."""

import random
from dataclasses import replace
from itertools import permutations

import pytest

from plates.matching.limits import keeps
from plates.matching.moves import one_by_one, packs_build
from plates.matching.plan import Move, Plan, Totals, plan
from plates.matching.problem import Installed, Pool, Problem, Slot
from tests.matching import bench, oracle
from tests.matching.packs import FEELER, nm, pool_of, rows, shuffled

BATCHES, CASES = 8, 50


def _rank(problems, exchanges):
    return tuple(map(sum, zip(*map(bench.rank, problems, exchanges), strict=True)))


def _holds(problems, moves, found: Plan):
    """Whether the plan is one: each exchange true, each plate used once, and none taken that has not come out."""
    packs = packs_build(problems, moves)
    out = {(number, *place) for number, one in enumerate(found.exchanges) if one for place in one.outs}
    used = [row for one in found.exchanges if one for _, row in one.ins]
    assert len(used) == len(set(used))
    assert all(packs.source[row] in out for row in used if row in packs.source)
    for problem, one in zip(packs.problems, found.exchanges, strict=True):
        if one:
            assert problem.low_nm <= one.predicted_nm <= problem.high_nm
            assert keeps(problem, one)
            known = {(e.ins, e.outs): e for e in oracle.exchanges(problem)}[one.ins, one.outs]
            assert (known.way, known.predicted_nm, known.sure) == (one.way, one.predicted_nm, one.sure)
            assert one.u_nm == pytest.approx(known.u_nm, rel=1e-12)
    assert found.totals.rank == _rank(problems, found.exchanges)


def _random_bench(seed):
    rng = random.Random(f"plan {seed}")
    return bench.random_bench(rng, rng.choice([2, 2, 3]), rng.choice([1, 2, 4]))


@pytest.mark.parametrize("batch", range(BATCHES))
def test_the_best_of_all_joint_exchanges_and_never_worse_than_one_by_one(batch):
    for seed in range(batch * CASES, (batch + 1) * CASES):
        problems, moves = _random_bench(seed)
        found = plan(problems, moves, seconds=60)
        _holds(problems, moves, found)
        assert found.totals.rank == bench.best_rank(problems, moves), seed
        assert found.proven, seed
        for order in permutations(range(len(problems))):
            answered = one_by_one(packs_build(problems, moves), order)
            assert found.totals.rank <= _rank(problems, [answered[number] for number in range(len(problems))]), seed


def test_the_same_shelf_gives_the_same_answer():
    for seed in range(CASES):
        problems, moves = _random_bench(seed)
        count = len(problems[0].pool)
        order = random.Random(seed).sample(range(count), count)
        mixed = [shuffled(problem, order) for problem in problems]
        mixed = [replace(problem, pool=mixed[0].pool) for problem in mixed]
        one, other = plan(problems, moves), plan(mixed, moves)
        rows_then = [None if e is None else sorted((s, order[r] if r < count else r) for s, r in e.ins) for e in other.exchanges]
        assert rows_then == [None if e is None else sorted(e.ins) for e in one.exchanges], seed
        assert [e and e.outs for e in other.exchanges] == [e and e.outs for e in one.exchanges], seed


def test_a_plate_that_no_pack_can_use_changes_nothing():
    for seed in range(CASES):
        problems, moves = _random_bench(seed)
        pool = problems[0].pool
        more = pool_of(
            [*pool.thickness_nm.tolist(), nm("0.0771")],
            u=[*pool.u_nm.tolist(), 0.0],
            pieces=[*pool.pieces.tolist(), 9],
            received=[*pool.received.tolist(), 0],
            keys=[*pool.keys, -1],
        )
        if pool.gauge is not None:
            more = replace(more, gauge=rows(*pool.gauge.tolist(), -1))
        other = plan([replace(problem, pool=more) for problem in problems], _later(moves))
        one = plan(problems, moves)
        count = len(pool)
        there = [e and tuple((s, r + (r >= count)) for s, r in e.ins) for e in one.exchanges]
        assert [e and e.ins for e in other.exchanges] == there, seed
        assert other.totals == one.totals


def _later(moves):
    return moves
