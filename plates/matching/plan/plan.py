"""Several packs at once: which exchanges close most of them, where plates may go from pack to pack.

The order of plans: most packs closed, most of them sure, fewest changes, least sum of the distances to the targets.
Among plans equal in that: those nearest to the book, with the fewest plates carried from pack to pack, and of like
plates the oldest. What is still equal then is settled by the solver, which runs with one worker, one seed and a model
whose order is that of the plates' figures and keys, so that one shelf has one answer. A plate that no pack can use
never changes it; one that could serve may change which of equal plans is shown.
"""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from plates.matching.plan.alike import Sorted, sort_plates
from plates.matching.plan.alone import Reach, alone
from plates.matching.plan.joint import Joint, beyond
from plates.matching.plan.moves import Exchanges, Move, one_by_one, packs_build
from plates.matching.plan.packmodel import Bounds
from plates.matching.problem import Exchange, Problem

SECONDS = 10.0
_MOST = ("closed", "sure")
_TIES = {"max_deterministic_time": 0.5}  # no clock, so that the answer is the same on any machine


class Totals(NamedTuple):
    """What a plan comes to. A pack that needs no change is closed with none."""

    closed: int = 0
    sure: int = 0
    changes: int = 0
    distance_nm: int = 0

    @property
    def rank(self) -> tuple[int, int, int, int]:
        """The smaller, the better."""
        return -self.closed, -self.sure, self.changes, self.distance_nm


@dataclass(frozen=True)
class Plan:
    """``exchanges``: for each pack its exchange, or None. They hold together only: a pack may get what another gives.

    A row of the pool from its length on is a plate of another pack: row ``len(pool) + i`` is ``moves[i]``.
    ``bound``: no plan is better than that; ``totals`` are equal to it where the plan is proven to be the best, and then
    the same question has the same answer again. Where it is not, the first figure that differs says how much better a
    plan might be; bounds after that one mean little.
    """

    exchanges: tuple[Exchange | None, ...]
    totals: Totals
    bound: Totals

    @property
    def proven(self) -> bool:
        return self.totals == self.bound


def plan(problems: Sequence[Problem], moves: Sequence[Move] = (), *, seconds: float = SECONDS) -> Plan:
    """The best plan for these packs, which share one pool: the very same object, with gauges numbered alike.

    Stops after about ``seconds`` of solving with the best that it has, which is never worse than the packs answered
    one by one in the order given or in its reverse; a proven plan is not worse than any order. Answering them one by
    one and by themselves comes before and is not counted. Raises ValueError where the packs do not share one pool and
    the numbering of its gauges, where a move leads into its own pack, or where a plate is listed twice.
    """
    if not problems:
        return Plan((), Totals(), Totals())
    packs = packs_build(problems, moves)
    until = time.monotonic() + seconds
    plates = sort_plates(packs)
    count = range(len(problems))
    answers = [one_by_one(packs, order) for order in (count, reversed(count))]
    found: dict[int, Exchange | None] = {}
    reached, bounds = [], []
    for members in plates.apart():
        part = _Part(plates, members, answers)
        part.solve(until)
        found |= part.best
        reached.append(part.totals)
        bounds.append(part.bound)
    return Plan(tuple(found[number] for number in count), _summed(reached), _summed(bounds))


def _summed(parts: Sequence[Totals]) -> Totals:
    return Totals(*(sum(column) for column in zip(*parts, strict=True)))


