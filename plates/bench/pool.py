"""What there is to put in, as the kernel takes it: one row a plate of the shelf, of a bench, of those given by hand."""

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from plates.bench.lying import Lying
from plates.bench.question import Entry, Loose
from plates.lengths import INCH
from plates.matching.problem import Pool
from plates.measuring.uncertainty import Figures, micrometer_u_nm
from plates.stock.selectors import OnShelf

Whole = NDArray[np.int64]

#: Plates within this of each other pass for alike: unmarked ones of one kind and bin cannot be told apart.
ALIKE_NM = INCH // 1000
#: One step in the row of thicknesses, to begin with; a size is centred on it.
SIZE_NM = INCH // 1000


def coded(values: Iterable[Hashable]) -> tuple[list[Hashable], Whole]:
    """The distinct values, and for each value its row among them."""
    codes: dict[Hashable, int] = {}
    rows = [codes.setdefault(value, len(codes)) for value in values]
    return list(codes), np.array(rows, dtype=np.int64)


def alone_u_nm(plate: OnShelf | Lying | Loose | Entry, shared: Mapping[str, float], figures: Figures) -> float:
    """u of a plate by itself: of its reading, and of what was not read."""
    return math.hypot(micrometer_u_nm(shared.get(plate.gauge), figures.micrometer_nm), plate.u_nm)


def pool_of(
    rows: Sequence[OnShelf | Lying],
    class_of: Whole,
    loose: Sequence[Loose],
    alike: NDArray[np.float64],
    shared: Mapping[str, float],
    number: Mapping[str, int],
    figures: Figures,
) -> Pool:
    thickness = np.array([row.thickness_nm for row in rows] + [one.thickness_nm for one in loose], dtype=np.int64)
    home = np.concatenate([class_of, np.full(len(loose), -1)])
    _, size = np.unique(np.stack([home, (thickness + SIZE_NM // 2) // SIZE_NM]), axis=1, return_inverse=True)
    stands_for = np.array([row.stands_for for row in rows] + [1] * len(loose), dtype=np.int64)
    count = np.zeros(len(thickness), np.int64)
    np.add.at(count, size.reshape(-1), stands_for)
    plates: list[OnShelf | Lying | Loose] = [*rows, *loose]
    alone = np.array([alone_u_nm(one, shared, figures) for one in plates], dtype=np.float64)
    return Pool(
        thickness_nm=thickness,
        u_nm=np.hypot(alone, alike),
        pieces=count[size.reshape(-1)] if len(thickness) else thickness,
        # What lies on the bench goes before an equal one on the shelf.
        received=np.array([one.received_s if isinstance(one, OnShelf) else 0 for one in plates], dtype=np.int64),
        # Loose plates are numbered among themselves: a scan elsewhere never renames one.
        keys=[
            *(str(row.id) if isinstance(row, OnShelf) else row.key for row in rows),
            *(f"bench-{number:06}" for number in range(len(loose))),
        ],
        gauge=np.array([number.get(one.gauge, -1) for one in plates], dtype=np.int64) if number else None,
    )


def alike_u_nm(rows: Sequence[OnShelf]) -> NDArray[np.float64]:
    """Of each plate the spread of the plates of its bin that nobody can tell from it; a marked one is known."""
    found = np.zeros(len(rows))
    unmarked = [number for number, row in enumerate(rows) if not row.marked]
    _, group = coded((rows[number].kind, rows[number].bin) for number in unmarked)
    thickness = np.array([rows[number].thickness_nm for number in unmarked], dtype=np.int64)
    stands_for = np.array([rows[number].stands_for for number in unmarked], dtype=np.int64)
    found[unmarked] = spread_of_alike(thickness, group, stands_for)
    return found


def spread_of_alike(thickness_nm: Whole, group: Whole, stands_for: Whole) -> NDArray[np.float64]:
    """For each plate: the root mean square distance to those of its group within 0.0010 in of it, in nm, where each row
    stands for so many plates of its thickness.

    Any of them may be the one that the hand takes, until the micrometer at the bin says which it was.
    """
    if not len(thickness_nm):
        return np.zeros(0)
    t = thickness_nm - thickness_nm.min()
    apart = int(t.max()) + 2 * ALIKE_NM  # one group after the other on one axis, too far apart to meet
    order = np.argsort(group * apart + t, kind="stable")
    axis, t, pieces = (group * apart + t)[order], t[order], stands_for[order]
    first, last = np.searchsorted(axis, axis - ALIKE_NM, "left"), np.searchsorted(axis, axis + ALIKE_NM, "right")
    # Whole numbers to the end: what else lies in the bin must not show in the last bit.
    sums = (np.concatenate([[0], np.cumsum(power)]) for power in (pieces, pieces * t, pieces * t * t))
    n, one, two = (cumulated[last] - cumulated[first] for cumulated in sums)
    square = two - 2 * t * one + n * t * t
    result = np.empty(len(t))
    result[order] = np.sqrt(square / n)
    return result
