"""The one best exchange where few reach a cell: meet in the middle, however fine the lattice.

The plates that go in are dealt to two hands, in every way of spreading the changes over the slots. All sums of one
hand are sorted, those of the other look up what is missing, and every exchange that ends on the cell comes to light.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

from plates.matching.steps import Chain, Component, Scale, Step, Taken, contenders

_MOST_SUMS = 4_000_000  # in all hands together: under a second
_MOST_FOUND = 1_000_000  # exchanges on one cell
_CORES = (16, 64)  # first among the plates of best rank alone

Ints = NDArray[np.int64]
Wanted = Callable[[int, float], bool]


@dataclass(frozen=True)
class _Part:
    """What a component offers: its plates by preference with their columns, and its choices of places by number."""

    plates: list[tuple[int, Step]]  # with the position in the preferred path
    shift: Ints
    rank: Ints
    variance: NDArray[np.float64]
    raises: NDArray[np.bool_]
    places: dict[int, list[tuple[int, ...]]]
    component: Component


@dataclass(frozen=True)
class _Hand:
    """Sums of some plates and places: equally long columns; ``picks``: (part, plate or choice of places) columns."""

    cell: Ints
    rank: Ints
    variance: NDArray[np.float64]
    raised: NDArray[np.bool_]
    plates: tuple[tuple[int, Ints], ...] = ()
    places: tuple[tuple[int, Ints], ...] = ()

    def times(self, other: "_Hand") -> "_Hand":
        """Every pair of the two."""
        n, m = len(self.cell), len(other.cell)
        first, second = np.repeat(np.arange(n), m), np.tile(np.arange(m), n)
        return self.take(first).beside(other.take(second))

    def take(self, where: Ints) -> "_Hand":
        return _Hand(
            self.cell[where], self.rank[where], self.variance[where], self.raised[where],
            tuple((part, column[where]) for part, column in self.plates),
            tuple((part, column[where]) for part, column in self.places),
        )  # fmt: skip

    def beside(self, other: "_Hand") -> "_Hand":
        return _Hand(
            self.cell + other.cell, self.rank + other.rank, self.variance + other.variance,
            self.raised | other.raised, self.plates + other.plates, self.places + other.places,
        )  # fmt: skip


_NOTHING = _Hand(np.zeros(1, np.int64), np.zeros(1, np.int64), np.zeros(1), np.zeros(1, np.bool_))


class TooMany(Exception):
    """More sums, or more exchanges on one cell, than is worth listing."""


def best_by_joining(
    chain: Chain, changes: int, cells: list[int], wanted: Wanted | None
) -> tuple[Taken, ...] | None:
    """The best exchange on one of ``cells`` that is ``wanted``; None if there is none.

    Raises :class:`TooMany` where another search does better.
    """
    if any(len(component.groups) > 1 for component in chain.components):
        raise TooMany
    plates = [contenders(part, changes) if wanted is None else list(part.plates) for part in chain.components]
    scale = Scale.of(plates, changes)
    if scale is None:
        raise TooMany
    search = _Search(chain, changes, cells, wanted, scale)
    if wanted is None:
        for size in _CORES:
            core = [sorted(some, key=lambda step: step.rank)[-size:] for some in plates]
            found = search.best(core)
            if found is None:
                continue
            # A plate is in an exchange as good as this only if with the best others it can reach the same rank.
            ranks = sorted((scale.value(step) for some in plates for step in some), reverse=True)
            least = found[0] - sum(ranks[: changes - 1])
            plates = [[step for step in some if scale.value(step) >= least] for some in plates]
            if all(len(some) <= size for some in plates):
                return found[1]
            break
    found = search.best(plates)
    return found[1] if found else None


@dataclass
class _Search:
    chain: Chain
    changes: int
    cells: list[int]
    wanted: Wanted | None
    scale: Scale

    def best(self, plates: list[list[Step]]) -> tuple[int, tuple[Taken, ...]] | None:
        """(rank, steps) of the best exchange that takes none but these plates."""
        parts = [self._part(number, set(map(id, some))) for number, some in enumerate(plates)]
        deals = list(self._deals(parts))
        if sum(self._sums(parts, deal) for deal in deals) > _MOST_SUMS:
            raise TooMany
        best: tuple[int, tuple[int, ...], tuple[Taken, ...]] | None = None
        for deal in deals:
            left, right = self._hands(parts, deal)
            for cell in self.cells:
                met = self._meet(parts, left, right, cell, best[0] if best else None)
                if met and (best is None or (-met[0], met[1]) < (-best[0], best[1])):
                    best = met
        return (best[0], best[2]) if best else None

    def _part(self, number: int, kept: set[int]) -> _Part:
        component = self.chain.components[number]
        plates = [(place, step) for place, step in enumerate(component.plates) if id(step) in kept]
        steps = [step for _, step in plates]
        places: dict[int, list[tuple[int, ...]]] = {}
        every = range(len(component.places))
        forced = {place for place in every if component.places[place].forced}
        for count in range(len(forced), min(self.changes, len(every), len(plates)) + 1):
            if comb(len(every) - len(forced), count - len(forced)) > 5_000:
                raise TooMany
            seen: dict[tuple[object, ...], tuple[int, ...]] = {}
            for choice in combinations(every, count):
                if forced <= set(choice):
                    some = [component.places[place] for place in choice]
                    shift, variance = sum(step.shift for step in some), sum(step.variance for step in some)
                    seen.setdefault((shift, variance, any(s.choices[0][1] for s in some)), choice)
            places[count] = list(seen.values())
        return _Part(
            plates,
            np.array([step.shift for step in steps], np.int64),
            np.array([self.scale.value(step) for step in steps], np.int64),
            np.array([step.variance for step in steps], np.float64),
            np.array([step.choices[0][1] for step in steps], np.bool_),
            places,
            component,
        )

    def _deals(self, parts: list[_Part], left: int | None = None) -> Iterator[tuple[int, ...]]:
        """How many changes each part makes."""
        left = self.changes if left is None else left
        if not parts:
            if left == 0:
                yield ()
            return
        for count in parts[0].places:
            if count <= left and parts[0].places[count]:
                for rest in self._deals(parts[1:], left - count):
                    yield (count, *rest)

    def _split(self, deal: tuple[int, ...]) -> list[tuple[int, int]]:
        """For each part how many of its plates are in the left hand and in the right: half of all in each."""
        free, split = self.changes // 2, []
        for count in deal:
            split.append((min(free, count), count - min(free, count)))
            free -= split[-1][0]
        return split

    def _sums(self, parts: list[_Part], deal: tuple[int, ...]) -> int:
        sizes = [1, 1]
        for part, counts, count in zip(parts, self._split(deal), deal, strict=True):
            for hand in (0, 1):
                sizes[hand] *= comb(len(part.plates), counts[hand])
            sizes[0 if counts[0] else 1] *= len(part.places[count])
        return sum(sizes)

    def _hands(self, parts: list[_Part], deal: tuple[int, ...]) -> tuple[_Hand, _Hand]:
        hands = [_NOTHING, _NOTHING]
        for number, (part, counts) in enumerate(zip(parts, self._split(deal), strict=True)):
            for hand in (0, 1):
                if counts[hand]:
                    hands[hand] = hands[hand].times(_some_plates(number, part, counts[hand]))
            if deal[number]:
                side = 0 if counts[0] else 1
                hands[side] = hands[side].times(_some_places(number, part, deal[number]))
        return hands[0], hands[1]

    def _meet(
        self, parts: list[_Part], left: _Hand, right: _Hand, cell: int, beat: int | None
    ) -> tuple[int, tuple[int, ...], tuple[Taken, ...]] | None:
        """(rank, path, steps) of the best exchange on the cell, at least as good as ``beat``."""
        order = np.argsort(left.cell, kind="stable")
        sums, missing = left.cell[order], cell - right.cell
        first = np.searchsorted(sums, missing, "left")
        counts = np.searchsorted(sums, missing, "right") - first
        total = int(counts.sum())
        if total > _MOST_FOUND:
            raise TooMany
        if not total:
            return None
        ends = np.cumsum(counts)
        within = np.arange(total) - np.repeat(ends - counts, counts)
        found = left.take(order[np.repeat(first, counts) + within]).beside(
            right.take(np.repeat(np.arange(len(counts)), counts))
        )
        good = found.raised if self.chain.flagged else np.ones(total, np.bool_)
        for (part, one), (next_part, other) in zip(found.plates, found.plates[1:], strict=False):
            if part == next_part:  # each set of plates once: those of one part in rising order
                good &= one < other
        if beat is not None:
            good &= found.rank >= beat
        found = found.take(np.flatnonzero(good))
        if self.wanted is not None:
            found = found.take(np.flatnonzero(found.variance <= self._largest(cell, found.variance)))
        if not len(found.cell):
            return None
        rank = int(found.rank.max())
        return rank, *self._preferred(parts, found.take(np.flatnonzero(found.rank == rank)))

    def _largest(self, cell: int, variances: NDArray[np.float64]) -> float:
        """The largest of the variances that is wanted (a smaller one always is, then); -1 if none is."""
        assert self.wanted is not None
        known = np.unique(variances)
        good, bad = -1, len(known)
        while bad - good > 1:
            middle = (good + bad) // 2
            good, bad = (middle, bad) if self.wanted(cell, float(known[middle])) else (good, middle)
        return float(known[good]) if good >= 0 else -1.0

    def _preferred(self, parts: list[_Part], ties: _Hand) -> tuple[tuple[int, ...], tuple[Taken, ...]]:
        """Of exchanges equal in rank the one whose sorted positions along the path come first."""
        start = np.cumsum([0, *(len(c.plates) + len(c.places) for c in self.chain.components)])
        columns = []
        for number, column in ties.plates:
            positions = np.array([place for place, _ in parts[number].plates], np.int64)
            columns.append(start[number] + positions[column][:, None])
        for number, column in ties.places:
            count = sum(1 for part, _ in ties.plates if part == number)
            choices = np.array(parts[number].places[count], np.int64)
            columns.append(start[number] + len(self.chain.components[number].plates) + choices[column])
        paths = np.sort(np.hstack(columns), axis=1)
        path = tuple(paths[np.lexsort(paths.T[::-1])[0]].tolist())
        steps = []
        for position in path:
            number = int(np.searchsorted(start, position, "right")) - 1
            component = self.chain.components[number]
            steps.append(Taken(number, 0, (component.plates + component.places)[position - int(start[number])]))
        return path, tuple(steps)


def _some_plates(number: int, part: _Part, count: int) -> _Hand:
    """Every choice of ``count`` plates of the part."""
    picks = _rising(len(part.plates), count)
    return _Hand(
        np.sum([part.shift[column] for column in picks], axis=0),
        np.sum([part.rank[column] for column in picks], axis=0),
        np.sum([part.variance[column] for column in picks], axis=0),
        np.logical_or.reduce([part.raises[column] for column in picks]),
        tuple((number, column) for column in picks),
    )


def _rising(n: int, count: int) -> list[Ints]:
    """Columns of every rising row of ``count`` numbers below ``n``."""
    columns = [np.arange(n)]
    for _ in range(count - 1):
        follow = n - 1 - columns[-1]
        ends = np.cumsum(follow)
        within = np.arange(int(follow.sum())) - np.repeat(ends - follow, follow)
        last = np.repeat(columns[-1], follow) + 1 + within
        columns = [*(np.repeat(column, follow) for column in columns), last]
    return columns


def _some_places(number: int, part: _Part, count: int) -> _Hand:
    choices = [[part.component.places[place] for place in choice] for choice in part.places[count]]
    return _Hand(
        np.array([sum(step.shift for step in some) for some in choices], np.int64),
        np.zeros(len(choices), np.int64),
        np.array([sum(step.variance for step in some) for some in choices], np.float64),
        np.array([any(step.choices[0][1] for step in some) for some in choices], np.bool_),
        (),
        ((number, np.arange(len(choices))),),
    )
