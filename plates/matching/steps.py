"""A pack question as one row of yes-or-no steps: this plate goes out, that plate goes in.

Slots that share plates form a *component*; slots with the very same pools form a *group* inside it, because
only the number of plates that a group takes matters. Every change frees a *place* (a plate goes out, the
place was empty, or it is an extra one) and fills it with a *plate*. A component runs through all its places,
then all its plates, or the other way round; whichever comes first *opens*, the other *closes*. On the way a
state is

    (flag, changes, balance)

``flag``: something of the very way that is searched was used (a substitute, an extra); ``changes``: openings
so far; ``balance``: for each group, openings without their closing. A component ends when every balance is
zero.

Sums are kept as *cells* on the lattice that all thicknesses share: a plate that goes in counts (t - a) / g,
one that goes out (b - t) / g, so no shift is negative and D = in - out = g · cell + changes · (a - b).
"""

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plates.matching.problem import Way

Choices = tuple[tuple[int, bool], ...]  # (group, raises the flag), the preferred first
State = tuple[bool, int, tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Step:
    """``row`` of the pool, or ``index`` of the
    slot's installed (None: an empty or an extra place of ``slot``). ``rank`` = (pieces, -received) of a plate
    that goes in.
    """

    shift: int
    choices: Choices
    forced: bool = False
    rank: tuple[int, int] = (0, 0)
    variance: float = 0.0
    row: int | None = None
    slot: int | None = None
    index: int | None = None


@dataclass(frozen=True, slots=True)
class Taken:
    """A step that an exchange takes, and for which group of which component."""

    component: int
    group: int
    step: Step


@dataclass(frozen=True)
class Plates:
    """Plates that may go in where one group may have them: columns of equal length, in no order."""

    row: NDArray[np.int64]
    shift: NDArray[np.int64]
    pieces: NDArray[np.int64]
    received: NDArray[np.int64]
    variance: NDArray[np.float64]
    raises: NDArray[np.bool_]
    keys: Sequence[Hashable] = field(repr=False)  # of the whole pool

    def take(self, where: NDArray[np.int64]) -> "Plates":
        return Plates(
            self.row[where], self.shift[where], self.pieces[where], self.received[where], self.variance[where],
            self.raises[where], self.keys,
        )  # fmt: skip

    def key(self, number: int) -> Any:
        return self.keys[int(self.row[number])]

    def step(self, number: int) -> Step:
        return Step(
            int(self.shift[number]),
            ((0, bool(self.raises[number])),),
            rank=(int(self.pieces[number]), -int(self.received[number])),
            variance=float(self.variance[number]),
            row=int(self.row[number]),
        )


@dataclass(frozen=True)
class Freed:
    """Choices of so many places of one component, a row each, with their sums."""

    choices: NDArray[np.int64]
    shift: NDArray[np.int64]
    variance: NDArray[np.float64]
    raises: NDArray[np.bool_]


@dataclass(frozen=True)
class Component:
    """``groups``: the slots of each group. ``places``: steps that free a place. ``stock``: for each choice
    how many plates there are of each shift. ``freed``: choices of so many places, as far as they were asked for.
    Steps in the order of preference.
    """

    groups: tuple[tuple[int, ...], ...]
    places: tuple[Step, ...]
    stock: tuple[tuple[Choices, NDArray[np.int64], NDArray[np.int64]], ...]
    make_plates: Callable[[], Plates] = field(repr=False, compare=False)
    make_steps: Callable[[], Iterator[Step]] = field(repr=False, compare=False)
    freed: dict[int, Freed] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def plates(self) -> Plates:
        return self.make_plates()

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """The steps of plates that go in, in the order of preference."""
        return tuple(self.make_steps())


@dataclass(frozen=True)
class Chain:
    """All steps of one way. ``most``: no exchange has more changes; ``flagged``: the flag must be up in the
    end.
    """

    way: Way
    components: tuple[Component, ...]
    flagged: bool
    most: int
    g: int
    a: int
    b: int
    make_variances: Callable[[], Iterator[tuple[float, float]]] = field(repr=False, compare=False)

    @cached_property
    def variances(self) -> tuple[tuple[float, float], ...]:
        """For k = 0 … most bounds on what the plates moved add to u²."""
        return tuple(self.make_variances())

    @cached_property
    def width(self) -> int:
        """About how many cells each change adds to what can be reached."""
        ins = [int(shifts[-1]) for part in self.components for _, shifts, _ in part.stock if len(shifts)]
        outs = [step.shift for part in self.components for step in part.places]
        return max(ins, default=0) + max(outs, default=0)

    def extent(self, changes: int, given: int = 0) -> tuple[int, int]:
        """No exchange with so many changes ends below the first cell or above the second, without what so many
        ``given`` plates that go in add.
        """
        (low_in, high_in), (low_out, high_out) = self._ends(0, changes - given), self._ends(1, changes)
        return low_in + low_out, high_in + high_out

    def _ends(self, which: int, count: int) -> tuple[int, int]:
        shifts = self._sorted_shifts[which]
        return int(shifts[:count].sum()), int(shifts[max(0, len(shifts) - count) :].sum())

    @cached_property
    def _sorted_shifts(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Of plates, one thickness as often as it can be used, and of places."""
        ins = [
            np.repeat(shifts, np.minimum(counts, self.most))
            for part in self.components
            for _, shifts, counts in part.stock
        ]
        outs = [step.shift for part in self.components for step in part.places]
        return np.sort(np.concatenate(ins)), np.sort(np.array(outs, np.int64))

    def base(self, changes: int) -> int:
        return changes * (self.a - self.b)


def in_one_group(chain: Chain) -> bool:
    """Whether no two groups share plates."""
    return all(len(component.groups) == 1 for component in chain.components)
