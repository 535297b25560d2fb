"""Everything that the widest way of a pack reaches, as intervals, for several shelves at once.

What a window ``width_nm`` wide can hold is asked for, so each D = in - out that is reached counts with every length
from D to D + width. Growing a set and moving it may be done in either order, and so may growing and joining: the walk
begins with the grown nothing, [0, width], and every later step only moves intervals and joins what meets. That loses
no nanometre, and the wider the window, the fewer intervals there are, however fine the lattice.

A state of the walk (which shelf, changes done, plates of each group that wait for a place) is a *lane*, a stretch of
one long axis: each step is one sort of one array, whatever the number of states.
"""

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from math import prod
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plates.matching.problem import Problem
from plates.matching.steps import Chain, Component, Step

Whole = NDArray[np.int64]
Where = NDArray[np.bool_]
Move = tuple[Where, int, int]  # of which intervals, by so many lanes and nanometres

_MOST = 2_000_000  # intervals that the axis may come to hold


class Shelf(NamedTuple):
    """``missing``: rows of the pool that are not there. ``ends``: between these thicknesses are all plates of the
    slots whose spread is limited, in the end.
    """

    missing: Collection[int] = ()
    ends: tuple[int, int] | None = None


@dataclass(frozen=True)
class Spans:
    """Columns of equal length: with so many changes ``shelf`` reaches ``first_nm`` … ``last_nm``, both inclusive."""

    shelf: Whole
    changes: Whole
    first_nm: Whole
    last_nm: Whole

    def where(self, these: Where) -> "Spans":
        return Spans(self.shelf[these], self.changes[these], self.first_nm[these], self.last_nm[these])


def spans_joined(parts: Sequence[Spans]) -> Spans:
    columns = [(part.shelf, part.changes, part.first_nm, part.last_nm) for part in parts]
    none = np.empty(0, np.int64)
    return Spans(*map(np.concatenate, zip(*columns, strict=True))) if columns else Spans(none, none, none, none)


