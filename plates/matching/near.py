"""The reachable sums nearest to a wanted one.

On a coarse lattice all reachable cells are held as bits. On a fine one the two hands look for the nearest: first with
a few plates of each part, which as a rule meet on the very cell, and nothing can be nearer than that; else with all.
"""

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from math import comb, prod

import numpy as np

from plates.matching.hands import Bools, Hand, Ints, Part, TooMany, deals, hands
from plates.matching.reach import extremes, nearest, reach
from plates.matching.steps import Chain, Component, in_one_group

_FINE = 100_000  # cells for each change from which the hands are quicker than the bits
_FEWEST, _TIMES = 4, 16  # thicknesses of each part; exchanges for each cell that make it likely to be reached
_FEW_SUMS, _MOST_SUMS = 1_000_000, 3_000_000  # of all hands: with plates of some thicknesses, with all
_GRAINS = 32  # parts of the width whose cells are looked for with the same plates
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
    dealt: dict[tuple[int, ...], "_Dealt"] = field(default_factory=dict)

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
                return self._by_hands(changes, cell, low, high)
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
            few = _enough(self.chain, changes)
            thinned = _thinned(self.chain, few)
            self.some = reach(thinned, self.some_known) if thinned else {}
        return self.some.get(changes, 0)

    def _by_hands(self, changes: int, cell: int, below: int, above: int) -> tuple[int, int]:
        """As :meth:`both`; ``below`` and ``above`` are reached. What is found narrows what is still looked into."""
        grain = self.chain.width // _GRAINS + 1
        first = cell // grain * grain
        few: int | None = None
        for _ in range(_MOST_TURNS):
            window = (first, first + grain - 1)
            chain = _within(self.chain, changes, *window)
            few = _enough(chain, changes) if few is None else 2 * few
            thinned = _thinned(chain, few)
            if thinned is None:
                break
            try:
                for meeting in self._dealt(thinned, changes, _FEW_SUMS, (few, *window)):
                    below, above = meeting.closer(cell, below, above)
                    if below == above:
                        return below, above
            except TooMany:
                break
        chain = _within(self.chain, changes, below, above)
        for meeting in self._dealt(chain, changes, _MOST_SUMS, (0, below, above)):
            below, above = meeting.closer(cell, below, above)
            if below == above:
                break
        return below, above

    def _dealt(self, chain: Chain, changes: int, most: int, key: tuple[int, ...]) -> "Iterator[_Meeting]":
        if (changes, *key) not in self.dealt:
            self.dealt[changes, *key] = _Dealt.of(chain, changes, most)
        return self.dealt[changes, *key].meetings()


def _enough(chain: Chain, changes: int) -> int:
    """So many thicknesses of each part that each cell is reached many times."""
    places, groups, few = sum(len(part.places) for part in chain.components), len(chain.components), _FEWEST
    while comb(few * groups, changes) * comb(places, changes) < _TIMES * changes * chain.width:
        few *= 2
    return few


def _thinned(chain: Chain, few: int) -> Chain | None:
    """The chain with no more than ``few`` thicknesses of each part; None where that are most of them."""
    if 2 * few > max(len(shifts) for part in chain.components for _, shifts, _ in part.stock):
        return None

    def thinned(shifts: Ints, counts: Ints) -> tuple[Ints, Ints]:
        at = np.linspace(0, len(shifts) - 1, min(few, len(shifts))).astype(np.int64)
        return shifts[at], counts[at]

    return _with_stock(chain, thinned)


def _within(chain: Chain, changes: int, first: int, last: int) -> Chain:
    """The chain with those plates that can be among so many that end from ``first`` to ``last``."""
    low, high = chain.extent(changes, given=1)

    def within(shifts: Ints, counts: Ints) -> tuple[Ints, Ints]:
        ends = slice(*np.searchsorted(shifts, [first - high, last - low + 1]).tolist())
        return shifts[ends], counts[ends]

    return _with_stock(chain, within)


def _with_stock(chain: Chain, some: Callable[[Ints, Ints], tuple[Ints, Ints]]) -> Chain:
    parts = [
        replace(part, stock=tuple((choices, *some(shifts, counts)) for choices, shifts, counts in part.stock))
        for part in chain.components
    ]
    return replace(chain, components=tuple(parts))


@dataclass
class _Dealt:
    """The hands of one chain and number of changes, dealt one after the other, those with most sums first."""

    chain: Chain
    parts: list[Part]
    waiting: list[tuple[int, ...]]
    left: int  # so many sums may still be listed
    known: "list[_Meeting]" = field(default_factory=list)

    @classmethod
    def of(cls, chain: Chain, changes: int, most: int) -> "_Dealt":
        parts = [_part(component, changes) for component in chain.components]

        def size(deal: tuple[int, ...]) -> int:
            pairs = zip(parts, deal, strict=True)
            return prod(comb(len(part.shift), count) * len(part.freed[count].shift) for part, count in pairs)

        return cls(chain, parts, sorted(deals(parts, changes), key=size), most)

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

    def closer(self, cell: int, below: int, above: int) -> tuple[int, int]:
        """The nearest sums of both hands at or below ``cell`` and at or above it, or those known if they are nearer."""
        below = self._look(cell, -1, below)
        return (cell, cell) if below == cell else (below, self._look(cell, 1, above))

    def _look(self, cell: int, turn: int, best: int) -> int:
        """The nearest sum of both hands at or beyond ``cell`` in the direction of ``turn``; ``best`` if none is nearer.

        Where the two hands hold the same plate, the next sum of the left hand is tried, and so on.
        """
        missing = cell - self.right.cell
        at = np.searchsorted(self.left.cell, missing, "left" if turn > 0 else "right") - (turn < 0)
        who = np.arange(len(at))
        for _ in range(_MOST_TURNS):
            inside = (at >= 0) & (at < len(self.left.cell))
            at, who = at[inside], who[inside]
            total = self.left.cell[at] + self.right.cell[who]
            nearer = total * turn < best * turn
            at, who, total = at[nearer], who[nearer], total[nearer]
            if not len(at):
                return best
            clash = self._clash(at, who)
            free = total[~clash]
            if len(free):
                best = int(free.min() if turn > 0 else free.max())
            at, who = at[clash] + turn, who[clash]
        raise TooMany

    def _clash(self, at: Ints, who: Ints) -> Bools:
        clash = np.zeros(len(at), np.bool_)
        for one, two in self.clashes:
            clash |= one[at] == two[who]
        return clash
