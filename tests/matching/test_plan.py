"""Several packs at once: against every joint exchange there is, and against the packs answered one by one."""

import random
from dataclasses import replace
from itertools import permutations

import pytest

from plates.matching.limits import keeps
from plates.matching.plan import packmodel
from plates.matching.plan import plan as planning
from plates.matching.plan.moves import one_by_one, packs_build
from plates.matching.plan.plan import Move, Plan, Totals, plan
from plates.matching.problem import Installed, Problem, Slot
from tests.matching import bench, oracle
from tests.matching.packs import FEELER, nm, pool_of, rows, shuffled

BATCHES, CASES = 8, 40
#: Each plate's own u and what each one moved adds (common practice, no source).
MICROMETER_NM, STACKED_NM = float(nm("0.0002")), float(nm("0.0005"))


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


def test_the_model_needs_no_good_start(monkeypatch):
    monkeypatch.setattr(planning, "one_by_one", lambda packs, order: dict.fromkeys(order))
    for seed in range(2 * CASES):
        problems, moves = _random_bench(seed)
        found = plan(problems, moves, seconds=60)
        _holds(problems, moves, found)
        assert found.proven
        assert found.totals.rank == bench.best_rank(problems, moves), seed


def test_the_same_shelf_gives_the_same_answer():
    for seed in range(CASES):
        problems, moves = _random_bench(seed)
        count = len(problems[0].pool)
        order = random.Random(seed).sample(range(count), count)
        mixed = [shuffled(problem, order) for problem in problems]
        mixed = [replace(problem, pool=mixed[0].pool) for problem in mixed]
        one, other = plan(problems, moves), plan(mixed, moves)
        rows_then = [
            None if e is None else sorted((s, order[r] if r < count else r) for s, r in e.ins) for e in other.exchanges
        ]
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
        other = plan([replace(problem, pool=more) for problem in problems], moves)
        one = plan(problems, moves)
        count = len(pool)
        there = [e and tuple((s, r + (r >= count)) for s, r in e.ins) for e in one.exchanges]
        assert [e and e.ins for e in other.exchanges] == there, seed
        assert other.totals == one.totals


def _pack(reads, thickness, count, low, high, pool):
    """A pack of ``count`` steels of one thickness, read with a micrometer; inches."""
    stack = tuple(Installed(nm(thickness), u_nm=MICROMETER_NM) for _ in range(count))
    low_nm, high_nm = nm(low), nm(high)
    slot = Slot("steels", stack, swap=True, ordinary=rows(*range(len(pool))))
    target_nm = (low_nm + high_nm) // 2
    return Problem("gap", nm(reads), low_nm, high_nm, target_nm, pool, (slot,), float(nm(FEELER)), STACKED_NM)


def _swapping(*problems):
    """All plates may go into all other packs."""
    packs = range(len(problems))
    return [
        Move(pack, 0, index, tuple((other, 0) for other in packs if other != pack))
        for pack in packs
        for index in range(len(problems[pack].slots[0].installed))
    ]


def _two_packs(pool):
    return _pack(".034", ".0771", 5, ".040", ".060", pool), _pack(".078", ".0701", 6, ".048", ".072", pool)


def test_two_packs_close_each_other_over_an_empty_shelf():
    """Five and six frictions (rule of the trade, common practice, no source). One plate each way gives .041 and .071,
    both marginal with u .0017; two give .048 and .064 with u .0018, both sure; three .055 and .057, more changes for
    what is sure already. Sure comes before fewest changes, so it is two.
    """
    problems = _two_packs(pool_of([]))
    moves = _swapping(*problems)
    found = plan(problems, moves)
    assert found.totals == found.bound == Totals(closed=2, sure=2, changes=4, distance_nm=nm(".006"))
    first, second = found.exchanges
    assert (first.predicted_nm, second.predicted_nm) == (nm(".048"), nm(".064"))
    assert first.u_nm == second.u_nm == pytest.approx((1.5**2 + 4 * (0.2**2 + 0.5**2)) ** 0.5 * nm(".001"))
    assert {moves[row].pack for _, row in first.ins} == {1}
    assert {moves[row].pack for _, row in second.ins} == {0}
    assert {moves[row].index for _, row in second.ins} == {index for _, index in first.outs}


