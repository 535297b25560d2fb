"""Writes of the stock room: bins, scan in, lots.

``at`` is when it happened; None means now, by the database's clock.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from plates.catalogue.models import BadFigures, Fit, Kind
from plates.catalogue.selectors import siblings, tolerance_of
from plates.lengths import INCH, both, mean_nm
from plates.measuring.uncertainty import lot_u_nm
from plates.stock.ledger import ledger_open
from plates.stock.models import Bin, BinOverlap, Condition, Lot, Plate, State
from plates.stock.plausible import thickness_check
from shop.errors import Refusal
from shop.people.models import Person

#: A lot whose measured plates range over more than this is measured whole.
LOT_RANGE_NM = INCH // 1000
#: So many plates of a lot are read before the rest may carry their mean.
LOT_READ = 5


class MeasureAll(Refusal):
    code, title = "measure_all", "This lot is too uneven to be booked unmeasured"


class WrongBin(Refusal):
    code, title = "wrong_bin", "The bin is for other plates"


@dataclass(frozen=True)
class Reading:
    """The points read on one plate: texts as typed, with their lengths."""

    texts: list[str]
    points_nm: list[int]

    @property
    def thickness_nm(self) -> int:
        return mean_nm(self.points_nm)

    @property
    def spread_nm(self) -> int:
        return max(self.points_nm) - min(self.points_nm)


@dataclass(frozen=True)
class Tags:
    """What is said of plates as they come in."""

    condition: str = Condition.NEW
    source: str = ""
    owner: str = ""
    box: str = ""
    mark: str = ""
    gauge: str = ""


@dataclass(frozen=True)
class Received:
    """What came in, and what the person should know about it."""

    plates: list[Plate]
    warnings: list[dict[str, str]]
    lot: Lot | None = None


def bin_make(*, person: Person, code: str, fit: Fit, role: str, from_nm: int, to_nm: int) -> Bin:
    """A new bin for from_nm ≤ thickness < to_nm. Raises CodeTaken, BadFigures, BinOverlap."""
    person.require("stock")
    if from_nm >= to_nm:
        raise BadFigures(
            f"A bin spans from a smaller to a larger thickness; {both(from_nm)} is not below {both(to_nm)}.",
            [("/from", "is below to")],
        )
    overlap = Bin.objects.filter(
        shop_id=person.shop_id, fit=fit, role=role, from_nm__lt=to_nm, to_nm__gt=from_nm
    ).first()
    if overlap:
        raise BinOverlap(
            f"Bin {overlap.code} spans {both(overlap.from_nm)} to {both(overlap.to_nm)} of the same fit and role. "
            "Choose a span beside it.",
            [("/from", f"overlaps bin {overlap.code}"), ("/to", f"overlaps bin {overlap.code}")],
        )
    return Bin.objects.create(shop_id=person.shop_id, code=code, fit=fit, role=role, from_nm=from_nm, to_nm=to_nm)


def bins_of(kind: Kind) -> list[Bin]:
    """All bins for plates of this kind's fit and role."""
    return list(Bin.objects.filter(shop_id=kind.shop_id, fit_id=kind.fit_id, role=kind.role))


def bin_for(
    kind: Kind, thickness_nm: int, chosen: Bin | None = None, bins: Sequence[Bin] | None = None
) -> tuple[Bin | None, list[dict[str, str]]]:
    """The bin that spans this thickness, or the chosen one, with warnings (``bins``: those of the kind, if known).

    Raises :class:`WrongBin`.
    """
    if chosen is not None:
        if (chosen.fit_id, chosen.role) != (kind.fit_id, kind.role):
            raise WrongBin(
                f"Bin {chosen.code} is not for {kind.get_role_display()} of fit {kind.fit.code}.",
                [("/bin", "choose another")],
            )
        if chosen.from_nm <= thickness_nm < chosen.to_nm:
            return chosen, []
        text = f"{both(thickness_nm)} lies outside bin {chosen.code}, {both(chosen.from_nm)} to {both(chosen.to_nm)}."
        return chosen, [{"code": "outside_bin", "text": text}]
    for home in bins_of(kind) if bins is None else bins:
        if home.from_nm <= thickness_nm < home.to_nm:
            return home, []
    text = f"No bin of fit {kind.fit.code} spans {both(thickness_nm)}. Lay it with the unsorted plates, or make a bin."
    return None, [{"code": "no_bin", "text": text}]


