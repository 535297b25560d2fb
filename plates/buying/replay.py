"""Packs that were asked for once, closed again from another shelf: how many it closes, which plates bought would close
the most more, and which lie there for nothing. The arithmetic alone, over the kernel.

The packs of one period draw on one shelf, one after the other, each by its first option, and what went into one is gone
for the next; the next period begins with the whole shelf again. So a period is what the shelf has to last for: until
what is ordered now has come.
"""

import hashlib
from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plates.buying.packs import Offer, Pack, Takers, apart, own_pool, widened
from plates.matching.cover import More, closed_with
from plates.matching.problem import Problem
from plates.matching.search import first


@dataclass(frozen=True)
class Step:
    """One purchase, and how many more packs are closed with it."""

    offer: Offer
    closes: int


class Replay:
    """The packs over one shelf, and over what was bought to it so far. ``offers``: what may be bought; ``stock``: what
    counts as lying there already.
    """

    def __init__(self, packs: Sequence[Pack], offers: Sequence[Offer], stock: Iterable[Offer] = ()) -> None:
        self._groups = [_Group(some, offers) for some in apart(packs)]
        self._of_kind = {kind: group for group in self._groups for pack in group.packs for kind in pack.takers}
        self.add(stock)

    def add(self, offers: Iterable[Offer]) -> None:
        """Lay these on the shelf, and play every pack."""
        for offer in offers:
            if group := self._of_kind.get(offer.kind):
                group.bought.append(offer)
        for group in self._groups:
            group.play(group.periods)

    @property
    def closed(self) -> int:
        return sum(sum(group.closed) for group in self._groups)

    def closed_alone(self) -> int:
        """How many packs the shelf closes when each has it to itself."""
        return sum(group.closed_alone() for group in self._groups)

    def closed_with(self, more: Iterable[Offer]) -> int:
        """How many packs would be closed with these beside what lies there; they are not bought."""
        of: dict[int, list[Offer]] = defaultdict(list)
        for offer in more:
            if group := self._of_kind.get(offer.kind):
                of[id(group)].append(offer)
        return sum(group.closed_with(of[id(group)]) for group in self._groups)

    def idle(self) -> set[Hashable]:
        """The keys of the plates on the shelf that no pack of any period took. Without them all packs close as they do:
        each by the same exchange, since that is still there and was the first of more. How full a size is, by which
        equally near exchanges are put in order, counts as it is today.
        """
        return {key for group in self._groups for key in group.idle()}

    def cheapest(self, *, wanted: int, budget: Decimal | None = None) -> Iterator[Step]:
        """Buy what closes the most more packs for its cost, again and again, until ``wanted`` packs are closed, the
        budget holds nothing more that helps, or nothing does.

        Greedy: a purchase is judged by the packs that it closes at once, so what only helps together with another one
        is not found. Between purchases the periods in which a pack is missed are played again, in the end all are.
        """
        spent = Decimal(0)
        while self.closed < wanted:
            left = None if budget is None else budget - spent
            found = [(*best, -place) for place, group in enumerate(self._groups) if (best := group.best(left))]
            if not found:
                break
            _, _, number, place = max(found)
            group = self._groups[-place]
            if closes := group.buy(group.offers[-number]):
                spent += group.offers[-number].cost
                yield Step(group.offers[-number], closes)
        self.add(())


_State = tuple[list[Offer], list[bool], dict[int, Problem], dict[int, set[int]]]


