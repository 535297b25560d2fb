"""A lot: a delivery of like plates of which some were measured, judged as a whole."""

from collections.abc import Sequence
from dataclasses import dataclass

from plates.catalogue.models import BadFigures
from plates.catalogue.selectors import tolerance_of
from plates.lengths import INCH, both, mean_nm
from plates.measuring.uncertainty import lot_u_nm
from plates.stock.booking import Booking, plate_new
from plates.stock.findings import Reading, Tags
from plates.stock.models import Lot, Plate
from shop.errors import Refusal
from shop.people.models import Person

#: A lot whose measured plates range over more than this is measured whole.
LOT_RANGE_NM = INCH // 1000
#: So many plates of a lot are read before the rest may carry their mean.
LOT_READ = 5


class MeasureAll(Refusal):
    code, title = "measure_all", "This lot is too uneven to be booked unmeasured"


@dataclass
class LotJudged:
    """What becomes of a lot that is not written yet; reading and reason go plate by plate."""

    lot: Lot
    plates: list[Plate]
    readings: list[list[str]]
    reasons: list[str]
    warnings: list[dict[str, str]]


def lot_judge(*, person: Person, booking: Booking, count: int, readings: Sequence[Reading], tags: Tags) -> LotJudged:
    """Judge a delivery of ``count`` like plates, some read; nothing is written. Raises BadFigures, MeasureAll,
    Implausible unless confirmed, WrongBin.
    """
    kind = booking.kind
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
    lot = Lot(
        shop_id=person.shop_id,
        kind=kind,
        count=count,
        measured=len(readings),
        mean_nm=mean,
        spread_nm=range_nm,
        source=tags.source,
        received_by=person,
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
    kept = [reading.kept for reading in readings] + [[] for _ in range(unread)]
    told = [dict(pair) for pair in dict.fromkeys(tuple(w.items()) for w in warnings)]
    return LotJudged(lot, plates, kept, reasons, told)
