"""The search along one way: which of its exchanges are shown, number of changes by number of changes."""

import math
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plates.matching.build import chain_build
from plates.matching.choose import choose
from plates.matching.dense import least_variances
from plates.matching.exchange import exchange_build, of_one_gauge, read_with, shared_variance, with_most_shared
from plates.matching.hands import TooMany
from plates.matching.join import variances_by_joining
from plates.matching.near import Nearest
from plates.matching.probability import combined, conformance, sure_span
from plates.matching.problem import Exchange, Problem
from plates.matching.shortfall import delta_window
from plates.matching.steps import Chain, Taken

_PROBES = 16  # predictions in doubt that are looked into one by one


@dataclass
class WaySearch:
    """The search along one way."""

    problem: Problem
    chain: Chain

    def __post_init__(self) -> None:
        self.low, self.high, self.target = delta_window(self.problem)
        self.reached = Nearest(self.chain)
        self.read_with = read_with(self.problem, self.chain.way)

    def near(self, changes: int, low: int | None = None, high: int | None = None) -> list[int]:
        """D of the reachable exchanges nearest to the target between ``low`` and ``high``: up to two."""
        if (most := self.problem.most_delta_nm) is not None:
            high = most if high is None else min(high, most)
        below = self.target if high is None else min(self.target, high)
        above = self.target if low is None else max(self.target, low)
        g, base = self.chain.g, self.chain.base(changes)
        if low is not None or high is not None:
            first, last = (g * cell + base for cell in self.chain.extent(changes))
            if (low is not None and last < low) or (high is not None and high < first):
                return []
        floor, ceiling = (below - base) // g, -((base - above) // g)
        if floor == ceiling:
            cells = self.reached.both(changes, floor)
        else:
            cells = self.reached.both(changes, floor)[0], self.reached.both(changes, ceiling)[1]
        found = {g * cell + base for cell in cells if cell is not None}
        found = {one for one in found if (low is None or low <= one) and (high is None or one <= high)}
        least = min((abs(delta - self.target) for delta in found), default=0)
        return sorted(delta for delta in found if abs(delta - self.target) == least)

    def shown(self, still: Exchange | None) -> Iterator[Exchange]:
        """The options of this way; ``still``: the option of 0 changes, where it is one of this way."""
        best = abs(still.predicted_nm - self.problem.target_nm) if still else None
        sure = still is not None and still.sure
        least = self.least_distance()
        for changes in range(1, self.chain.most + 1):
            hopeless = sure or self._possible(changes) is None
            if hopeless and best is not None and best <= least:
                return
            deltas = self.near(changes, self.low, self.high)
            if not deltas:
                continue
            distance = abs(deltas[0] - self.target)
            if best is None or distance < best:
                best = distance
                option = self.best(changes, deltas)
                sure = sure or option.sure
                yield option
            if not sure and not hopeless and (first := self.first_sure(changes)):
                sure = True
                yield first

    def least_distance(self) -> int:
        """No D can be nearer to the target than this: each is a multiple of what all thicknesses share."""
        share = math.gcd(self.chain.g, self.chain.a - self.chain.b)
        rest = self.target % share
        return min(rest, share - rest)

    def _u(self, changes: int, moved: float) -> float:
        return combined((self.problem.u_reading_nm**2, moved, self._shared(changes)))

    def _shared(self, changes: int) -> float:
        """What the errors shared by readings of one gauge add to the variance of so many changes, at least.

        Exact where all plates that may go in were read with one gauge and all that may come out with one, and as
        many go in as come out or fill empty places.
        """
        if self.read_with is None:
            return 0.0
        into, out_of = self.read_with
        leaving = changes - sum(slot.empty for slot in self.problem.slots)
        return shared_variance(self.problem, [into] * changes, [out_of] * leaving)

    def _span(self, u: float) -> tuple[int, int] | None:
        span = sure_span(u, self.low, self.high, self.problem.sure)
        if span and (most := self.problem.most_delta_nm) is not None:
            span = span[0], min(span[1], most)
        return span if span and span[0] <= span[1] else None

    def _possible(self, changes: int) -> tuple[int, int] | None:
        """Outside these D no exchange with so many changes can be sure."""
        return self._span(self._u(changes, self.chain.variances[changes][0]))

    def _is_sure(self, changes: int, delta: int, moved: float) -> bool:
        return conformance(delta, self._u(changes, moved), self.low, self.high) >= self.problem.sure

    def _choose(self, changes: int, deltas: Iterable[int], must_be_sure: bool) -> Exchange | None:
        base, g = self.chain.base(changes), self.chain.g
        cells = [(delta - base) // g for delta in deltas]
        if must_be_sure:
            taken = choose(
                self.chain, changes, cells, lambda cell, moved: self._is_sure(changes, g * cell + base, moved)
            )
        else:
            taken = choose(self.chain, changes, cells)
        return self._built(taken) if taken else None

    def best(self, changes: int, deltas: list[int]) -> Exchange:
        """The best of the exchanges that end on these equally near D."""
        least, largest = self.chain.variances[changes]
        may_be = [delta for delta in deltas if self._is_sure(changes, delta, least)]
        if may_be and not all(self._is_sure(changes, delta, largest) for delta in deltas):
            sure = self._choose(changes, may_be, True)
            if sure and sure.sure:
                return sure
        found = self._choose(changes, deltas, False)
        assert found is not None  # these D are reachable
        return found

    def first_sure(self, changes: int) -> Exchange | None:
        """The first sure exchange, by :meth:`_first_sure`.

        Where gauges are mixed their shared errors are known of an exchange only when its plates are. Then the one
        found may turn out marginal. What is looked for next is a sure one among the plates of each gauge by themselves,
        and among all with the most that these errors can add; it may not be the nearest.
        """
        found = self._first_sure(changes)
        if found is None or found.sure:
            return found
        sure: list[Exchange] = []
        for part in (with_most_shared(self.problem, changes), *of_one_gauge(self.problem)):
            chain = chain_build(part, self.chain.way, changes)
            if chain and chain.most == changes and (one := WaySearch(part, chain)._first_sure(changes)):
                sure.append(exchange_build(self.problem, one.way, one.ins, one.outs))
        return min((one for one in sure if one.sure), key=self._nearness, default=None)

    def _nearness(self, one: Exchange) -> tuple[object, ...]:
        keys = sorted(self.problem.pool.keys[row] for _, row in one.ins)  # type: ignore[type-var]
        return abs(one.predicted_nm - self.problem.target_nm), keys, one.outs

    def _first_sure(self, changes: int) -> Exchange | None:
        """The sure exchange nearest to the target with so many changes.

        Exact where the plates are all certain enough or none is, where the lattice is coarse, where the exchanges
        that may be sure can be listed (a million), or where no more than a few predictions nearer to the target
        are in doubt. Else it is the nearest of those that are sure by the largest uncertainty of the plates that
        they are taken from, however these are chosen.
        """
        span = self._possible(changes)
        if span is None or not self.near(changes, *span):
            return None
        certain = self._certain(changes)
        if certain is not None and certain == self.near(changes, *span):
            return self._choose(changes, certain, False)
        base, g = self.chain.base(changes), self.chain.g
        first, last = -((base - span[0]) // g), (span[1] - base) // g
        listed = least_variances(self.chain, changes, first, last)
        if listed is None:
            with suppress(TooMany):
                listed = variances_by_joining(self.chain, changes, first, last)
        if listed is not None:
            deltas = self._nearest_sure(changes, g * listed[0] + base, listed[1])
            return self._choose(changes, deltas, True) if deltas else None
        width = -1
        for _ in range(_PROBES):
            deltas = self._beyond(changes, *span, width)
            if not deltas:
                return None
            if found := self._choose(changes, deltas, True):
                return found
            width = abs(deltas[0] - self.target)
        return self._graded(changes)

    def _nearest_sure(
        self, changes: int, deltas: NDArray[np.int64], variances: NDArray[np.float64]
    ) -> list[int]:
        """Of predictions with these variances the sure ones nearest to the target."""
        near: set[int] = set()
        order = np.argsort(variances, kind="stable")
        known, starts = np.unique(variances[order], return_index=True)
        for variance, some in zip(known.tolist(), np.split(deltas[order], starts[1:]), strict=True):
            span = self._span(self._u(changes, variance))
            if span is None:
                break  # and none with a larger variance either
            sure = some[(some >= span[0]) & (some <= span[1])]
            if len(sure):
                near.update(sure[np.abs(sure - self.target) == np.abs(sure - self.target).min()].tolist())
        least = min((abs(delta - self.target) for delta in near), default=0)
        return sorted(delta for delta in near if abs(delta - self.target) == least)

    def _certain(self, changes: int) -> list[int] | None:
        """The nearest of the predictions that are sure whatever plates lead to them."""
        span = self._span(self._u(changes, self.chain.variances[changes][1]))
        return self.near(changes, *span) if span else None

    def _graded(self, changes: int) -> Exchange | None:
        """The nearest that is sure by the largest uncertainty of the plates that it is taken from.

        The grades are fixed, half a power of two of a nanometre each, so no other plate can shift them.
        """
        best: tuple[int, int, WaySearch, list[int]] | None = None
        for grade in sorted({math.ceil(2 * math.log2(max(u, 1.0))) for u in self.problem.pool.u_nm.tolist()}):
            part = self.problem.only(self.problem.pool.u_nm <= 2 ** (grade / 2))
            chain = chain_build(part, self.chain.way, changes)
            if chain and chain.most == changes and (deltas := WaySearch(part, chain)._certain(changes)):
                found = abs(deltas[0] - self.target), grade, WaySearch(part, chain), deltas
                best = found if best is None or found[:2] < best[:2] else best
        return best[2]._choose(changes, best[3], True) if best else None

    def _beyond(self, changes: int, low: int, high: int, width: int) -> list[int]:
        """The nearest reachable D in the span that lie farther from the target than ``width``."""
        below = self.near(changes, low, min(high, self.target - width - 1))
        above = self.near(changes, max(low, self.target + width + 1), high)
        both = sorted({*below, *above}, key=lambda delta: abs(delta - self.target))
        return [delta for delta in both if abs(delta - self.target) == abs(both[0] - self.target)]

    def _built(self, taken: tuple[Taken, ...]) -> Exchange:
        """The exchange of these steps. Slots of one group take the plates in the order of their keys."""
        ins, outs = [], []
        waiting: dict[tuple[int, int], list[int]] = {}
        for move in taken:
            if move.step.row is None:
                slot = move.step.slot
                assert slot is not None  # a place has a slot
                waiting.setdefault((move.component, move.group), []).append(slot)
                if move.step.index is not None:
                    outs.append((slot, move.step.index))
        for places in waiting.values():
            places.sort(reverse=True)
        for move in taken:
            if move.step.row is not None:
                ins.append((waiting[move.component, move.group].pop(), move.step.row))
        return exchange_build(self.problem, self.chain.way, tuple(sorted(ins)), tuple(sorted(outs)))