class _Group:
    """Packs that draw on the same plates."""

    def __init__(self, packs: Sequence[Pack], offers: Sequence[Offer]) -> None:
        self.packs = packs
        kinds = {kind for pack in packs for kind in pack.takers}
        self.offers = [offer for offer in offers if offer.kind in kinds]
        self.periods: dict[int, list[int]] = defaultdict(list)
        for number, pack in enumerate(packs):
            self.periods[pack.period].append(number)
        self.shelf = own_pool([pack.problem for pack in packs])
        self.bought: list[Offer] = []
        self.closed = [False] * len(packs)
        #: What each pack that was not closed found in its turn.
        self.missed: dict[int, Problem] = {}
        self.used: dict[int, set[int]] = {}
        self.useless: set[int] = set()
        self._first: dict[bytes, list[int] | None] = {}
        self._helping: dict[int, tuple[Problem, frozenset[int]]] = {}

    def play(self, periods: Iterable[int]) -> None:
        problems = self._problems()
        for period in periods:
            left = np.ones(len(problems[0].pool), dtype=bool)
            for number in self.periods[period]:
                problem = problems[number].only(left)
                ins = self._taken(number, problem)
                self.closed[number] = ins is not None
                if ins is None:
                    self.missed[number] = problem
                else:
                    left[ins] = False
                    self.missed.pop(number, None)
            self.used[period] = set(np.flatnonzero(~left).tolist())

    def _taken(self, number: int, problem: Problem) -> list[int] | None:
        """The rows that a pack takes, None where it is not closed. Asked again over the same plates it is not searched
        again: from one play to the next most packs find what they found before.
        """
        columns: list[NDArray[Any]] = [
            rows for slot in problem.slots for rows in (slot.ordinary, slot.substitute)
        ]
        rows = np.unique(np.concatenate(columns))
        bought = rows[rows >= len(self.shelf[0].pool)]  # what these rows are changes with every purchase
        pool = problem.pool
        columns += [pool.thickness_nm[bought], pool.u_nm[bought], pool.pieces[bought]]
        key = hashlib.blake2b(number.to_bytes(4), digest_size=16)
        for column in columns:
            key.update(len(column).to_bytes(4) + column.tobytes())
        if (asked := key.digest()) not in self._first:
            option = first(problem)
            self._first[asked] = None if option is None else [row for _, row in option.ins]
        return self._first[asked]

    def closed_alone(self) -> int:
        problems = self._problems()
        # What was closed from a part of the shelf is closed from the whole of it.
        missed = sum(self._taken(number, problems[number]) is not None for number in self.missed)
        return sum(self.closed) + missed

    def closed_with(self, more: Sequence[Offer]) -> int:
        before = self._state()
        self.bought += more
        self.play(self.periods)
        closed = sum(self.closed)
        self._back_to(before)
        return closed

    def idle(self) -> list[Hashable]:
        used = set().union(*self.used.values())
        pool = self.shelf[0].pool
        return [key for row, key in enumerate(pool.keys) if row not in used]

    def _helped(self, number: int) -> frozenset[int]:
        """The numbers of the offers that would have closed this pack in its turn."""
        problem, takers = self.missed[number], self.packs[number].takers
        known, helping = self._helping.get(number, (None, frozenset[int]()))
        if known is not problem:
            some = [takers.get(offer.kind, Takers()) for offer in self.offers]
            mores = [
                More(offer.thickness_nm, offer.count, {*one.ordinary, *one.substitute})
                for offer, one in zip(self.offers, some, strict=True)
            ]
            helping = frozenset(which for which, closes in enumerate(closed_with(problem, mores)) if closes)
            self._helping[number] = problem, helping
        return helping

    def best(self, budget: Decimal | None) -> tuple[float, int, int] | None:
        """Of the offers within the budget the one that closes the most packs for the money and the time that this lies
        there: how many for that, how many at all, and its number below zero; None where none closes any.
        """
        counts = Counter(offer for number in self.missed for offer in self._helped(number) - self.useless)
        return max(
            (
                (count / max(float(offer.cost) * offer.weeks, 1e-9), count, -number)
                for number, count in counts.items()
                if (offer := self.offers[number]) and (budget is None or offer.cost <= budget)
            ),
            default=None,
        )

    def buy(self, offer: Offer) -> int:
        """How many packs more are closed with it; where none is, it is not bought."""
        before, closed = self._state(), sum(self.closed)
        self.bought.append(offer)
        self.play({self.packs[number].period for number in self.missed})
        closes = sum(self.closed) - closed
        if closes <= 0:
            self._back_to(before)
            self.useless.add(self.offers.index(offer))
            return 0
        self.useless.clear()
        return closes

    def _state(self) -> _State:
        return list(self.bought), list(self.closed), dict(self.missed), dict(self.used)

    def _back_to(self, state: _State) -> None:
        self.bought, self.closed, self.missed, self.used = state

    def _problems(self) -> list[Problem]:
        return widened(self.packs, self.shelf, self.bought)