class _Part:
    """Packs that have plates in common, and the best plan known for them. ``bound``: none is better."""

    def __init__(self, plates: Sorted, members: Sequence[int], answers: Sequence[Exchanges]) -> None:
        self.plates = plates
        self.problems = {number: plates.packs.problems[number] for number in members}
        self.reach = {number: Reach(problem) for number, problem in self.problems.items()}
        self.alone = {number: alone(problem, self.reach[number]) for number, problem in self.problems.items()}
        mine: list[Exchanges] = [{number: one[number] for number in members} for one in answers]
        self.best = min(mine, key=self._rank)
        can_close = [one for one in self.alone.values() if one]
        self.bound = Totals(
            len(can_close),
            sum(one.sure for one in can_close),
            sum(one.changes for one in can_close),
            sum(one.distance_nm for one in can_close),
        )

    @property
    def totals(self) -> Totals:
        return self._totals(self.best)

    def _totals(self, exchanges: Exchanges) -> Totals:
        made = [(self.problems[number], one) for number, one in exchanges.items() if one]
        return Totals(
            len(made),
            sum(one.sure for _, one in made),
            sum(one.changes for _, one in made),
            sum(abs(one.predicted_nm - problem.target_nm) for problem, one in made),
        )

    def _rank(self, exchanges: Exchanges) -> tuple[int, ...]:
        return self._totals(exchanges).rank

    def solve(self, until: float) -> None:
        """Figure by figure; where the best known reaches the bound there is nothing to solve."""
        for place in range(len(Totals._fields)):
            if self.totals[place] != self.bound[place] and not self._improve(place, until):
                return
        self._settle_ties()

    def _improve(self, place: int, until: float) -> bool:
        """Whether the figure is proven to be the best; if not, the bound says how good it may be."""
        figure = Totals._fields[place]
        joint = self._joint(place)
        while True:
            joint.hint(self.best)
            left = max(0.0, until - time.monotonic())
            solved = joint.solved(figure, figure in _MOST, {"max_time_in_seconds": left})
            if solved.exchanges:
                self.best = min(self.best, solved.exchanges, key=self._rank)
            if not (solved.proven and solved.false_claims):
                break
        known = self.bound[place]
        found = self.totals[place] if solved.proven else known if solved.bound is None else solved.bound
        bound = min(known, found) if figure in _MOST else max(known, found)
        if bound != known:  # then what the packs could do by themselves bounds nothing that comes after
            after = (min(self.bound.sure, bound), 0, 0) if figure == "closed" else (0, 0, 0)[place:]
            self.bound = Totals._make((*self.bound[:place], bound, *after))
        return bound == self.totals[place]

    def _joint(self, place: int) -> Joint:
        """The model of the packs with all figures before this place as they are."""
        joint = Joint(self.plates, self.reach, self._bounds())
        for name, value in zip(Totals._fields[:place], self.totals, strict=False):
            joint.model.add(joint.figures[name] == value)
        return joint

    def _settle_ties(self) -> None:
        """Among plans equal in all figures the one nearest to the book, with the fewest plates from other packs."""
        if not self._beyond(self.best):
            return
        joint = self._joint(len(Totals._fields))
        while True:
            joint.hint(self.best)
            solved = joint.solved("beyond", False, _TIES)
            if solved.exchanges:
                self.best = min(self.best, solved.exchanges, key=lambda one: (self._rank(one), self._beyond(one)))
            if not (solved.proven and solved.false_claims):
                return

    def _beyond(self, exchanges: Exchanges) -> int:
        return sum(
            beyond(self.problems[number], one, self.plates.packs.shelf) for number, one in exchanges.items() if one
        )

    def _bounds(self) -> dict[int, Bounds]:
        """What the packs by themselves, and the best known, say of each pack."""
        can_close = {number: one for number, one in self.alone.items() if one}
        settled = self.totals[:2] == (len(can_close), sum(one.sure for one in can_close.values()))
        spare = self.totals.changes - sum(one.changes for one in can_close.values())
        farther = self.totals.distance_nm - sum(one.distance_nm for one in can_close.values())
        bounds = {}
        for number, one in self.alone.items():
            if one is None:
                bounds[number] = Bounds(closed=False)
            elif not settled:
                bounds[number] = Bounds(None, None if one.sure else False, one.least_changes, one.changes)
            else:
                farthest = None if spare else one.distance_nm + farther
                bounds[number] = Bounds(True, one.sure, one.changes, one.changes, one.changes + spare, farthest)
        return bounds