def sweep(problem: Problem, chain: Chain, shelves: Sequence[Shelf], width_nm: int, most_nm: int) -> Spans:
    """All D up to ``most_nm`` that one change or more reaches, each grown by the width. Spans of one shelf and number
    of changes neither overlap nor touch.

    ``chain`` is that of the farthest way: what a nearer one reaches, it reaches, too.
    """
    top_nm = max(most_nm - chain.base(changes) for changes in range(1, chain.most + 1))
    top_nm = min(top_nm, chain.g * chain.extent(chain.most)[1])
    if top_nm < 0:
        return spans_joined([])
    lanes = prod(len(component.places) + 1 for component in chain.components)
    chunk = max(1, _MOST // (lanes * (1 + top_nm // (width_nm + 2))))
    found = []
    for first in range(0, len(shelves), chunk):
        axis = _Axis(chain, shelves[first : first + chunk], width_nm, top_nm)
        for component in chain.components:
            axis.walk(problem, component)
        found.append(axis.spans(first))
    return spans_joined(found)


class _Axis:
    """The intervals. Outside of a component the lanes are (shelf, changes), in it (shelf, changes, waiting …)."""

    def __init__(self, chain: Chain, shelves: Sequence[Shelf], width_nm: int, top_nm: int) -> None:
        self.chain, self.shelves, self.top_nm = chain, shelves, top_nm
        self.lane_nm = top_nm + width_nm + 2  # so that intervals of neighbouring lanes do not touch
        self.counts = 1 + sum(len(component.places) for component in chain.components)
        self.first = np.arange(len(shelves)) * self.counts * self.lane_nm
        self.last = self.first + width_nm

    def walk(self, problem: Problem, component: Component) -> None:
        """Plates open, places close, and in the end nothing waits."""
        part = _Part(problem, component, self.shelves)
        capacity = part.capacity
        stride = [prod(one + 1 for one in capacity[number + 1 :]) for number in range(len(capacity))]
        lanes = prod(one + 1 for one in capacity)

        def waiting(group: int) -> Whole:
            return self._lane() // stride[group] % (capacity[group] + 1)

        self._renumber(1, lanes)
        for groups, thickness_nm, stock in part.stock():
            shelf = self._lane() // (lanes * self.counts)
            have, takes = stock[shelf], part.inside(thickness_nm)[shelf]
            free = [(capacity[group] - waiting(group)) * (takes | (not part.limited[group])) for group in groups]
            most = int(stock.max())
            moves: list[Move] = []
            for taken in product(*(range(min(most, capacity[group]) + 1) for group in groups)):
                if 0 < sum(taken) <= most:
                    where = have >= sum(taken)
                    for one, left in zip(taken, free, strict=True):
                        where &= left >= one
                    on = sum(one * stride[group] for one, group in zip(taken, groups, strict=True))
                    moves.append((where, on, sum(taken) * (thickness_nm - self.chain.a)))
            self._move(moves, np.True_)
        for (group, shift), (count, forced) in part.places().items():
            wait, least = waiting(group), forced[self._lane() // (lanes * self.counts)]
            on, shift_nm = lanes - stride[group], shift * self.chain.g
            moves = [((wait >= one) & (least <= one), one * on, one * shift_nm) for one in range(1, count + 1)]
            self._move(moves, least == 0)
        done = self._lane() % lanes == 0
        self.first, self.last = self.first[done], self.last[done]
        self._renumber(lanes, 1)

    def spans(self, first: int) -> Spans:
        """What is reached; ``first``: the number of the first shelf."""
        shelf, changes = divmod(self._lane(), self.counts)
        delta = self.first % self.lane_nm + changes * self.chain.base(1)
        found = Spans(shelf + first, changes, delta, delta + self.last - self.first)
        return found.where((changes > 0) & (changes <= self.chain.most))

    def _lane(self) -> Whole:
        return self.first // self.lane_nm

    def _renumber(self, before: int, after: int) -> None:
        """So many lanes for each that were so many so far."""
        on = (self._lane() // before * after - self._lane()) * self.lane_nm
        self.first, self.last = self.first + on, self.last + on

    def _move(self, moves: Sequence[Move], stay: Where | np.bool_) -> None:
        """The intervals as moved, beside those that stay. What only a D beyond the top reaches is cut."""
        cell = self.first % self.lane_nm
        stays = np.broadcast_to(stay, cell.shape)
        firsts, lasts = [self.first[stays]], [self.last[stays]]
        for where, lanes, shift_nm in moves:
            where = where & (cell <= self.top_nm - shift_nm)
            firsts.append(self.first[where] + (lanes * self.lane_nm + shift_nm))
            lasts.append(self.last[where] + (lanes * self.lane_nm + shift_nm))
        first, last = np.concatenate(firsts), np.concatenate(lasts)
        end = (first // self.lane_nm + 1) * self.lane_nm - 2
        self.first, self.last = joined(first, np.minimum(last, end))


class _Part:
    """A component as each shelf has it. Its groups are parted once more, by whether their spread is limited."""

    def __init__(self, problem: Problem, component: Component, shelves: Sequence[Shelf]) -> None:
        self.problem, self.component, self.shelves = problem, component, shelves
        self.spread = set(problem.spread.slots) if problem.spread else set()
        groups: dict[tuple[int, bool], int] = {}
        self.group_of = {
            slot: groups.setdefault((number, slot in self.spread), len(groups))
            for number, members in enumerate(component.groups)
            for slot in members
        }
        self.limited = [limited for _, limited in groups]
        taken = Counter(self._group(step) for step in component.places)
        self.capacity = [taken[group] for group in range(len(groups))]
        everything = 0, max(int(problem.pool.thickness_nm.max(initial=0)), 1)
        self.low, self.high = np.array([shelf.ends or everything for shelf in shelves], np.int64).T

    def _group(self, step: Step) -> int:
        assert step.slot is not None  # a place has a slot
        return self.group_of[step.slot]

    def inside(self, thickness_nm: int) -> Where:
        """Of each shelf: whether a slot whose spread is limited may hold such a plate."""
        return (self.low <= thickness_nm) & (thickness_nm <= self.high)

    def places(self) -> dict[tuple[int, int], tuple[int, Whole]]:
        """For each group and shift: how many places there are, and how many of them each shelf has to fill."""
        found: dict[tuple[int, int], tuple[int, Whole]] = {}
        none = np.zeros(len(self.shelves), np.int64)
        for step in self.component.places:
            forced: Where | bool = step.forced
            if step.slot in self.spread and step.index is not None and not forced:
                plate = self.problem.slots[step.slot].installed[step.index]
                forced = np.array([bool(shelf.ends) for shelf in self.shelves]) & ~self.inside(plate.thickness_nm)
            count, least = found.get((self._group(step), step.shift), (0, none))
            found[self._group(step), step.shift] = count + 1, least + forced
        return found

    def stock(self) -> Iterator[tuple[tuple[int, ...], int, Whole]]:
        """For each thickness and the groups that take it: how many plates each shelf holds."""
        pool_nm = self.problem.pool.thickness_nm
        takers = np.zeros(len(pool_nm), np.int64)
        for slot, group in self.group_of.items():
            takers[np.union1d(self.problem.slots[slot].ordinary, self.problem.slots[slot].substitute)] |= 1 << group
        rows = np.flatnonzero(takers)
        sizes, size, counts = np.unique(
            np.stack([takers[rows], pool_nm[rows]]), axis=1, return_inverse=True, return_counts=True
        )
        size_of = dict(zip(rows.tolist(), size.reshape(-1).tolist(), strict=True))
        stock = np.tile(counts, (len(self.shelves), 1))
        for number, shelf in enumerate(self.shelves):
            for row in shelf.missing:
                if row in size_of:
                    stock[number, size_of[row]] -= 1
        for column, (marks, thickness_nm) in enumerate(sizes.T.tolist()):
            groups = tuple(group for group in range(len(self.capacity)) if marks >> group & 1)
            yield groups, thickness_nm, stock[:, column]


def joined(first: Whole, last: Whole) -> tuple[Whole, Whole]:
    """Intervals of whole numbers, sorted; what overlaps or touches has become one."""
    if not len(first):
        return first, last
    order = np.argsort(first, kind="stable")
    first, last = first[order], np.maximum.accumulate(last[order])
    begins = np.flatnonzero(first[1:] > last[:-1] + 1) + 1
    return first[np.concatenate(([0], begins))], last[np.concatenate((begins - 1, [-1]))]
