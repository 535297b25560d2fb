"""The reachable sums nearest to a wanted one.

On a coarse lattice all reachable cells are held as bits. On a fine one the two hands look for the nearest: first with
a few plates of each part, which as a rule meet on the very cell, and nothing can be nearer than that; else with all.
"""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from math import comb, prod

import numpy as np

from plates.matching.hands import Bools, Hand, Ints, Part, TooMany, deals, hands
from plates.matching.reach import extremes, nearest, reach
from plates.matching.steps import Chain, Component, in_one_group

_FINE = 100_000  # cells for each change from which the hands are quicker than the bits
_FEWEST, _TIMES = 4, 16  # thicknesses of each part; exchanges for each cell that make it likely to be reached
_MOST_SUMS = 3_000_000  # of all hands
_MOST_TURNS = 64


@dataclass
class Nearest:
    """What is reachable along one chain, worked out only as far as it is asked."""

    chain: Chain
    reached: dict[int, int] = field(default_factory=dict)
    known: int = 0
    some: dict[int, int] = field(default_factory=dict)
    some_known: int = 0
    bounds: dict[int, tuple[int, int]] = field(default_factory=dict)
    bounded: int = 0
    dealt: dict[tuple[int, bool], "_Dealt"] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.simple = in_one_group(self.chain)
        self.fine = self.simple and self.chain.width > _FINE

    def both(self, changes: int, cell: int) -> tuple[int | None, int | None]:
        """The nearest reachable cells at or below ``cell`` and at or above it, with so many changes."""
        if changes <= self.known:
            return nearest(self.reached.get(changes, 0), cell)
        if changes > self.bounded:
            self.bounded = self.chain.most if self.simple else min(self.chain.most, max(changes, 2 * self.bounded))
            self.bounds = extremes(self.chain, self.bounded)
        if changes not in self.bounds:
            return None, None
        low, high = self.bounds[changes]
        if cell >= high:
            return high, high if cell == high else None
        if cell <= low:
            return low if cell == low else None, low
        if self.fine:
            with suppress(TooMany):
                return self._by_hands(changes, cell)
        elif changes > 1 and self._with_some(changes) >> cell & 1:
            return cell, cell
        return nearest(self._cells(changes), cell)

    def _cells(self, changes: int) -> int:
        if changes > self.known:
            self.known = changes if self.fine else min(self.chain.most, max(changes, 2 * self.known))
            self.reached = reach(self.chain, self.known)
        return self.reached.get(changes, 0)

    def _with_some(self, changes: int) -> int:
        """The cells that are reached with plates of some thicknesses, where so few as a rule reach every one."""
        if changes > self.some_known:
            self.some_known = min(self.chain.most, max(changes, 2 * self.some_known))
            thinned = _thinned(self.chain, changes)
            self.some = reach(thinned, self.some_known) if thinned else {}
        return self.some.get(changes, 0)

    def _by_hands(self, changes: int, cell: int) -> tuple[int | None, int | None]:
        below: int | None = None
        above: int | None = None
        for every in (False, True):
            chain = self.chain if every else _thinned(self.chain, changes)
            if chain is None:
                continue
            if (changes, every) not in self.dealt:
                self.dealt[changes, every] = _Dealt.of(chain, changes)
            for meeting in self.dealt[changes, every].meetings():
                below = max((one for one in (below, meeting.below(cell)) if one is not None), default=None)
                if below == cell:
                    return cell, cell
                above = min((one for one in (above, meeting.above(cell)) if one is not None), default=None)
        return below, above

def _thinned(chain: Chain, changes: int) -> Chain | None:
    """The chain with so few thicknesses that each cell is still reached many times; None where it needs most."""
    places = sum(len(part.places) for part in chain.components)
    groups = len(chain.components)
    few = _FEWEST
    while comb(few * groups, changes) * comb(places, changes) < _TIMES * changes * chain.width:
        few *= 2
        if 2 * few > max(len(shifts) for part in chain.components for _, shifts, _ in part.stock):
            return None
    parts = []
    for part in chain.components:
        stock = []
        for choices, shifts, counts in part.stock:
            at = np.linspace(0, len(shifts) - 1, min(few, len(shifts))).astype(np.int64)
            stock.append((choices, shifts[at], counts[at]))
        parts.append(replace(part, stock=tuple(stock)))
    return replace(chain, components=tuple(parts))


