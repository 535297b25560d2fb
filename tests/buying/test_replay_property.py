"""What a replay says it closes, against the packs closed again one by one from the shelf that it ends with."""

from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as some

from plates.buying.packs import Offer, Pack, Takers
from plates.buying.replay import Replay
from plates.matching.problem import Pool, Problem, Slot
from plates.matching.search import match
from tests.matching.packs import installed, nm

THOU = nm("0.001")
SIZES = (67, 77, 87, 97)


@dataclass(frozen=True)
class Asked:
    """A pack of two steels of 77 thou of one fit in a window of 40 to 60 thou; one of fit B takes plates of A, too."""

    reads: int
    period: int
    fit: str


@dataclass(frozen=True)
class Plate:
    fit: str
    size: int
    bought: bool = False


def pool_of(plates: list[Plate]) -> Pool:
    """What was bought is the newest, lies behind all others, and as many of a size as were bought of it together."""
    sizes = [(one.bought, one.size) for one in plates]
    return Pool(
        np.array([one.size * THOU for one in plates], np.int64),
        np.array([100.0] * len(plates)),
        np.array([sizes.count(one) if one[0] else 1 for one in sizes], np.int64),
        np.array([int(one.bought) for one in plates], np.int64),
        [f"{row:03}" for row in range(len(plates))],
    )


def problem_of(one: Asked, plates: list[Plate], gone: set[int]) -> Problem:
    pool = pool_of(plates)

    def rows(fit: str) -> np.ndarray:
        there = [row for row, plate in enumerate(plates) if plate.fit == fit and row not in gone]
        return np.array(there, np.int64)

    further = rows("A") if one.fit == "B" else rows("")
    slot = Slot("steels", installed(77 * THOU, 77 * THOU), swap=True, ordinary=rows(one.fit), substitute=further)
    low, high, target = (figure * THOU for figure in (40, 60, 50))
    return Problem("gap", one.reads * THOU, low, high, target, pool, (slot,), 2.0 * THOU, 100.0)


def packs_of(asked: list[Asked], plates: list[Plate]) -> list[Pack]:
    found = []
    for one in asked:
        takers = {f"{one.fit}{size}": Takers([0]) for size in SIZES}
        takers |= {f"A{size}": Takers([], [0]) for size in SIZES} if one.fit == "B" else {}
        fits = frozenset({"A", "B"} if one.fit == "B" else {one.fit})
        found.append(Pack(problem_of(one, plates, set()), one.period, fits, takers))
    return found


def closed_plainly(asked: list[Asked], plates: list[Plate]) -> int:
    closed = 0
    for period in {one.period for one in asked}:
        gone: set[int] = set()
        for one in asked:
            if one.period == period and (options := match(problem_of(one, plates, gone)).options):
                closed += 1
                gone |= {row for _, row in options[0].ins}
    return closed


def offer_of(fit: str, size: int, count: int, cents: int) -> Offer:
    return Offer(f"{fit}{size}", size * THOU, 100.0, count, Decimal(cents) / 100)


plates = some.lists(some.builds(Plate, some.sampled_from("ABC"), some.sampled_from(SIZES)), max_size=4)
packs = some.lists(
    some.builds(
        Asked, some.integers(28, 50) | some.integers(55, 100), some.integers(0, 1), some.sampled_from("ABC")
    ),
    min_size=1,
    max_size=6,
)
offers = some.lists(
    some.builds(
        lambda fit, size, *more: (fit, size, offer_of(fit, size, *more)),
        some.sampled_from("ABC"),
        some.sampled_from(SIZES),
        some.integers(1, 2),
        some.integers(0, 30),
    ),
    min_size=1,
    max_size=5,
    unique_by=lambda one: one[2],
)


@settings(deadline=None, max_examples=100)
@given(asked=packs, lying=plates, may_buy=offers, cents=some.none() | some.integers(0, 30))
def test_what_it_closes_is_closed_by_the_final_shelf(asked, lying, may_buy, cents):
    budget = None if cents is None else Decimal(cents) / 100
    of = {offer: (fit, size) for fit, size, offer in may_buy}
    replay = Replay(packs_of(asked, lying), list(of))
    assert replay.closed == closed_plainly(asked, lying)
    assert replay.closed_alone() == sum(closed_plainly([one], lying) for one in asked)

    idle = replay.idle()
    kept = [plate for row, plate in enumerate(lying) if f"{row:03}" not in idle]
    served = {fit for one in asked for fit in (one.fit, *("A" * (one.fit == "B")))}
    assert closed_plainly(asked, [plate for plate in kept if plate.fit in served]) == replay.closed

    for offer, named in of.items():
        beside = [Plate(*named, bought=True)] * offer.count
        assert replay.closed_with([offer]) == closed_plainly(asked, lying + beside)

    bought = list(lying)
    spent = Decimal(0)
    for step in replay.cheapest(wanted=len(asked), budget=budget):
        assert step.closes > 0
        spent += step.offer.cost
        bought += [Plate(*of[step.offer], bought=True)] * step.offer.count
    assert budget is None or spent <= budget
    assert replay.closed == closed_plainly(asked, bought)
