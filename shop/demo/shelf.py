"""Bins and plates of the demo shop. The scatter is drawn, by a seed of its own for each lot."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from functools import partial
from random import Random
from typing import Any

from plates.catalogue.models import Kind
from plates.lengths import INCH, MM, inch, length_parse, mm
from plates.stock.bins import bin_make
from plates.stock.findings import Reading, Tags
from plates.stock.lots import LOT_RANGE_NM, LOT_READ
from plates.stock.services import lot_receive, plate_receive
from shop.demo import gauges
from shop.demo.catalogue import Catalogue
from shop.demo.crew import Crew

#: Standard deviation of the plates of one lot, in 0.0001 in: between 0.0002 and 0.0006 in.
SCATTER = (2.0, 6.0)
#: The first delivery came so many days ago, the last one so many.
SPAN_DAYS = (210.0, 12.0)


def bins_make(crew: Crew, stock: Catalogue, rows: list[dict[str, Any]]) -> None:
    for row in rows:
        bin_make(
            person=crew.counter,
            code=row["code"],
            fit=stock.fits[row["fit"]],
            role=row["role"],
            from_nm=length_parse(row["from"]),
            to_nm=length_parse(row["to"]),
        )


def deliveries(crew: Crew, stock: Catalogue, now: datetime) -> Iterator[tuple[datetime, Callable[[], object]]]:
    """Every lot of every kind: the first ones when the shop began, the others spread over the time since."""
    first, last = SPAN_DAYS
    for code, counts in stock.lots.items():
        for number, count in enumerate(counts):
            rng = Random(f"{code} lot {number}")  # noqa: S311 - the same shop every time
            days = first - (first - last) * (number / len(counts)) - rng.uniform(0, 9)
            yield _ago(now, days), partial(_deliver, crew, stock.kinds[code], count, rng, _ago(now, days))


def _deliver(crew: Crew, kind: Kind, count: int, rng: Random, at: datetime) -> None:
    """Five are read, or all where those range too widely, as the counter would; some lots are read whole anyhow."""
    sigma = rng.uniform(*SCATTER)
    drawn = [_read(kind, rng.gauss(0, sigma), rng, points=1) for _ in range(count)]
    five = [reading.thickness_nm for reading in drawn[:LOT_READ]]
    whole = max(five) - min(five) > LOT_RANGE_NM or rng.random() < 0.25
    tags = Tags(source=kind.supplier.name if kind.supplier else "", gauge=gauges.COUNTER)
    lot_receive(
        person=crew.counter,
        kind=kind,
        count=count,
        readings=drawn if whole else drawn[:LOT_READ],
        tags=tags,
        confirm=True,  # drawn plausible; asking of each anew would double the time of filling
        at=at,
    )


def odd_plates(
    crew: Crew, stock: Catalogue, now: datetime, rows: list[dict[str, Any]]
) -> Iterator[tuple[datetime, Callable[[], object]]]:
    """Used plates, plates of customers, sealed boxes: each plate read by itself, at three points."""
    for number, row in enumerate(rows):
        rng = Random(f"odd {number}")  # noqa: S311 - the same shop every time
        at = _ago(now, row["days_ago"])
        yield at, partial(_scan_in, crew, stock.kinds[row["kind"]], row, rng, at)


def _scan_in(crew: Crew, kind: Kind, row: dict[str, Any], rng: Random, at: datetime) -> None:
    tags = Tags(
        condition=row["condition"],
        source=row["source"],
        owner=row.get("owner", ""),
        box=row.get("box", ""),
        gauge=gauges.COUNTER,
    )
    worn_nm = length_parse(row["worn"])
    for _ in range(row["count"]):
        off = rng.gauss(0, 3.0) - worn_nm / (INCH / 10_000)
        reading = _read(kind, off, rng, points=3)
        # A worn plate may lie outside what a new one of its kind can be: the counter has looked, and says so.
        plate_receive(
            person=crew.counter, kind=kind, reading=reading, tags=tags, confirm=tags.condition == "used", at=at
        )


def _read(kind: Kind, off: float, rng: Random, points: int) -> Reading:
    """A plate ``off`` ten-thousandths of an inch from its nominal as the micrometer shows it: to 0.0001 in, or to
    0.001 mm where the kind is a metric one. ``points`` differ by the plate's taper."""
    metric = kind.nominal_nm % (INCH // 10_000) != 0
    step_nm = MM // 1000 if metric else INCH // 10_000
    steps = [round((off + rng.gauss(0, 0.6) * (points > 1)) * (INCH / 10_000) / step_nm) for _ in range(points)]
    lengths = [kind.nominal_nm + step_nm * step for step in steps]
    return Reading([f"{mm(nm)} mm" if metric else f"{inch(nm)} in" for nm in lengths], lengths)


def _ago(now: datetime, days: float) -> datetime:
    """So long before ``now``, on a whole minute, so that two loads differ in their ``now`` alone."""
    return now - timedelta(minutes=round(days * 24 * 60))
