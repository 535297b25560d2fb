"""The one best exchange where few reach a cell: the two hands meet on it, however fine the lattice."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plates.matching.hands import Hand, Ints, Part, TooMany, deals, hands, sums
from plates.matching.rank import Scale
from plates.matching.steps import Chain, Step, Taken, in_one_group

_MOST_SUMS, _MOST_HELD = 20_000_000, 5_000_000  # in all hands one after the other, and in two at a time
_MOST_FOUND = 1_000_000  # exchanges on one cell
_CORE = 16  # so many plates of the best rank are tried first

Wanted = Callable[[int, float], bool]
Path = tuple[int, ...]


def best_by_joining(
    chain: Chain, plates: list[list[Step]], changes: int, cells: list[int], wanted: Wanted | None
) -> tuple[Taken, ...] | None:
    """The best exchange of these plates on one of ``cells`` that is ``wanted``; None if there is none.

    Raises :class:`TooMany` where another search does better.
    """
    scale = Scale.of(plates, changes)
    if scale is None or not in_one_group(chain):
        raise TooMany
    search = _Search(chain, changes, cells, wanted, scale)
    size = _CORE if wanted is None else max(map(len, plates))
    while True:
        found = search.best([_best_ranked(some, size) for some in plates])
        if found:
            # A plate is in an exchange as good as this only if with the best others it can reach the same rank.
            ranks = sorted((scale.value(step) for some in plates for step in some), reverse=True)
            least = found[0] - sum(ranks[: changes - 1])
            plates = [[step for step in some if scale.value(step) >= least] for some in plates]
        if all(len(some) <= size for some in plates):
            return found[1] if found else None
        size *= 2


def _best_ranked(plates: list[Step], size: int) -> list[Step]:
    """The first of them by rank, in their order."""
    ranked = sorted(range(len(plates)), key=lambda number: plates[number].rank)[-size:]
    return [plates[number] for number in sorted(ranked)]


@dataclass
class _Search:
    chain: Chain
    changes: int
    cells: list[int]
    wanted: Wanted | None
    scale: Scale

    def best(self, plates: list[list[Step]]) -> tuple[int, tuple[Taken, ...]] | None:
        """(rank, steps) of the best exchange that takes none but these plates."""
        dealt = zip(self.chain.components, plates, strict=True)
        parts = [Part.of(component, some, self.changes) for component, some in dealt]
        spreads = list(deals(parts, self.changes))
        sizes = [sums(parts, deal) for deal in spreads]
        if max(sizes, default=0) > _MOST_HELD or sum(sizes) > _MOST_SUMS:
            raise TooMany
        best: tuple[int, Path] | None = None
        for deal in spreads:
            left, right = hands(parts, deal)
            left = left.take(np.argsort(left.cell, kind="stable"))
            for cell in self.cells:
                met = self._meet(parts, left, right, cell, best[0] if best else None)
                if met and (best is None or (-met[0], met[1]) < (-best[0], best[1])):
                    best = met
        return (best[0], self._steps(best[1])) if best else None

    def _meet(
        self, parts: list[Part], left: Hand, right: Hand, cell: int, beat: int | None
    ) -> tuple[int, Path] | None:
        """(rank, path) of the best exchange on the cell, where it is at least as good as ``beat``."""
        found = _between(parts, left, right, cell, cell, self.chain.flagged)
        rank = self._rank(parts, found)
        good = np.ones(len(rank), np.bool_) if beat is None else rank >= beat
        if self.wanted is not None:
            variance = _variance(parts, found)
            good &= variance <= self._largest(cell, variance)
        if not good.any():
            return None
        best = int(rank[good].max())
        return best, self._preferred(parts, found.take(np.flatnonzero(good & (rank == best))))

    def _rank(self, parts: list[Part], found: Hand) -> Ints:
        rank = np.zeros(len(found.cell), np.int64)
        for part, column in found.plates:
            rank += np.array([self.scale.value(step) for step in parts[part].plates], np.int64)[column]
        return rank

    def _largest(self, cell: int, variances: NDArray[np.float64]) -> float:
        """The largest of the variances that is wanted (every smaller one is, then); -1 if none is."""
        assert self.wanted is not None
        known = np.unique(variances)
        good, bad = -1, len(known)
        while bad - good > 1:
            middle = (good + bad) // 2
            good, bad = (middle, bad) if self.wanted(cell, float(known[middle])) else (good, middle)
        return float(known[good]) if good >= 0 else -1.0

    def _preferred(self, parts: list[Part], ties: Hand) -> Path:
        """Of exchanges equal in rank the one whose sorted positions along the path come first."""
        start = self._start()
        places = [{id(step): place for place, step in enumerate(part.component.plates)} for part in parts]
        positions = [np.array([at[id(s)] for s in part.plates]) for at, part in zip(places, parts, strict=True)]
        columns = [start[part] + positions[part][column][:, None] for part, column in ties.plates]
        for part, count, column in ties.places:
            choices = np.array(parts[part].choices[count], np.int64)
            columns.append(start[part] + len(parts[part].component.plates) + choices[column])
        paths = np.sort(np.hstack(columns), axis=1)
        return tuple(paths[np.lexsort(paths.T[::-1])[0]].tolist())

    def _start(self) -> list[int]:
        """The position along the path at which each component begins: its plates, then its places."""
        lengths = [len(part.plates) + len(part.places) for part in self.chain.components]
        return [sum(lengths[:number]) for number in range(len(lengths))]

    def _steps(self, path: Path) -> tuple[Taken, ...]:
        steps = [
            Taken(number, 0, step)
            for number, part in enumerate(self.chain.components)
            for step in part.plates + part.places
        ]
        return tuple(steps[position] for position in path)


def variances_by_joining(
    chain: Chain, changes: int, first: int, last: int
) -> tuple[Ints, NDArray[np.float64]]:
    """Cell and sum of variances of every exchange with so many changes that ends from ``first`` to ``last``.

    Raises :class:`TooMany` where these are more than is worth listing.
    """
    if not in_one_group(chain):
        raise TooMany
    parts = [Part.of(component, list(component.plates), changes) for component in chain.components]
    spreads = list(deals(parts, changes))
    sizes = [sums(parts, deal) for deal in spreads]
    if max(sizes, default=0) > _MOST_HELD or sum(sizes) > _MOST_SUMS:
        raise TooMany
    cells, variances = [np.empty(0, np.int64)], [np.empty(0)]
    for deal in spreads:
        left, right = hands(parts, deal)
        left = left.take(np.argsort(left.cell, kind="stable"))
        found = _between(parts, left, right, first, last, chain.flagged)
        cells.append(found.cell)
        variances.append(_variance(parts, found))
        if sum(map(len, cells)) > _MOST_FOUND:
            raise TooMany
    return np.concatenate(cells), np.concatenate(variances)


def _between(parts: list[Part], left: Hand, right: Hand, first: int, last: int, flagged: bool) -> Hand:
    """Every exchange of the two hands, the left one sorted, that ends from ``first`` to ``last``."""
    begin = np.searchsorted(left.cell, first - right.cell, "left")
    counts = np.searchsorted(left.cell, last - right.cell, "right") - begin
    total = int(counts.sum())
    if total > _MOST_FOUND:
        raise TooMany
    within = np.arange(total) - np.repeat(np.cumsum(counts) - counts, counts)
    found = left.take(np.repeat(begin, counts) + within)
    found = found.beside(right.take(np.repeat(np.arange(len(counts)), counts)))
    good = found.raised(parts) if flagged else np.ones(total, np.bool_)
    for (part, one), (next_part, other) in zip(found.plates, found.plates[1:], strict=False):
        if part == next_part:  # each set of plates once: those of one part in rising order
            good &= one < other
    return found.take(np.flatnonzero(good))


def _variance(parts: list[Part], found: Hand) -> NDArray[np.float64]:
    variance = np.zeros(len(found.cell))
    for part, column in found.plates:
        variance += parts[part].of_plates("variance")[column].astype(np.float64)
    for part, count, column in found.places:
        variance += parts[part].of_places(count, "variance")[column].astype(np.float64)
    return variance
