"""What one question that the shelf could not answer asks of the buyer: which sizes, and how many."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any

from plates.stock.sizes import SizeRow

#: A size of the shelf: code of the fit, role, number in its row.
Size = tuple[str, str, int]
#: The catalogued nominals in nm of a fit (by its code) and role.
Nominals = Mapping[tuple[str, str], Sequence[int]]
#: The row of sizes of a fit and role.
Rows = Callable[[str, str], SizeRow]


def _would_do(
    ranges: Iterable[Mapping[str, Any]], nominals: Nominals
) -> tuple[list[Mapping[str, Any]], list[list[int]]]:
    """The ranges of the fewest plates within which something is catalogued, each with these nominals; where nothing
    is, those of the fewest plates.
    """
    rows = sorted(ranges, key=lambda row: row["count"])
    within = [
        [n for n in nominals.get((row["fit"], row["role"]), ()) if row["from_nm"] <= n <= row["to_nm"]] for row in rows
    ]
    counts = [row["count"] for row, some in zip(rows, within, strict=True) if some] or [row["count"] for row in rows]
    kept = [(row, some) for row, some in zip(rows, within, strict=True) if row["count"] == counts[0]] if counts else []
    return [row for row, _ in kept], [some for _, some in kept]


def shared(ranges: Iterable[Mapping[str, Any]], nominals: Nominals, rows: Rows) -> dict[Size, Fraction]:
    """One miss, shared equally over the catalogued sizes that would have closed the pack with the fewest plates; where
    none is catalogued, over all sizes that would. The shares add to 1, or there are none.

    ``ranges`` are those of a shortfall: fit (a code), role, count, from_nm, to_nm, both ends inclusive.
    """
    kept, within = _would_do(ranges, nominals)
    catalogued = any(within)
    found: dict[Size, None] = {}
    for row, some in zip(kept, within, strict=True):
        of = rows(row["fit"], row["role"])
        first, last = of.number(row["from_nm"]), of.number(row["to_nm"])
        numbers = (of.number(n) for n in some) if catalogued else iter(range(first, last + 1))
        found |= {(row["fit"], row["role"], number): None for number in numbers}
    return {size: Fraction(1, len(found)) for size in found}


def wanted(ranges: Iterable[Mapping[str, Any]], nominals: Nominals, rows: Rows) -> tuple[Size, int] | None:
    """The one size, and how many of it, that a job still waits for: the catalogued nominal with most room to both ends
    of its range; None where nothing catalogued would do.
    """
    kept, within = _would_do(ranges, nominals)
    best = max(
        (
            (min(n - row["from_nm"], row["to_nm"] - n), -place, -n)
            for place, (row, some) in enumerate(zip(kept, within, strict=True))
            for n in some
        ),
        default=None,
    )
    if best is None:
        return None
    row, nominal = kept[-best[1]], -best[2]
    return (row["fit"], row["role"], rows(row["fit"], row["role"]).number(nominal)), row["count"]
