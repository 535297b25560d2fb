"""What a pack could come to if it had the whole shelf and every plate of the others: no plan does better for it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from plates.matching.probability import sure_span
from plates.matching.problem import Exchange, Problem
from plates.matching.search import match
from plates.matching.shortfall import delta_window


class Reach:
    """For each number of changes k = 0 … ``most`` bounds on what they can do; plates are taken for free to combine."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        slots = problem.slots
        rows = [np.union1d(slot.ordinary, slot.substitute) for slot in slots if slot.swap or slot.empty or slot.extra]
        self.rows = np.unique(np.concatenate(rows)).astype(np.int64) if rows else np.empty(0, np.int64)
        outs = [plate for slot in slots if slot.swap for plate in slot.installed]
        self.empty, self.extra = sum(slot.empty for slot in slots), sum(slot.extra for slot in slots)
        self.most = min(self.empty + self.extra + len(outs), len(self.rows))
        if problem.max_changes is not None:
            self.most = min(self.most, problem.max_changes)
        self._thickness = _summed(problem.pool.thickness_nm[self.rows])
        self._outs = _summed([plate.thickness_nm for plate in outs])
        self._u2 = _summed(problem.pool.u_nm[self.rows] ** 2)[0]
        self._outs_u2 = _summed([plate.u_nm**2 for plate in outs])[0]

    def _leaving(self, changes: int) -> tuple[int, int]:
        """With so many changes at least and at most so many come out."""
        return max(0, changes - self.empty - self.extra), min(max(0, changes - self.empty), len(self._outs_u2) - 1)

    def ends(self, changes: int, given: int = 0) -> tuple[int, int]:
        """in - out lies between these, without the thickness of so many ``given`` plates that go in."""
        few, many = self._leaving(changes)
        (thin, thick), (thin_out, thick_out) = self._thickness, self._outs
        return int(thin[changes - given] - thick_out[many]), int(thick[changes - given] - thin_out[few])

    def least_variance(self, changes: int) -> float:
        few, _ = self._leaving(changes)
        moved = (changes + few) * self.problem.u_move_nm**2
        return self.problem.u_reading_nm**2 + moved + float(self._u2[changes] + self._outs_u2[few])

    def sure_deltas(self, changes: int) -> tuple[int, int] | None:
        """in - out of a sure exchange lies between these; None where none is sure."""
        low, high, _ = delta_window(self.problem)
        return sure_span(math.sqrt(self.least_variance(changes)), low, high, self.problem.sure)


def _summed(values: Sequence[float] | NDArray) -> tuple[NDArray, NDArray]:
    """For n = 0 … the sum of the n smallest and of the n largest."""
    ordered = np.sort(np.asarray(values))
    zero = np.zeros(1, ordered.dtype)
    return np.concatenate([zero, np.cumsum(ordered)]), np.concatenate([zero, np.cumsum(ordered[::-1])])


@dataclass(frozen=True)
class Alone:
    """Bounds on every exchange that closes the pack: so many changes, and so far from the target with so many.

    ``sure``: whether one may be sure; then ``changes`` and ``distance_nm`` are bounds on sure ones only, and
    ``least_changes`` is that on all of them.
    """

    sure: bool
    changes: int
    distance_nm: int
    least_changes: int


def alone(problem: Problem, reach: Reach) -> Alone | None:
    """None where nothing closes the pack."""
    options = match(problem).options
    if not options:
        return None
    least = min(option.changes for option in options)
    for changes in range(least, reach.most + 1):
        span = reach.sure_deltas(changes)
        if span is None:
            break
        near = match(_taken_for_sure(problem, *span, changes)).options
        if near:
            return Alone(True, changes, min(_distance_nm(problem, one) for one in near), least)
    first = [option for option in options if option.changes == least]
    return Alone(False, least, min(_distance_nm(problem, one) for one in first), least)


def _distance_nm(problem: Problem, exchange: Exchange) -> int:
    return abs(exchange.predicted_nm - problem.target_nm)


def _taken_for_sure(problem: Problem, low_delta: int, high_delta: int, changes: int) -> Problem:
    """The pack with the window that in - out is sure in at best, and everything known without doubt."""
    sign = -1 if problem.measures == "gap" else 1
    low, high = sorted(problem.clearance_nm + sign * delta for delta in (low_delta, high_delta))
    return replace(
        problem,
        low_nm=low,
        high_nm=high,
        pool=replace(problem.pool, u_nm=np.zeros(len(problem.pool)), gauge=None),
        slots=tuple(
            replace(slot, installed=tuple(replace(one, u_nm=0.0, gauge=-1) for one in slot.installed))
            for slot in problem.slots
        ),
        u_reading_nm=0.0,
        u_move_nm=0.0,
        max_changes=changes,
        u_gauge_nm=(),
        read_net=(),
    )


def best_option(problem: Problem) -> Exchange | None:
    """Of the options the best as a plan counts: a sure one, with the fewest changes, nearest to the target."""
    return min(
        match(problem).options,
        key=lambda one: (not one.sure, one.changes, _distance_nm(problem, one)),
        default=None,
    )