def reuse_warnings(kind: Kind, thickness_nm: int, condition: str) -> list[dict[str, str]]:
    if condition == Condition.NEW or kind.reuse_minimum_nm is None or thickness_nm >= kind.reuse_minimum_nm:
        return []
    text = f"{both(thickness_nm)} is below the reuse minimum {both(kind.reuse_minimum_nm)}: it will not be offered."
    return [{"code": "below_reuse_minimum", "text": text}]


def plate_new(kind: Kind, thickness_nm: int, spread_nm: int, home: Bin | None, tags: Tags) -> Plate:
    return Plate(
        shop_id=kind.shop_id,
        kind=kind,
        fit_id=kind.fit_id,
        role=kind.role,
        bin=home,
        thickness_nm=thickness_nm,
        spread_nm=spread_nm,
        state=State.ON_SHELF,
        condition=tags.condition,
        source=tags.source,
        owner=tags.owner,
        box=tags.box,
        mark=tags.mark,
        gauge=tags.gauge,
    )


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
) -> Received:
    """Scan in one measured plate. Raises Implausible unless confirmed, WrongBin."""
    person.require("stock")
    thickness_nm = reading.thickness_nm
    if not confirm:
        thickness_check(kind, reading.texts, thickness_nm)
    home, warnings = bin_for(kind, thickness_nm, chosen_bin)
    plate = plate_new(kind, thickness_nm, reading.spread_nm, home, tags)
    plate.made_key = made_key
    ledger_open(plates=[plate], person_id=person.pk, readings=[reading.texts], at=at)
    return Received([plate], warnings + reuse_warnings(kind, thickness_nm, tags.condition))


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
    """Book a delivery of ``count`` like plates, some measured; the others carry the mean and spread of the lot."""
    person.require("stock")
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
    row, bins = siblings(kind), bins_of(kind)
    if not confirm:
        for place, reading in enumerate(readings):
            thickness_check(kind, reading.texts, reading.thickness_nm, f"/readings/{place}", row)
    mean = mean_nm(measured)
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
    warnings: list[dict[str, str]] = []

    def plate_of(thickness_nm: int, spread_nm: int) -> Plate:
        home, said = bin_for(kind, thickness_nm, chosen_bin, bins)
        warnings.extend(said + reuse_warnings(kind, thickness_nm, tags.condition))
        plate = plate_new(kind, thickness_nm, spread_nm, home, tags)
        plate.lot = lot
        return plate

    plates = [plate_of(reading.thickness_nm, reading.spread_nm) for reading in readings]
    unread = count - len(readings)
    if unread:
        few = len(readings) < min(LOT_READ, count)
        if few:
            wanted = min(LOT_READ, count)
            text = f"Only {len(readings)} of {count} were read; read {wanted} for a mean that can be trusted."
            warnings.append({"code": "few_read", "text": text})
        u_nm = lot_u_nm(range_nm, len(readings), tolerance_of(kind, row) if few else None)
        for _ in range(unread):
            plate = plate_of(mean, range_nm)
            plate.u_nm = u_nm
            plates.append(plate)
    texts = [reading.texts for reading in readings] + [[] for _ in range(unread)]
    ledger_open(plates=plates, person_id=person.pk, readings=texts, at=at)
    return Received(plates, [dict(pair) for pair in dict.fromkeys(tuple(w.items()) for w in warnings)], lot)
