"""The columns of each table: how they are called, what they mean, and how a cell becomes what a body takes."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from plates.catalogue.bodies import KindBody
from plates.catalogue.models import Role
from plates.stock.bodies import BinBody, LotBody, PlateBody
from plates.stock.models import Condition
from shop.api import Body

#: Between several values of one cell.
BAR = re.compile(r"(?:^|\s)\|(?:\s|$)")
UNITS = ("in", "mm")
_ROLES, _CONDITIONS = ", ".join(Role.values), " or ".join(Condition.values)


class CellRefused(ValueError):
    """The cell cannot be read; ``str(error)`` says what to write instead."""


def _text(cell: str) -> Any:
    return cell


def word(cell: str) -> str:
    """One word out of a list, as people write it: ``Snap ring`` for snap_ring."""
    return cell.lower().replace(" ", "_")


def _whole(cell: str) -> int:
    if not re.fullmatch("[0-9]{1,9}", cell):
        raise CellRefused(f"{cell[:40]!r} is no whole number; write 0, 1, 2 …")
    return int(cell)


def _yes(cell: str) -> bool:
    if cell.lower() not in ("yes", "no"):
        raise CellRefused(f"{cell[:40]!r} is neither yes nor no; write yes, or leave it blank.")
    return cell.lower() == "yes"


def _many(cell: str) -> list[str]:
    return [part for part in (part.strip() for part in BAR.split(cell)) if part]


def many_barred(values: Iterable[str]) -> str:
    """Several texts in one cell, a bar within one of them written twice: what ``many_apart`` takes apart again."""
    return " | ".join(value.replace("|", "||") for value in values)


def many_apart(cell: str) -> list[str]:
    return [part.replace("||", "|") for part in _many(cell)]


@dataclass(frozen=True)
class Column:
    """``member``: what it is called in the body, where that differs; ``length``: its cells are lengths."""

    name: str
    means: str
    needed: bool = False
    length: bool = False
    figure: bool = False
    read: Callable[[str], Any] = _text
    member: str = ""

    @property
    def at(self) -> str:
        return self.member or self.name


@dataclass(frozen=True)
class Sort:
    """One sort of table. ``unique``: the column in which nothing may stand twice; ``most``: rows of one file, and
    plates with them; ``lot``: the body of a row whose ``count`` is not 1."""

    name: str
    title: str
    right: str
    columns: tuple[Column, ...]
    body: type[Body]
    most: int
    unique: str = ""
    lot: type[Body] | None = None

    def column(self, name: str) -> Column | None:
        return next((one for one in self.columns if one.name == name), None)


def _lengths(*pairs: tuple[str, str]) -> tuple[Column, ...]:
    return tuple(Column(name, means, length=True) for name, means in pairs)


def _texts(*pairs: tuple[str, str]) -> tuple[Column, ...]:
    return tuple(Column(name, means) for name, means in pairs)


_CODE = "1 to 40 of letters, digits, . _ and -"
_FIT = Column("fit", "the code of its fit, which is there already", needed=True)
_ROLE = Column("role", _ROLES, needed=True, read=word)

KINDS = Sort(
    "kinds",
    "Kinds",
    "catalogue",
    (
        Column("code", _CODE, needed=True),
        _FIT,
        _ROLE,
        Column("nominal", "nominal thickness", needed=True, length=True),
        Column("lined_faces", "1 or 2 for a friction; blank means 2 there and 0 elsewhere", read=_whole),
        *_lengths(
            ("tolerance", "plus and minus"),
            ("reuse_minimum", "from the manual"),
            ("made_coned", "only where it is coned on purpose"),
            ("taper_limit", "quarantined beyond"),
            ("cone_limit", "quarantined beyond, counted from the made cone"),
            ("warp_limit", "quarantined beyond"),
        ),
        *_texts(
            ("set_of", "the set that it comes in"),
            ("mark", "the mark on the plate"),
            ("material", ""),
            ("facing", ""),
            ("groove", ""),
        ),
        Column(
            "scan_codes",
            "the makers' barcodes, with blank | blank between two; a | within one is written twice",
            read=many_apart,
        ),
        Column("supplier", "by name; made when new"),
        Column("unit_cost", "a plain number", figure=True),
        Column("pack_size", "plates in one pack; blank means 1", read=_whole),
        Column("lead_days", "", read=_whole),
    ),
    KindBody,
    most=20_000,
    unique="code",
)

BINS = Sort(
    "bins",
    "Bins",
    "stock",
    (
        Column("code", _CODE, needed=True),
        _FIT,
        _ROLE,
        Column("from", "the least thickness that it holds", needed=True, length=True),
        Column("to", "the thickness below which it ends", needed=True, length=True),
    ),
    BinBody,
    most=20_000,
    unique="code",
)

PLATES = Sort(
    "plates",
    "Plates",
    "stock",
    (
        Column("kind", "the code of its kind, which is there already", needed=True),
        Column(
            "thickness",
            "as read, 1 to 12 points with blank | blank between two; of a lot one figure for each plate measured",
            needed=True,
            length=True,
            read=_many,
            member="readings",
        ),
        Column(
            "count",
            "plates of a lot, 2 to 2000, with five measured, or all where those range over 0.001 in; blank means 1",
            read=_whole,
        ),
        Column("taper", "how far the points ranged, where only their mean is written", length=True),
        Column("condition", f"{_CONDITIONS}, or leave it blank for new", read=word),
        Column("bin", "where it lies; blank means the bin that spans it"),
        Column("gauge", "what it was read with; its zero error is taken off"),
        *_texts(("source", "where it came from"), ("owner", "the customer whose plate it is"), ("box", "a sealed box")),
        Column("transfer", "the key of the transfer with which another shop of ours sent it"),
        Column("mark", "the mark on the plate"),
        *_lengths(("cone", "as found"), ("warp", "as found")),
        Column("hot_spot", "yes where it has one", read=_yes),
        Column("agreed_by", "the second person who looked at an old plate"),
        Column("confirm", "yes where the reading is right though no plate of its kind should have it", read=_yes),
        Column("unread", "yes in an export: it carries the mean of its lot", read=_yes),
    ),
    PlateBody,
    most=20_000,
    lot=LotBody,
)

SORTS = {one.name: one for one in (KINDS, BINS, PLATES)}
