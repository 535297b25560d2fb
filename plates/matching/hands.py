"""Two hands that meet: every spread of the changes over the slots, half of the plates in the left hand, half in the
right, each hand listed with all its sums.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import accumulate, combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

from plates.matching.steps import Component, Freed, Plates

_MOST_PLACES = 5_000  # choices of places for one number of changes

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


class TooMany(Exception):
    """More sums, or more exchanges on one cell, than is worth listing: another search does better."""


@dataclass(frozen=True)
class Part:
    """What a component offers: plates that may go in, columns of equal length, and for each number of changes the
    choices of places. ``value``: what ranks the plates; ``tops``: for 0, 1, … of them the largest sum of it.
    """

    shift: Ints
    value: Ints
    variance: Floats
    raises: Bools
    tops: list[int]
    freed: dict[int, Freed]

    @classmethod
    def of(cls, component: Component, plates: Plates, value: Ints, changes: int) -> "Part":
        freed = _freed(component, min(changes, len(value)))
        tops = accumulate(np.sort(value)[::-1][:changes].tolist(), initial=0)
        return cls(plates.shift, value, plates.variance, plates.raises, list(tops), freed)

    @classmethod
    def bare(cls, component: Component, shift: Ints, raises: Bools, changes: int) -> "Part":
        """A part whose plates have neither rank nor uncertainty."""
        freed = _freed(component, min(changes, len(shift)))
        return cls(shift, np.zeros(len(shift), np.int64), np.zeros(len(shift)), raises, [0] * (changes + 1), freed)


def _freed(component: Component, most: int) -> dict[int, Freed]:
    forced = sum(step.forced for step in component.places)
    return {count: freed(component, count) for count in range(forced, min(most, len(component.places)) + 1)}


def freed(component: Component, count: int) -> Freed:
    """The choices of so many places, alike ones once and the preferred first."""
    if count not in component.freed:
        places = component.places
        forced = [place for place, step in enumerate(places) if step.forced]
        free = [place for place, step in enumerate(places) if not step.forced]
        if comb(len(free), count - len(forced)) > _MOST_PLACES:
            raise TooMany
        seen: dict[tuple[int, float, bool], tuple[int, ...]] = {}
        for chosen in combinations(free, count - len(forced)):
            choice = tuple(sorted((*forced, *chosen)))
            some = [places[place] for place in choice]
            alike = sum(s.shift for s in some), sum(s.variance for s in some), any(s.choices[0][1] for s in some)
            seen.setdefault(alike, choice)
        shift, variance, raises = zip(*seen, strict=True)
        choices = np.array(list(seen.values()), np.int64)
        component.freed[count] = Freed(choices, np.array(shift), np.array(variance), np.array(raises))
    return component.freed[count]


@dataclass(frozen=True)
class Hand:
    """The sums of some plates and places, and what was picked for each: columns of equal length.

    ``plates``: (part, numbers of its plates), one column a plate; ``places``: (part, changes, numbers of its choices).
    """

    cell: Ints
    value: Ints
    plates: tuple[tuple[int, Ints], ...] = ()
    places: tuple[tuple[int, int, Ints], ...] = ()

    def take(self, where: Ints) -> "Hand":
        return Hand(
            self.cell[where],
            self.value[where],
            tuple((part, column[where]) for part, column in self.plates),
            tuple((part, count, column[where]) for part, count, column in self.places),
        )

    def beside(self, other: "Hand") -> "Hand":
        return Hand(
            self.cell + other.cell, self.value + other.value, self.plates + other.plates, self.places + other.places
        )

    def times(self, other: "Hand", most: int) -> "Hand":
        """Every pair of the two."""
        n, m = len(self.cell), len(other.cell)
        if n * m > most:
            raise TooMany
        if n == 1:
            return self.take(np.zeros(m, np.int64)).beside(other)
        return self.take(np.repeat(np.arange(n), m)).beside(other.take(np.tile(np.arange(m), n)))

    def worth(self, least: int | None) -> "Hand":
        """What has at least this value."""
        if least is None or not len(self.value) or int(self.value.min()) >= least:
            return self
        return self.take(np.flatnonzero(self.value >= least))

    def raised(self, parts: list[Part]) -> Bools:
        """Whether something picked raises the flag."""
        flags = np.zeros(len(self.cell), np.bool_)
        for part, column in self.plates:
            flags |= parts[part].raises[column]
        for part, count, column in self.places:
            flags |= parts[part].freed[count].raises[column]
        return flags

    def variance(self, parts: list[Part]) -> Floats:
        variance = np.zeros(len(self.cell))
        for part, column in self.plates:
            variance += parts[part].variance[column]
        for part, count, column in self.places:
            variance += parts[part].freed[count].variance[column]
        return variance


def deals(parts: list[Part], changes: int) -> Iterator[tuple[int, ...]]:
    """Every spread of the changes over the parts."""
    if not parts:
        if changes == 0:
            yield ()
        return
    for count in parts[0].freed:
        if count <= changes:
            for rest in deals(parts[1:], changes - count):
                yield (count, *rest)


def _split(deal: tuple[int, ...]) -> list[tuple[int, int]]:
    """For each part how many of its plates are in the left hand and in the right: half of all in each."""
    free, split = sum(deal) // 2, []
    for count in deal:
        split.append((min(free, count), count - min(free, count)))
        free -= split[-1][0]
    return split


def hands(parts: list[Part], deal: tuple[int, ...], most: int, least: int | None = None) -> tuple[Hand, Hand]:
    """Left and right. Where a part has plates in both, the same plate may be picked twice: that is for the caller.

    With ``least`` what cannot be in an exchange of that value is left out, and both are empty where nothing is left.
    Raises :class:`TooMany` where a hand would hold more than ``most`` sums.
    """
    nothing = np.zeros(1, np.int64)
    both, rest = [Hand(nothing, nothing), Hand(nothing, nothing)], [most_worth(parts, deal)] * 2
    for number, (part, counts) in enumerate(zip(parts, _split(deal), strict=True)):
        for side in (0, 1):
            some = Hand(nothing, nothing)
            for picked in range(1, counts[side] + 1):
                some = _one_more(some, number, part, most)
                rest[side] += part.tops[deal[number] - picked] - part.tops[deal[number] - picked + 1]
                if least is not None:
                    others = most_worth(parts, deal) - part.tops[deal[number]] + part.tops[deal[number] - picked]
                    some = some.worth(least - others)
            if counts[side]:
                both[side] = both[side].times(some, most)
                if least is not None:
                    both[side] = both[side].worth(least - rest[side])
                if not len(both[side].cell):
                    return both[side], both[side]
        if deal[number]:
            side, shift = 0 if counts[0] else 1, part.freed[deal[number]].shift
            choices = np.arange(len(shift))
            places = Hand(shift, np.zeros(len(shift), np.int64), (), ((number, deal[number], choices),))
            both[side] = both[side].times(places, most)
    return both[0], both[1]


def most_worth(parts: list[Part], deal: tuple[int, ...]) -> int:
    """No exchange dealt like this has a larger value."""
    return sum(part.tops[count] for part, count in zip(parts, deal, strict=True))


def _one_more(hand: Hand, number: int, part: Part, most: int) -> Hand:
    """Each pick of plates of one part with every plate that follows in it."""
    last = hand.plates[-1][1] if hand.plates else np.full(1, -1)
    follow = len(part.shift) - 1 - last
    ends = np.cumsum(follow)
    total = int(follow.sum())
    if total > most:
        raise TooMany
    new = np.arange(total) - np.repeat(ends - follow, follow) + np.repeat(last, follow) + 1
    more = Hand(part.shift[new], part.value[new], ((number, new),))
    return more if not hand.plates else hand.take(np.repeat(np.arange(len(last)), follow)).beside(more)


def meet(
    parts: list[Part], left: Hand, right: Hand, ends: tuple[int, int], flagged: bool, most: int, least: int | None
) -> Hand:
    """Every exchange of the two hands, the left one sorted, that ends from one cell to another, both inclusive.

    With ``least`` only those that have at least that value. Raises :class:`TooMany` where they are more than ``most``.
    """
    begin = np.searchsorted(left.cell, ends[0] - right.cell, "left")
    counts = np.searchsorted(left.cell, ends[1] - right.cell, "right") - begin
    total = int(counts.sum())
    if total > most:
        raise TooMany
    at = np.arange(total) - np.repeat(np.cumsum(counts) - counts, counts) + np.repeat(begin, counts)
    who = np.repeat(np.arange(len(counts)), counts)
    if least is not None:
        good = left.value[at] + right.value[who] >= least
        at, who = at[good], who[good]
    found = left.take(at).beside(right.take(who))
    good = found.raised(parts) if flagged else np.ones(len(at), np.bool_)
    for (part, one), (next_part, other) in zip(found.plates, found.plates[1:], strict=False):
        if part == next_part:  # each set of plates once: those of one part in rising order
            good &= one < other
    return found if good.all() else found.take(np.flatnonzero(good))
