"""Writes of the stock room: scan in, lots.

``at`` is when it happened; None means now, by the database's clock.
"""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from plates.catalogue.models import BadFigures, Kind
from plates.catalogue.selectors import tolerance_of
from plates.lengths import INCH, both, mean_nm
from plates.measuring.uncertainty import lot_u_nm
from plates.stock.arrivals import Arrival, arrivals_book, arrivals_judge
from plates.stock.booking import KindsAndBins, booking_begin, plate_new
from plates.stock.findings import Reading, Tags
from plates.stock.ledger import ledger_open
from plates.stock.models import Bin, Lot, Plate
from shop.errors import Refusal
from shop.people.models import Person

#: A lot whose measured plates range over more than this is measured whole.
LOT_RANGE_NM = INCH // 1000
#: So many plates of a lot are read before the rest may carry their mean.
LOT_READ = 5


class MeasureAll(Refusal):
    code, title = "measure_all", "This lot is too uneven to be booked unmeasured"


@dataclass(frozen=True)
class Received:
    """What came in, and what the person should know about it."""

    plates: list[Plate]
    warnings: list[dict[str, str]]
    lot: Lot | None = None


def plate_receive(
    *,
    person: Person,
    kind: Kind,
    reading: Reading,
    tags: Tags,
    chosen_bin: Bin | None = None,
    confirm: bool = False,
    made_key: str | None = None,
    at: datetime | None = None,
    for_match: uuid.UUID | None = None,
    for_job: uuid.UUID | None = None,
    known: KindsAndBins | None = None,
) -> Received:
    """Scan in one measured plate; beyond a limit of its kind it is quarantined.

    ``for_match`` and ``for_job`` stand on its ledger line: where it came from; ``known``: the kinds and bins of its
    fit, where they were looked up. Raises Implausible unless confirmed, WrongBin, GaugeWithdrawn, SecondPerson.
    """
    one = Arrival(kind, reading, tags, chosen_bin, confirm)
    judged = arrivals_judge(person=person, arrivals=[one], known=known)
    arrivals_book(person=person, judged=judged, made_key=made_key, at=at, for_match=for_match, for_job=for_job)
    return Received(judged.plates, judged.warnings.get(0, []))


def lot_receive(
    *,
    person: Person,
    kind: Kind,
    count: int,
    readings: Sequence[Reading],
    tags: Tags,
    chosen_bin: Bin | None = None,
    confirm: bool = False,
    made_key: str | None = None,
    at: datetime | None = None,
) -> Received:
    """Book a delivery of ``count`` like plates, some measured; the others carry the mean and spread of the lot.

    What is found (cone, warp, hot spot) holds for all of them; each plate read is judged on its own.
    """
    booking = booking_begin(
        person=person,
        kind=kind,
        condition=tags.condition,
        gauge=tags.gauge,
        findings=tags.findings,
        chosen_bin=chosen_bin,
        confirm=confirm,
    )
    if not 1 <= len(readings) <= count:
        raise BadFigures(
            f"{len(readings)} plates were read of a lot of {count}.",
            [("/readings", "one list a plate read, 1 to count")],
        )
    measured = [reading.thickness_nm for reading in readings]
    range_nm = max(measured) - min(measured)
    if range_nm > LOT_RANGE_NM and len(readings) < count:
        raise MeasureAll(
            f"The plates read range over {both(range_nm)}, more than {both(LOT_RANGE_NM)}: read them all.",
            [("/readings", f"give all {count}")],
        )
    readings = [booking.read(reading, f"/readings/{place}") for place, reading in enumerate(readings)]
    mean = mean_nm(reading.thickness_nm for reading in readings)
    lot = Lot.objects.create(
        **({} if at is None else {"received_at": at}),
        shop_id=person.shop_id,
        kind=kind,
        count=count,
        measured=len(readings),
        mean_nm=mean,
        spread_nm=range_nm,
        source=tags.source,
        received_by=person,
        made_key=made_key,
    )
    warnings, plates, reasons = list(booking.notes), [], []
    for reading in readings:
        verdict = booking.verdict(reading.thickness_nm, reading.spread_nm)
        plates.append(plate_new(kind, reading.thickness_nm, reading.spread_nm, verdict, tags))
        reasons.append(verdict.reason)
        warnings += verdict.warnings
    unread = count - len(readings)
    if unread:
        few = len(readings) < min(LOT_READ, count)
        if few:
            wanted = min(LOT_READ, count)
            text = f"Only {len(readings)} of {count} were read; read {wanted} for a mean that can be trusted."
            warnings.append({"code": "few_read", "text": text})
        u_nm = lot_u_nm(range_nm, len(readings), tolerance_of(kind, booking.row) if few else None)
        verdict = booking.verdict(mean, None)
        warnings += verdict.warnings
        for _ in range(unread):
            plate = plate_new(kind, mean, range_nm, verdict, tags)
            plate.u_nm = u_nm
            plates.append(plate)
            reasons.append(verdict.reason)
    for plate in plates:
        plate.lot = lot
    ledger_open(
        plates=plates,
        person=person,
        readings=[reading.kept for reading in readings] + [[] for _ in range(unread)],
        findings=[tags.findings.json()] * count,
        reasons=reasons,
        at=at,
    )
    return Received(plates, [dict(pair) for pair in dict.fromkeys(tuple(w.items()) for w in warnings)], lot)
