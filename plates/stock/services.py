"""Writes of the stock room: scan in, lots.

``at`` is when it happened; None means now, by the database's clock.
"""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from plates.catalogue.models import Kind
from plates.stock.arrivals import Arrival, LotArrival, arrivals_book, arrivals_judge
from plates.stock.booking import KindsAndBins
from plates.stock.findings import Reading, Tags
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
    judged = arrivals_judge(person=person, arrivals=[LotArrival(kind, count, readings, tags, chosen_bin, confirm)])
    for one in judged.lots.values():
        one.lot.made_key = made_key
    for plate in judged.plates:
        plate.order_line_id = order_line
    arrivals_book(person=person, judged=judged, at=at)
    return Received(judged.plates, judged.warnings.get(0, []), judged.lots[0].lot)