def test_with_one_plate_each_way_both_would_be_marginal():
    problems = [replace(problem, max_changes=1) for problem in _two_packs(pool_of([]))]
    found = plan(problems, _swapping(*problems))
    assert [one.predicted_nm for one in found.exchanges] == [nm(".041"), nm(".071")]
    assert found.totals == Totals(closed=2, sure=0, changes=2, distance_nm=nm(".020"))


def test_more_packs_close_than_one_by_one_in_any_order():
    """Nobody can begin: each pack needs what another one gives."""
    problems = _two_packs(pool_of([]))
    moves = _swapping(*problems)
    for order in ((0, 1), (1, 0)):
        assert not any(one_by_one(packs_build(problems, moves), order).values())
    assert plan(problems, moves).totals.closed == 2
    assert plan(problems).totals == Totals()  # and nothing when the plates may not move


def test_a_plate_that_must_go_does_not_move():
    first, second = _two_packs(pool_of([]))
    coned = tuple(replace(plate, must_go=index < 2) for index, plate in enumerate(first.slots[0].installed))
    problems = (replace(first, slots=(replace(first.slots[0], installed=coned),)), second)
    found = plan(problems, _swapping(*problems))
    assert found.proven and found.totals.closed == 0  # what B would give for two of A, it would need back


def test_the_older_of_two_like_plates_goes_and_the_shelf_before_another_pack():
    pool = pool_of([nm(".0701")] * 4, received=[5, 1, 3, 9], u=[MICROMETER_NM] * 4)
    first, second = _two_packs(pool)
    found = plan((first, replace(second, clearance_nm=nm(".060"))), _swapping(first, second))
    assert found.exchanges[0].ins == ((0, 1), (0, 2))
    assert found.exchanges[1].ins == ()


def test_a_pack_that_is_in_its_window_counts_as_closed_and_may_still_give():
    """B lies in its window, but A closes only with plates of B, and B then needs what A gives."""
    first, second = _two_packs(pool_of([]))
    second = replace(second, clearance_nm=nm(".070"))
    found = plan((first, second), _swapping(first, second))
    assert found.totals == Totals(closed=2, sure=2, changes=4, distance_nm=nm(".002") + nm(".004"))
    assert plan((second,)).totals == Totals(1, 0, 0, nm(".010"))


def test_what_the_model_takes_for_sure_and_is_not_is_found_out(monkeypatch):
    """Every plate with a u of its own, and no cut but those that a false claim brings."""
    monkeypatch.setattr(packmodel, "doubtful", lambda *_: [])
    for seed in range(CASES):
        rng = random.Random(f"found out {seed}")
        pool = pool_of([2_540 * rng.randint(700, 790) for _ in range(4)], u=[rng.uniform(0, 60_000) for _ in range(4)])
        problems = [
            replace(problem, clearance_nm=problem.target_nm + 2_540 * rng.randint(-120, 120))
            for problem in (_pack(".050", f"0.0{rng.randint(700, 790)}", 2, ".042", ".058", pool) for _ in range(2))
        ]
        found = plan(problems, _swapping(*problems), seconds=60)
        assert found.proven
        assert found.totals.rank == bench.best_rank(problems, _swapping(*problems)), seed


def test_stopped_at_once_it_is_a_plan_and_says_what_could_be():
    for seed in range(CASES):
        problems, moves = _random_bench(seed)
        cut, best = plan(problems, moves, seconds=0.0), plan(problems, moves)
        _holds(problems, moves, cut)
        packs = packs_build(problems, moves)
        for order in (range(len(problems)), reversed(range(len(problems)))):
            answered = one_by_one(packs, order)
            assert cut.totals.rank <= _rank(problems, [answered[number] for number in range(len(problems))])
        assert cut.bound.rank <= best.totals.rank <= cut.totals.rank
    problems = _two_packs(pool_of([]))
    cut = plan(problems, _swapping(*problems), seconds=0.0)
    assert not cut.proven
    assert (cut.totals.closed, cut.bound.closed) == (0, 2)


def test_what_cannot_be_planned_is_refused():
    first, second = _two_packs(pool_of([]))
    with pytest.raises(ValueError, match="one pool"):
        plan((first, replace(second, pool=pool_of([nm(".0771")]))))
    with pytest.raises(ValueError, match="its own pack"):
        plan((first, second), [Move(0, 0, 0, ordinary=((0, 0),))])
    with pytest.raises(ValueError, match="listed once"):
        plan((first, second), [Move(0, 0, 0, ((1, 0),)), Move(0, 0, 0, (), ((1, 0),))])
    assert plan(()).exchanges == ()
