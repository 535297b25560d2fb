"""One table of the owner's figures: what it counts, its columns and rows; the same for the page and for its file."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, NamedTuple

from plates.tables.export import lines

#: So many rows of one table stand on the page, the most important first; its file has all.
SHOWN = 20
#: In place of a figure that cannot be known.
NONE = "–"


class Column(NamedTuple):
    """``name`` heads it in the file, ``label`` on the page; ``sort`` is text, count, money, share or turns.

    ``beside``: on the page it stands in the cell of the column before it. ``minor``: zero is blank on the page, and a
    column of nothing but zeros is left out there.
    """

    name: str
    label: str = ""
    sort: str = "count"
    beside: bool = False
    minor: bool = False


@dataclass(frozen=True)
class Table:
    """``said``: what it counts, in a sentence; ``nothing``: what is said where it has no rows; ``answer``: all rows
    together, in a few words.
    """

    name: str
    title: str
    said: str
    nothing: str
    columns: Sequence[Column]
    rows: Sequence[Mapping[str, Any]]
    answer: str = ""

    def file(self) -> Iterator[str]:
        """The lines of the whole table as CSV; a share as a fraction of one."""
        names = [column.name for column in self.columns]
        return lines(names, ({name: _plain(row[name]) for name in names} for row in self.rows))

    @property
    def heads(self) -> list[Column]:
        """The columns that stand on the page, each with what stands beside it."""
        return [
            column
            for column in self.columns
            if not column.beside and not (column.minor and all(not row[column.name] for row in self.rows))
        ]

    @property
    def shown(self) -> list[list[tuple[Column, str]]]:
        """The first :data:`SHOWN` rows as a person reads them, each cell beside its column."""
        return [[(head, self._cell(row, head)) for head in self.heads] for row in self.rows[:SHOWN]]

    @property
    def left_off(self) -> int:
        return max(0, len(self.rows) - SHOWN)

    def _cell(self, row: Mapping[str, Any], head: Column) -> str:
        if head.minor and not row[head.name]:
            return ""
        said = _said(row[head.name], head.sort)
        after = self.columns[self.columns.index(head) + 1 :][:1]
        for column in after:
            if column.beside:
                said += (" for " if column.sort == "money" else ", ") + _said(row[column.name], column.sort)
        return said


def share(part: int, whole: int) -> Decimal | None:
    """A fraction of one to four places; None of nothing."""
    return round(Decimal(part) / whole, 4) if whole else None


def percent(fraction: Decimal) -> str:
    return f"{fraction * 100:.0f} %"


def cents(amount: Decimal) -> str:
    """An amount in the shop's own money, to two places."""
    return f"{amount:.2f}"


def plates_worth(plates: int, value: Decimal | None, no_cost: int) -> str:
    """``12 plates, worth 30.00, without 2 of them that have no known cost.``"""
    counted = f"{plates} plate{'' if plates == 1 else 's'}"
    if plates and plates == no_cost:
        return f"{counted}, of no known cost."
    without = f", without {no_cost} of them that {'has' if no_cost == 1 else 'have'} no known cost" if no_cost else ""
    return f"{counted}, worth {cents(value or Decimal(0))}{without}."


def _plain(value: Any) -> Any:
    """Two places, or as many as it has."""
    if not isinstance(value, Decimal):
        return value
    return f"{value:.{max(2, -int(value.normalize().as_tuple().exponent))}f}"


def _said(value: Any, sort: str) -> str:
    if value is None:
        return NONE
    if sort == "money":
        return cents(value)
    if sort == "share":
        return percent(value)
    return f"{value:.2f}" if sort == "turns" else str(value)
