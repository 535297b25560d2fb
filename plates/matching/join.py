"""The one best exchange where no groups share plates: the two hands meet on its cell, however fine the lattice.

The plates of the best value are tried first, as few as are likely to reach the cell. What is found then says how much
a plate must be worth to be in anything better, and as a rule few are.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import comb

import numpy as np

from plates.matching.hands import Floats, Hand, Ints, Part, TooMany, deals, hands, meet, most_worth
from plates.matching.rank import Scale
from plates.matching.steps import Chain, Plates, Taken, in_one_group

_MOST_SUMS, _MOST_HELD = 20_000_000, 5_000_000  # in all hands one after the other, and in one
_MOST_FOUND = 1_000_000  # exchanges on one cell
_TIMES = 16  # exchanges for each cell that make it likely to be reached
_PLACE = 1 << 40  # between the places along the path of one component and of the next

Wanted = Callable[[int, float], bool]


def best_by_joining(
    chain: Chain, changes: int, cells: list[int], wanted: Wanted | None, most: int, settle: bool = False
) -> tuple[Taken, ...] | None:
    """The best exchange on one of ``cells`` that is ``wanted``; None if there is none.

    Raises :class:`TooMany` where more than ``most`` sums would have to be listed: another search does better. With
    ``settle`` the best of the plates of high rank is enough then, where they hold one.
    """
    if not in_one_group(chain):
        raise TooMany
    plates = _within(chain, changes, cells)
    scale = Scale.of([some.pieces for some in plates], [-some.received for some in plates], changes)
    if scale is None:
        raise TooMany
    values = [scale.values(some.pieces, -some.received) for some in plates]
    kept = [best_alike(*pair, changes, wanted is not None) for pair in zip(plates, values, strict=True)]
    plates = [some.take(where) for some, where in zip(plates, kept, strict=True)]
    values = [some[where] for some, where in zip(values, kept, strict=True)]
    search = _Search(chain, changes, cells, wanted, most)
    ranked = np.sort(np.concatenate(values))[::-1]
    top, size = int(ranked[: changes - 1].sum()), _enough(chain, changes)
    found: tuple[int, tuple[Taken, ...]] | None = None
    while True:
        size = min(size, len(ranked))
        if settle:
            some = [_first_of(*pair, size) for pair in zip(plates, values, strict=True)]
        else:
            least = int(ranked[size - 1]) if size else 0
            best = max(least, found[0] - top) if found else least
            some = [np.flatnonzero(value >= best) for value in values]
        try:
            found = search.best(
                [one.take(where) for one, where in zip(plates, some, strict=True)],
                [one[where] for one, where in zip(values, some, strict=True)],
                found,
            )
        except TooMany:
            if found is None or not settle:
                raise
            return found[1]
        if size == len(ranked) or (found and int(ranked[size]) < found[0] - top):
            return found[1] if found else None
        size *= 2 if found else 4


def _first_of(plates: Plates, value: Ints, size: int) -> Ints:
    """So many plates of the highest value, of equal ones those that come first by key."""
    ranked = sorted(range(len(value)), key=lambda at: (-int(value[at]), plates.key(at)))
    return np.array(sorted(ranked[:size]), np.int64)


def _within(chain: Chain, changes: int, cells: list[int]) -> list[Plates]:
    """The plates that can be among so many that end on the cells: not too thick or too thin for all others."""
    low, high = chain.extent(changes, given=1)
    least, most = min(cells) - high, max(cells) - low
    plates = [component.plates for component in chain.components]
    return [some.take(np.flatnonzero((some.shift >= least) & (some.shift <= most))) for some in plates]


def _enough(chain: Chain, changes: int) -> int:
    """So many plates as are likely to reach any cell."""
    places = comb(sum(len(part.places) for part in chain.components), changes)
    size = changes
    while comb(size, changes) * places < _TIMES * changes * chain.width:
        size += 1 + size // 4
    return size


def best_alike(plates: Plates, value: Ints, changes: int, with_variance: bool) -> Ints:
    """Of plates of one thickness (and variance) only so many of the best by value and key can matter."""
    columns = [plates.shift, plates.raises, *([plates.variance] if with_variance else [])]
    order = np.lexsort((-value, *columns))
    new = np.zeros(len(order), np.bool_)
    new[:1] = True
    for column in columns:
        new[1:] |= column[order[1:]] != column[order[:-1]]
    start = np.flatnonzero(new)[np.cumsum(new) - 1]
    last = np.minimum(start + changes - 1, len(order) - 1)
    follows = np.arange(len(order)) - start >= changes
    tied = follows & (value[order] == value[order[last]])
    keep = ~follows
    for first in np.unique(start[tied]).tolist():  # which of the equal ones stay is for their keys to say
        equal = np.flatnonzero((start == first) & (value[order] == value[order[first + changes - 1]]))
        by_key = sorted(equal.tolist(), key=lambda at: plates.key(int(order[at])))
        keep[equal] = False
        keep[by_key[: first + changes - int(equal[0])]] = True
    return order[keep]


@dataclass
class _Search:
    chain: Chain
    changes: int
    cells: list[int]
    wanted: Wanted | None
    left: int  # so many sums may still be listed

    def best(
        self, plates: list[Plates], values: list[Ints], found: tuple[int, tuple[Taken, ...]] | None
    ) -> tuple[int, tuple[Taken, ...]] | None:
        """(value, steps) of the best exchange that takes none but these plates; at least as good as ``found``."""
        parts = [
            Part.of(component, some, value, self.changes)
            for component, some, value in zip(self.chain.components, plates, values, strict=True)
        ]
        dealt = [(most_worth(parts, deal), deal) for deal in deals(parts, self.changes)]
        least, ties = found[0] if found else None, list[Hand]()
        for most, deal in sorted(dealt, reverse=True):
            if least is not None and most < least:
                break
            left, right = hands(parts, deal, min(self.left, _MOST_HELD), least)
            if not len(left.cell):
                continue
            self.left -= len(left.cell) + len(right.cell)
            left = left.take(np.argsort(left.cell, kind="stable"))
            for cell in self.cells:
                flagged = self.chain.flagged
                some = meet(parts, left, right, (cell, cell), flagged, min(self.left, _MOST_FOUND), least)
                if self.wanted is not None and len(some.cell):
                    variance = some.variance(parts)
                    some = some.take(np.flatnonzero(variance <= self._largest(cell, variance)))
                if len(some.cell):
                    best = int(some.value.max())
                    if least is None or best > least:
                        least, ties = best, []
                    ties.append(some.worth(best))
        if least is None or not ties:
            return found
        return least, _preferred(self.chain, plates, parts, ties)

    def _largest(self, cell: int, variances: Floats) -> float:
        """The largest of the variances that is wanted (every smaller one is, then); -1 if none is."""
        assert self.wanted is not None
        known = np.unique(variances)
        good, bad = -1, len(known)
        while bad - good > 1:
            middle = (good + bad) // 2
            good, bad = (middle, bad) if self.wanted(cell, float(known[middle])) else (good, middle)
        return float(known[good]) if good >= 0 else -1.0


def _preferred(chain: Chain, plates: list[Plates], parts: list[Part], ties: list[Hand]) -> tuple[Taken, ...]:
    """Of exchanges equal in value the one whose sorted positions along the path come first.

    Along the path stand, component by component, the plates by key, then the places.
    """
    by_key = [sorted(range(len(some.row)), key=some.key) for some in plates]
    first = []
    for tie in ties:
        columns = [number * _PLACE + np.argsort(by_key[number])[column][:, None] for number, column in tie.plates]
        for number, count, column in tie.places:
            columns.append(number * _PLACE + _PLACE // 2 + parts[number].freed[count].choices[column])
        paths = np.sort(np.hstack(columns), axis=1)
        first.append(tuple(paths[np.lexsort(paths.T[::-1])[0]].tolist()))
    taken = []
    for position in min(first):
        number, place = divmod(position, _PLACE)
        if place < _PLACE // 2:
            step = plates[number].step(by_key[number][place])
        else:
            step = chain.components[number].places[place - _PLACE // 2]
        taken.append(Taken(number, 0, step))
    return tuple(taken)


def variances_by_joining(chain: Chain, changes: int, first: int, last: int) -> tuple[Ints, Floats]:
    """Cell and sum of variances of every exchange with so many changes that ends from ``first`` to ``last``.

    Raises :class:`TooMany` where these are more than is worth listing.
    """
    if not in_one_group(chain):
        raise TooMany
    parts = []
    for component in chain.components:
        value = np.zeros(len(component.plates.row), np.int64)
        plates = component.plates.take(best_alike(component.plates, value, changes, True))
        parts.append(Part.of(component, plates, value[: len(plates.row)], changes))
    cells, variances, left_over = [np.empty(0, np.int64)], [np.empty(0)], _MOST_SUMS
    for deal in deals(parts, changes):
        left, right = hands(parts, deal, min(left_over, _MOST_HELD))
        left_over -= len(left.cell) + len(right.cell)
        left = left.take(np.argsort(left.cell, kind="stable"))
        found = meet(parts, left, right, (first, last), chain.flagged, _MOST_FOUND - sum(map(len, cells)), None)
        cells.append(found.cell)
        variances.append(found.variance(parts))
    return np.concatenate(cells), np.concatenate(variances)
