"""The order is total: the same shelf gives the same answer, and what has no part in it changes nothing."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plates.matching.problem import Pool, Problem, Slot, Way
from plates.matching.search import match
from tests.matching import oracle
from tests.matching.packs import every, installed, nm, pool_of, rows, shuffled
from tests.matching.strategies import packs


def named(problem: Problem, answer):
    """The answer told by the keys of the plates instead of by their rows."""

    def one(exchange):
        keys = tuple(sorted((slot, problem.pool.keys[row]) for slot, row in exchange.ins))
        return exchange and (exchange.way, keys, exchange.outs, exchange.predicted_nm, exchange.sure)

    return [one(option) for option in answer.options], answer.shortfall and (
        answer.shortfall.nearest and one(answer.shortfall.nearest),
        answer.shortfall.would_close,
    )


@settings(max_examples=150, deadline=None)
@given(problem=packs())
def test_every_option_is_the_best_of_all_exchanges(problem):
    shown = [(one.way, one.ins, one.outs) for one in match(problem).options]
    assert shown == [(one.way, one.ins, one.outs) for one in oracle.options(problem)]


@settings(max_examples=100, deadline=None)
@given(data=st.data(), problem=packs())
def test_rows_in_any_order_give_the_same_answer(data, problem):
    order = data.draw(st.permutations(range(len(problem.pool))))
    other = shuffled(problem, order)
    assert named(other, match(other)) == named(problem, match(problem))


@settings(max_examples=100, deadline=None)
@given(data=st.data(), problem=packs())
def test_a_plate_that_no_option_takes_may_leave_the_shelf(data, problem):
    answer = match(problem)
    taken = {row for option in answer.options for _, row in option.ins}
    idle = [row for row in range(len(problem.pool)) if row not in taken]
    if not answer.options or not idle:
        return
    gone = data.draw(st.sampled_from(idle))
    without = replace(
        problem,
        slots=tuple(
            replace(
                slot,
                ordinary=slot.ordinary[slot.ordinary != gone],
                substitute=slot.substitute[slot.substitute != gone],
            )
            for slot in problem.slots
        ),
    )
    assert named(problem, match(without)) == named(problem, answer)


def ask(pool: Pool, *stack: str, reads: str, target: str = "0.050", u: str = "0", **more) -> Problem:
    slot = Slot("steels", installed(*map(nm, stack)), swap=True, ordinary=every(pool))
    return Problem(
        "gap", nm(reads), nm("0.040"), nm("0.060"), nm(target), pool, (slot,), float(nm(u)), 0.0, **more
    )  # fmt: skip


def test_the_fuller_size_then_the_older_plate_then_the_key(mirror):
    def first(**columns):
        problem = mirror(ask(pool_of([nm("0.080")] * 3, **columns), "0.070", reads="0.060"))
        return next(one for one in match(problem).options if one.changes == 1).ins

    assert first(pieces=[4, 9, 9], received=[1, 3, 2], keys=[1, 2, 3]) == ((0, 2),)
    assert first(pieces=[9, 9, 9], received=[3, 2, 2], keys=[1, 3, 2]) == ((0, 2),)
    assert first(pieces=[4, 9, 9], received=[1, 2, 3], keys=[3, 2, 1]) == ((0, 1),)


def test_of_equally_near_ones_the_sure_one(mirror):
    """The plate that lies in numbers is uncertain; the lone measured one lands in the window for sure."""
    pool = pool_of([nm("0.080")] * 2, u=[float(nm("0.008")), 0.0], pieces=[20, 1])
    option = next(one for one in match(mirror(ask(pool, "0.070", reads="0.060"))).options if one.changes)
    assert (option.ins, option.sure) == (((0, 1),), True)


def test_a_sure_one_farther_from_the_target_is_not_missed(mirror):
    """The nearest is uncertain; a measured plate a little farther off is sure with as many changes."""
    pool = pool_of([nm("0.090"), nm("0.088")], u=[float(nm("0.008")), 0.0])
    options = match(mirror(ask(pool, "0.070", reads="0.070"))).options
    assert [(one.ins, one.sure) for one in options] == [(((0, 1),), True), (((0, 0),), False)]


def test_a_target_off_the_middle(mirror):
    """The target sits on the limit: the exchange that meets it is a toss-up, the sure one is shown first."""
    pool = pool_of([nm("0.080"), nm("0.085")])
    options = match(mirror(ask(pool, "0.070", reads="0.070", target="0.060", u="0.0015"))).options
    assert [(one.ins, one.sure) for one in options] == [(((0, 1),), True), (((0, 0),), False)]


def test_ways_and_changes_in_their_order(mirror):
    """Ordinary before substitute before extra, fewer changes first, among the sure ones."""
    pool = pool_of([nm("0.079"), nm("0.080"), nm("0.0095")])
    slot = Slot(
        "steels", installed(nm("0.070"), nm("0.070")), swap=True, extra=1, ordinary=rows(0, 2), substitute=rows(1)
    )
    problem = Problem("gap", nm("0.060"), nm("0.040"), nm("0.060"), nm("0.050"), pool, (slot,), 0.0, 0.0)
    options = match(mirror(problem)).options
    assert [(one.way, one.changes) for one in options] == [
        (Way.ORDINARY, 0),
        (Way.ORDINARY, 1),
        (Way.SUBSTITUTE, 1),
        (Way.EXTRA, 1),
    ]


def test_no_more_changes_than_allowed(mirror):
    pool = pool_of([nm("0.075")] * 4)
    problem = ask(pool, *["0.070"] * 4, reads="0.070")
    assert {one.changes for one in match(mirror(problem)).options} == {2, 3, 4}
    capped = match(mirror(replace(problem, max_changes=2))).options
    assert {one.changes for one in capped} == {2}
    assert match(mirror(replace(problem, max_changes=0))).options == ()


def test_a_plate_is_used_once_even_where_two_slots_may_have_it(mirror):
    pool = pool_of([nm("0.075")])
    both = tuple(Slot(name, (), empty=1, ordinary=every(pool)) for name in ("first", "second"))
    problem = Problem("gap", nm("0.200"), nm("0.040"), nm("0.060"), nm("0.050"), pool, both, 0.0, 0.0)
    answer = match(mirror(problem))
    assert answer.options == ()
    assert answer.shortfall.nearest is None


def test_what_must_go_in_a_slot_that_may_not_change_has_no_answer(mirror):
    pool = pool_of([nm("0.075")])
    slot = replace(ask(pool, "0.070", reads="0.050").slots[0], swap=False)
    slot = replace(slot, installed=(replace(slot.installed[0], must_go=True),))
    problem = replace(ask(pool, "0.070", reads="0.050"), slots=(slot,))
    answer = match(mirror(problem))
    assert (answer.options, answer.shortfall.nearest, answer.shortfall.would_close) == ((), None, ())


def test_an_empty_shelf(mirror):
    pool = pool_of([])
    problem = ask(pool, "0.070", reads="0.070")
    shortfall = match(mirror(problem)).shortfall
    assert (shortfall.nearest.ins, shortfall.nearest.outs) == ((), ())
    assert np.shape(problem.pool.thickness_nm) == (0,)


def test_a_pack_measures_gap_or_height():
    problem = replace(ask(pool_of([]), "0.070", reads="0.050"), measures="depth")
    with pytest.raises(ValueError, match="gap or height"):
        match(problem)
