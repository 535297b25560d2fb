"""What there is as CSV (RFC 4180): row by row as the database gives it, in the columns that an import takes."""

import csv
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

from django.db.models import OuterRef, Q, Subquery

from plates.catalogue.models import Kind
from plates.catalogue.selectors import kinds
from plates.stock.ledger_models import Act, LedgerLine
from plates.stock.models import LYING, Bin, Plate, State
from plates.stock.selectors import bins, plates
from plates.tables.cells import exact, guarded
from plates.tables.columns import BINS, KINDS, PLATES, Sort, many_barred
from shop.people.models import Shop

#: Rows fetched at a time.
AT_ONCE = 2_000
#: Told anew by whoever imports: the figures are without the gauge's error, an agreement was for that booking, and each
#: plate of a lot is a row. How it came here is no matter of the next shop.
TOLD_ANEW = ("gauge", "agreed_by", "confirm", "count", "transfer")
_MARK = "\ufeff"  # without it spreadsheets take UTF-8 for something else


class _Echo:
    """A file for the csv writer that hands each line back."""

    def write(self, line: str) -> str:
        return line


def exported(sort: Sort) -> list[str]:
    """The columns of an export."""
    return [one.name for one in sort.columns if one.name not in TOLD_ANEW]


def export(shop: Shop, sort: Sort) -> Iterator[str]:
    """The lines of the file, the header first. One query, and one more for the barcodes of so many kinds."""
    names = exported(sort)
    lengths = {one.name for one in sort.columns if one.length}
    rows, cells_of = _SOURCES[sort.name]

    def cells(row: Any) -> Iterator[tuple[str, Any]]:
        for name, value in cells_of(row).items():
            yield name, exact(value, shop.unit_first) if name in lengths and value is not None else value

    return lines(names, (dict(cells(row)) for row in rows(shop)))


def lines(names: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """The lines of a file with these columns: texts so that no spreadsheet runs them, None and False as blank."""
    writer = csv.writer(_Echo())
    yield _MARK + writer.writerow(names)
    for row in rows:
        yield writer.writerow([_cell(row[name]) for name in names])


def _cell(value: Any) -> str:
    if value is None or value is False:
        return ""
    if value is True:
        return "yes"
    return guarded(value) if isinstance(value, str) else str(value)


def _kinds(shop: Shop) -> Iterable[Kind]:
    return kinds(shop.pk).iterator(AT_ONCE)


def _kind(kind: Kind) -> dict[str, Any]:
    return {
        **{name: getattr(kind, name) for name in ("code", "role", "set_of", "mark", "material", "facing", "groove")},
        **{name: getattr(kind, name) for name in ("lined_faces", "unit_cost", "pack_size", "lead_days")},
        **{one.name: getattr(kind, f"{one.name}_nm") for one in KINDS.columns if one.length},
        "fit": kind.fit.code,
        "scan_codes": many_barred(code.code for code in kind.scan_codes.all()),
        "supplier": kind.supplier.name if kind.supplier else "",
    }


def _bins(shop: Shop) -> Iterable[Bin]:
    return bins(shop.pk).iterator(AT_ONCE)


def _bin(one: Bin) -> dict[str, Any]:
    return {"code": one.code, "fit": one.fit.code, "role": one.role, "from": one.from_nm, "to": one.to_nm}


def _plates(shop: Shop) -> Iterable[Plate]:
    """What is in the shop: lying in its bins, held ones included, or quarantined; each with what was ``found``."""
    booked = LedgerLine.objects.filter(
        shop_id=shop.pk, plate=OuterRef("pk"), act__in=(Act.RECEIVED, Act.PUT_BACK)
    ).order_by("-seq")
    there = plates(shop.pk).filter(Q(state__in=LYING) | Q(state=State.QUARANTINED))
    return there.annotate(found=Subquery(booked.values("findings")[:1])).order_by("id").iterator(AT_ONCE)


def _plate(plate: Plate) -> dict[str, Any]:
    found: dict[str, Any] = plate.found  # type: ignore[attr-defined]
    return {
        **{name: getattr(plate, name) for name in ("condition", "source", "owner", "box", "mark")},
        "kind": plate.kind.code,
        "thickness": plate.thickness_nm,
        "taper": plate.spread_nm or None,
        "bin": plate.bin.code if plate.bin else "",
        "cone": found.get("cone_nm"),
        "warp": found.get("warp_nm"),
        "hot_spot": found.get("hot_spot"),
        "unread": plate.u_nm > 0,
    }


_SOURCES: dict[str, tuple[Callable[[Shop], Iterable[Any]], Callable[[Any], dict[str, Any]]]] = {
    KINDS.name: (_kinds, _kind),
    BINS.name: (_bins, _bin),
    PLATES.name: (_plates, _plate),
}
