"""Packs of the past over a shelf: worked by hand, in thou."""

from decimal import Decimal

import pytest

from plates.buying import replay as replay_of
from plates.buying.packs import Offer, Pack, Takers
from plates.buying.replay import Replay
from plates.matching.problem import Problem, Slot
from plates.matching.search import first
from tests.matching.packs import every, installed, nm, pool_of


def thou(*figures: float) -> list[int]:
    return [nm(figure) // 1000 for figure in figures]


def packs(shelf: list[int], reads: list[float], periods: list[int] | None = None) -> list[Pack]:
    """Packs of two steels of 77 thou in a window of 40 to 60, each with such a reading."""
    pool = pool_of(shelf, keys=[f"{row:03}" for row in range(len(shelf))])
    low, high, target = thou(40, 60, 50)
    steels = Slot("steels", installed(*thou(77, 77)), swap=True, ordinary=every(pool))
    return [
        Pack(
            Problem("gap", reading, low, high, target, pool, (steels,), 100.0, 100.0),
            period,
            frozenset({"fit"}),
            {f"S{size}": Takers([0]) for size in (77, 87, 97, 107)},
        )
        for reading, period in zip(thou(*reads), periods or range(len(reads)), strict=True)
    ]


def offer(size: int, count: int = 1, cost: str = "1", weeks: float = 1.0) -> Offer:
    return Offer(f"S{size}", nm(size) // 1000, 100.0, count, Decimal(cost), weeks)


def test_the_packs_of_one_period_share_the_shelf_those_of_two_do_not():
    # Reads 70: one steel of 97 makes it 50.
    together = Replay(packs(thou(97), [70, 70], [0, 0]), [])
    assert (together.closed, together.closed_alone()) == (1, 2)
    apart = Replay(packs(thou(97), [70, 70], [0, 1]), [])
    assert (apart.closed, apart.closed_alone()) == (2, 2)


def test_what_closes_most_packs_for_its_cost_is_bought_first():
    # Reads 70: 97 makes it 50, 87 makes it 60, in the window by nothing; reads 82: 107 makes it 52, 97 makes it 62,
    # two of 97 make it 42.
    asked = packs([], [70, 70, 82])
    steps = list(Replay(asked, [offer(107, cost="1"), offer(97, cost="1")]).cheapest(wanted=3))
    # The 97 closes both that read 70, the 107 the third and, with 40, those too: more for the same money.
    assert [(step.offer.kind, step.closes) for step in steps] == [("S107", 3)]
    steps = list(Replay(asked, [offer(107, cost="4"), offer(97, cost="1")]).cheapest(wanted=3))
    # For its cost the 97 closes more: two for 1 against three for 4; the second 97 goes in with the first.
    assert [(step.offer.kind, step.closes) for step in steps] == [("S97", 2), ("S97", 1)]


def test_money_that_lies_there_for_longer_counts_for_more():
    asked = packs([], [70])
    steps = list(Replay(asked, [offer(97, weeks=20), offer(107, weeks=5)]).cheapest(wanted=1))
    assert [step.offer.kind for step in steps] == ["S107"]


def test_buying_ends_where_the_budget_does_or_nothing_helps():
    asked = packs([], [70, 300], [0, 0])
    replay = Replay(asked, [offer(97, cost="3")])
    assert [step.closes for step in replay.cheapest(wanted=2)] == [1]  # nothing closes one that reads 300
    assert replay.closed == 1
    assert list(Replay(asked, [offer(97, cost="3")]).cheapest(wanted=2, budget=Decimal("2.9"))) == []
    assert list(Replay(asked, [offer(97, cost="3")]).cheapest(wanted=0)) == []


def test_a_budget_is_spent_to_the_cent():
    """Three of 0.10 for 0.30: in binary fractions the last would be too dear."""
    asked = packs([], [70, 70, 70], [0, 0, 0])
    steps = list(Replay(asked, [offer(97, cost="0.10")]).cheapest(wanted=3, budget=Decimal("0.30")))
    assert [step.closes for step in steps] == [1, 1, 1]
    steps = list(Replay(asked, [offer(97, cost="0.10")]).cheapest(wanted=3, budget=Decimal("0.29")))
    assert [step.closes for step in steps] == [1, 1]


def test_what_lies_beside_for_a_look_is_not_bought():
    replay = Replay(packs([], [70]), [offer(97)])
    assert (replay.closed_with([offer(97)]), replay.closed) == (1, 0)
    assert [step.closes for step in replay.cheapest(wanted=1)] == [1]


def test_a_pack_is_not_searched_again_over_the_same_plates(monkeypatch: pytest.MonkeyPatch):
    asked: list[Problem] = []
    monkeypatch.setattr(replay_of, "first", lambda problem: asked.append(problem) or first(problem))
    replay = Replay(packs(thou(97), [70, 70], [0, 1]), [])
    replay.closed_alone(), replay.closed_with([]), list(replay.cheapest(wanted=2))
    assert len(asked) == 2


def test_what_is_to_come_counts_as_there_and_does_not_cost():
    asked = packs([], [70])
    assert Replay(asked, [], [offer(97)]).closed == 1


def test_plates_that_no_pack_took_lie_there_for_nothing():
    replay = Replay(packs(thou(97, 97, 77), [70, 70], [0, 1]), [])
    # The first 97 serves both, each in its own period; 77 changes nothing, and the second 97 is never reached for.
    assert replay.idle() == {"001", "002"}
    kept = packs(thou(97), [70, 70], [0, 1])
    assert Replay(kept, []).closed == replay.closed


def test_packs_of_other_fits_are_left_alone():
    asked = packs(thou(97), [70])
    pool = asked[0].problem.pool
    other = Slot("steels", installed(*thou(77, 77)), swap=True)
    problem = Problem("gap", *thou(70, 40, 60, 50), pool, (other,), 100.0, 100.0)
    both = [*asked, Pack(problem, 0, frozenset({"other"}), {"T97": Takers([0])})]
    replay = Replay(both, [offer(97), Offer("T97", thou(97)[0], 100.0, 5, Decimal(2))])
    assert replay.closed == 1
    assert [step.offer.kind for step in replay.cheapest(wanted=2)] == ["T97"]


def test_no_packs_close_and_none_is_wanted():
    replay = Replay([], [offer(97)])
    assert (replay.closed, replay.closed_alone(), replay.idle(), list(replay.cheapest(wanted=0))) == (0, 0, set(), [])


@pytest.mark.parametrize("count", [1, 2])
def test_two_plates_may_be_needed_at_once(count):
    # Reads 88: two of 97 make it 48; one makes it 68.
    steps = list(Replay(packs([], [88]), [offer(97, count)]).cheapest(wanted=1))
    assert [step.closes for step in steps] == ([1] if count == 2 else [])
