"""Writes of the stock room: scan in, lots.

``at`` is when it happened; None means now, by the database's clock.
"""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from plates.catalogue.models import Kind
from plates.stock.arrivals import Arrival, arrivals_book, arrivals_judge
from plates.stock.booking import KindsAndBins, booking_begin
from plates.stock.findings import Reading, Tags
from plates.stock.ledger import ledger_open
from plates.stock.lots import lot_judge
from plates.stock.models import Bin, Lot, Plate
from shop.people.models import Person


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
    order_line: uuid.UUID | None = None,
) -> Received:
    """Book a delivery of ``count`` like plates, some measured; the others carry the mean and spread of the lot.

    What is found (cone, warp, hot spot) holds for all of them; each plate read is judged on its own.
    ``order_line``: what the lot was delivered on.
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
    judged = lot_judge(person=person, booking=booking, count=count, readings=readings, tags=tags)
    judged.lot.made_key = made_key
    if at is not None:
        judged.lot.received_at = at
    judged.lot.save(force_insert=True)
    for plate in judged.plates:
        plate.order_line_id = order_line
    ledger_open(
        plates=judged.plates,
        person=person,
        readings=judged.readings,
        findings=[tags.findings.json()] * count,
        reasons=judged.reasons,
        at=at,
    )
    return Received(judged.plates, judged.warnings, judged.lot)