@dataclass
class _Dealt:
    """The hands of one chain and number of changes, dealt one after the other, those with most sums first."""

    chain: Chain
    parts: list[Part]
    waiting: list[tuple[int, ...]]
    left: int = _MOST_SUMS  # so many sums may still be listed
    known: "list[_Meeting]" = field(default_factory=list)

    @classmethod
    def of(cls, chain: Chain, changes: int) -> "_Dealt":
        parts = [_part(component, changes) for component in chain.components]

        def size(deal: tuple[int, ...]) -> int:
            pairs = zip(parts, deal, strict=True)
            return prod(comb(len(part.shift), count) * len(part.freed[count].shift) for part, count in pairs)

        return cls(chain, parts, sorted(deals(parts, changes), key=size))

    def meetings(self) -> "Iterator[_Meeting]":
        yield from self.known
        while self.waiting:
            left, right = hands(self.parts, self.waiting[-1], self.left)
            self.left -= len(left.cell) + len(right.cell)
            self.waiting.pop()
            pairs = [(left, right)]
            if self.chain.flagged:
                up, other = left.raised(self.parts), right.raised(self.parts)
                pairs = [
                    (left.take(np.flatnonzero(up)), right),
                    (left.take(np.flatnonzero(~up)), right.take(np.flatnonzero(other))),
                ]
            new = [_Meeting.of(*pair) for pair in pairs]
            self.known += new
            yield from new


def _part(component: Component, changes: int) -> Part:
    """The plates of a component by thickness; of one thickness no more of them than there are changes."""
    shift, raises = [np.zeros(0, np.int64)], [np.zeros(0, np.bool_)]
    for choices, shifts, counts in component.stock:
        shift.append(np.repeat(shifts, np.minimum(counts, changes)))
        raises.append(np.full(len(shift[-1]), choices[0][1]))
    return Part.bare(component, np.concatenate(shift), np.concatenate(raises), changes)


@dataclass
class _Meeting:
    """Two hands, the left one sorted by its sums. ``clashes``: columns of one part that must not pick one plate."""

    left: Hand
    right: Hand
    clashes: list[tuple[Ints, Ints]]

    @classmethod
    def of(cls, left: Hand, right: Hand) -> "_Meeting":
        left = left.take(np.argsort(left.cell, kind="stable"))
        clashes = [(one, two) for a, one in left.plates for b, two in right.plates if a == b]
        return cls(left, right, clashes)

    def below(self, cell: int) -> int | None:
        return self._look(cell, -1)

    def above(self, cell: int) -> int | None:
        return self._look(cell, 1)

    def _look(self, cell: int, turn: int) -> int | None:
        """The nearest sum of both hands at or beyond ``cell`` in the direction of ``turn``.

        Where the two hands hold the same plate, the next sum of the left hand is tried, and so on.
        """
        missing = cell - self.right.cell
        at = np.searchsorted(self.left.cell, missing, "left" if turn > 0 else "right") - (turn < 0)
        who = np.arange(len(at))
        best: int | None = None
        for _ in range(_MOST_TURNS):
            inside = (at >= 0) & (at < len(self.left.cell))
            at, who = at[inside], who[inside]
            total = self.left.cell[at] + self.right.cell[who]
            if best is not None:
                nearer = total * turn < best * turn
                at, who, total = at[nearer], who[nearer], total[nearer]
            if not len(at):
                return best
            clash = self._clash(at, who)
            free = total[~clash]
            if len(free):
                nearest_free = int(free.min() if turn > 0 else free.max())
                best = nearest_free if best is None else turn * min(turn * best, turn * nearest_free)
            at, who = at[clash] + turn, who[clash]
        raise TooMany

    def _clash(self, at: Ints, who: Ints) -> Bools:
        clash = np.zeros(len(at), np.bool_)
        for one, two in self.clashes:
            clash |= one[at] == two[who]
        return clash
