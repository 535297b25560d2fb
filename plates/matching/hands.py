"""Two hands that meet: every spread of the changes over the slots, half of the plates in the left hand, half in the
right, each hand listed with all its sums.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

from plates.matching.steps import Component, Step

_MOST_PLACES = 5_000  # choices of places for one number of changes

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


class TooMany(Exception):
    """More sums, or more exchanges on one cell, than is worth listing: another search does better."""


@dataclass(frozen=True)
class Part:
    """What a component offers: ``plates`` that may go in, in the order of the path, and for each number of changes
    the ``choices`` of places, alike ones once and the preferred first."""

    component: Component
    plates: list[Step]
    choices: dict[int, list[tuple[int, ...]]]

    @classmethod
    def of(cls, component: Component, plates: list[Step], changes: int) -> "Part":
        every = range(len(component.places))
        forced = {place for place in every if component.places[place].forced}
        choices: dict[int, list[tuple[int, ...]]] = {}
        for count in range(len(forced), min(changes, len(every), len(plates)) + 1):
            if comb(len(every) - len(forced), count - len(forced)) > _MOST_PLACES:
                raise TooMany
            seen: dict[tuple[object, ...], tuple[int, ...]] = {}
            for free in combinations([place for place in every if place not in forced], count - len(forced)):
                choice = tuple(sorted((*forced, *free)))
                some = [component.places[place] for place in choice]
                shift, variance = sum(step.shift for step in some), sum(step.variance for step in some)
                raises = any(step.choices[0][1] for step in some)
                seen[shift, variance, raises] = min(choice, seen.get((shift, variance, raises), choice))
            choices[count] = list(seen.values())
        return cls(component, plates, choices)

    def of_plates(self, what: str) -> NDArray[np.generic]:
        if what == "raises":
            return np.array([step.choices[0][1] for step in self.plates], np.bool_)
        return np.array([getattr(step, what) for step in self.plates])

    def of_places(self, count: int, what: str) -> NDArray[np.generic]:
        places = self.component.places
        if what == "raises":
            return np.array([any(places[p].choices[0][1] for p in choice) for choice in self.choices[count]])
        return np.array([sum(getattr(places[p], what) for p in choice) for choice in self.choices[count]])


@dataclass(frozen=True)
class Hand:
    """The sums of some plates and places, and what was picked for each: columns of equal length.

    ``plates``: (part, numbers of its plates), one column a plate; ``places``: (part, changes, numbers of its choices).
    """

    cell: Ints
    plates: tuple[tuple[int, Ints], ...] = ()
    places: tuple[tuple[int, int, Ints], ...] = ()

    def take(self, where: Ints) -> "Hand":
        return Hand(
            self.cell[where],
            tuple((part, column[where]) for part, column in self.plates),
            tuple((part, count, column[where]) for part, count, column in self.places),
        )

    def beside(self, other: "Hand") -> "Hand":
        return Hand(self.cell + other.cell, self.plates + other.plates, self.places + other.places)

    def times(self, other: "Hand") -> "Hand":
        """Every pair of the two."""
        n, m = len(self.cell), len(other.cell)
        return self.take(np.repeat(np.arange(n), m)).beside(other.take(np.tile(np.arange(m), n)))

    def raised(self, parts: list[Part]) -> Bools:
        """Whether something picked raises the flag."""
        flags = np.zeros(len(self.cell), np.bool_)
        for part, column in self.plates:
            flags |= parts[part].of_plates("raises")[column].astype(np.bool_)
        for part, count, column in self.places:
            flags |= parts[part].of_places(count, "raises")[column].astype(np.bool_)
        return flags


def deals(parts: list[Part], changes: int) -> Iterator[tuple[int, ...]]:
    """Every spread of the changes over the parts."""
    if not parts:
        if changes == 0:
            yield ()
        return
    for count, choices in parts[0].choices.items():
        if count <= changes and choices:
            for rest in deals(parts[1:], changes - count):
                yield (count, *rest)


def _split(deal: tuple[int, ...]) -> list[tuple[int, int]]:
    """For each part how many of its plates are in the left hand and in the right: half of all in each."""
    free, split = sum(deal) // 2, []
    for count in deal:
        split.append((min(free, count), count - min(free, count)))
        free -= split[-1][0]
    return split


def sums(parts: list[Part], deal: tuple[int, ...]) -> int:
    """How many sums both hands have together."""
    sizes = [1, 1]
    for part, counts, count in zip(parts, _split(deal), deal, strict=True):
        for hand in (0, 1):
            sizes[hand] *= comb(len(part.plates), counts[hand])
        sizes[0 if counts[0] else 1] *= len(part.choices[count])
    return sum(sizes)


def hands(parts: list[Part], deal: tuple[int, ...]) -> tuple[Hand, Hand]:
    """Left and right. Where a part has plates in both, the same plate may be picked twice: that is for the caller."""
    both = [Hand(np.zeros(1, np.int64)), Hand(np.zeros(1, np.int64))]
    for number, (part, counts) in enumerate(zip(parts, _split(deal), strict=True)):
        for hand in (0, 1):
            if counts[hand]:
                picks = _rising(len(part.plates), counts[hand])
                shift = part.of_plates("shift").astype(np.int64)
                cell = np.sum([shift[column] for column in picks], axis=0)
                both[hand] = both[hand].times(Hand(cell, tuple((number, column) for column in picks)))
        if deal[number]:
            side, shift = 0 if counts[0] else 1, part.of_places(deal[number], "shift").astype(np.int64)
            both[side] = both[side].times(Hand(shift, (), ((number, deal[number], np.arange(len(shift))),)))
    return both[0], both[1]


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
