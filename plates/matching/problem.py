"""The question and its answer, as plain data: no Django, no database.

Lengths are integer nanometres, standard uncertainties floats in nanometres. The clearance is given in the
convention of the window (waves already translated), so the kernel knows one rule only:

- a *gap* pack: new clearance = measured + everything taken out - everything put in;
- a *height* pack: new height = measured - everything taken out + everything put in.
"""

from collections.abc import Collection, Hashable, Sequence
from dataclasses import dataclass, field, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray


class Way(IntEnum):
    """How far an exchange goes from the book; an option's way is the farthest of its changes."""

    ORDINARY = 0  # the slot's own fit
    SUBSTITUTE = 1  # a further proven fit
    EXTRA = 2  # one plate more than the spec counts, where the stack is proven with it


@dataclass(frozen=True)
class Pool:
    """The plates that could go in: one entry a plate, columns of equal length n.

    ``thickness_nm`` int64; ``u_nm`` float64, a plate's own standard uncertainty: of its reading, less the error that
    its gauge shares with others, and of what was not read (a plate of a lot, plates of a bin that nobody can tell
    apart); ``pieces`` int64, plates lying in the size that it is drawn from; ``received`` int64, the older the
    smaller; ``keys`` sortable among themselves and unique. ``gauge`` int64, the gauge that it was read with, -1 where
    that is not known or shares no known error; None where that is so of all plates.
    """

    thickness_nm: NDArray[np.int64]
    u_nm: NDArray[np.float64]
    pieces: NDArray[np.int64]
    received: NDArray[np.int64]
    keys: Sequence[Hashable]
    gauge: NDArray[np.int64] | None = None

    def __len__(self) -> int:
        return len(self.keys)

    def with_more(self, more: "Pool") -> "Pool":
        """These plates, and behind them ``more``, whose keys go with theirs."""
        either = self.gauge is not None or more.gauge is not None
        return Pool(
            np.concatenate((self.thickness_nm, more.thickness_nm)),
            np.concatenate((self.u_nm, more.u_nm)),
            np.concatenate((self.pieces, more.pieces)),
            np.concatenate((self.received, more.received)),
            [*self.keys, *more.keys],
            np.concatenate([_gauges(self), _gauges(more)]) if either else None,
        )


def _gauges(pool: Pool) -> NDArray[np.int64]:
    return np.full(len(pool), -1) if pool.gauge is None else pool.gauge


@dataclass(frozen=True)
class Installed:
    """A plate in the pack. ``u_nm`` and ``gauge`` as in :class:`Pool`."""

    thickness_nm: int
    must_go: bool = False
    u_nm: float = 0.0
    gauge: int = -1


@dataclass(frozen=True)
class Slot:
    """One place of the stack. ``ordinary`` and ``substitute`` are rows of the pool that may serve it.

    ``swap``: its installed plates may be exchanged. ``empty``: places that were measured without their plate
    and must be filled. ``extra``: plates that may be added beyond the count. ``thinnest_nm``, ``thickest_nm``: what a
    new plate may measure; the rows keep to it already.
    """

    name: str
    installed: tuple[Installed, ...] = ()
    swap: bool = False
    empty: int = 0
    extra: int = 0
    ordinary: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    substitute: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    thinnest_nm: int = 1
    thickest_nm: int | None = None

    def only(self, keep: NDArray[np.bool_]) -> "Slot":
        """The slot served by those rows only that ``keep`` marks, one entry a row of the pool."""
        return replace(
            self,
            ordinary=self.ordinary[keep[self.ordinary]],
            substitute=self.substitute[keep[self.substitute]],
        )


@dataclass(frozen=True)
class Spread:
    """In the end the plates of these slots, those that stayed among them, differ by no more than ``most_nm``."""

    slots: tuple[int, ...]
    most_nm: int


@dataclass(frozen=True)
class Splines:
    """The last plate stays on its splines: these slots together grow by no more than ``most_nm``; below zero they must
    shrink. A slot off the splines, as of the snap ring, that may change holds a single plate.
    """

    slots: tuple[int, ...]
    most_nm: int


@dataclass(frozen=True)
class Problem:
    """One pack question.

    ``u_reading_nm`` is the uncertainty of the clearance as given; ``u_move_nm`` is what each plate that goes
    out or in adds; all combine as the root of the sum of squares (JCGM 100:2008, 5.1.2).

    ``u_gauge_nm`` is, per gauge, the uncertainty of the error that all its readings share. Such errors are
    correlated: they add linearly over the plates of one gauge, and cancel between one out and one in (JCGM
    100:2008, 5.2.2). ``read_net``: how often the error of each gauge stands in the clearance as given, blank for
    never: once where the gauge has read the pack, too, and less for each plate that was taken off with it.

    ``sure`` is the probability of landing in the window from which an option is sure. ``max_changes`` None
    means as many as it has places for. ``most_delta_nm``: all that goes in less all that comes out is at most
    that.
    """

    measures: str  # "gap" or "height"
    clearance_nm: int
    low_nm: int
    high_nm: int
    target_nm: int
    pool: Pool
    slots: tuple[Slot, ...]
    u_reading_nm: float
    u_move_nm: float
    sure: float = 0.95
    max_changes: int | None = None
    u_gauge_nm: tuple[float, ...] = ()
    read_net: tuple[int, ...] = ()
    spread: Spread | None = None
    splines: Splines | None = None
    most_delta_nm: int | None = None

    def only(self, keep: NDArray[np.bool_]) -> "Problem":
        """The same question over those rows of the pool only that ``keep`` marks; the rows keep their numbers."""
        return replace(self, slots=tuple(slot.only(keep) for slot in self.slots))

    def without(self, rows: Collection[int]) -> "Problem":
        """The same question over all rows of the pool but these."""
        keep = np.ones(len(self.pool), dtype=bool)
        keep[list(rows)] = False
        return self.only(keep)


@dataclass(frozen=True)
class Exchange:
    """``ins``: (slot, row of the pool); ``outs``: (slot, row of that slot's installed). Both sorted."""

    way: Way
    ins: tuple[tuple[int, int], ...]
    outs: tuple[tuple[int, int], ...]
    predicted_nm: int
    u_nm: float
    probability: float
    sure: bool

    @property
    def changes(self) -> int:
        return len(self.ins)


@dataclass(frozen=True)
class Range:
    """``count`` new plates of one thickness in this slot, from ``from_nm`` to ``to_nm``, both inclusive."""

    slot: int
    count: int
    from_nm: int
    to_nm: int


@dataclass(frozen=True)
class Shortfall:
    """What the shelf could not answer. ``nearest``: the reachable exchange nearest to the target."""

    nearest: Exchange | None
    would_close: tuple[Range, ...]


@dataclass(frozen=True)
class Answer:
    """``options`` in their total order, or else the shortfall."""

    options: tuple[Exchange, ...]
    shortfall: Shortfall | None
