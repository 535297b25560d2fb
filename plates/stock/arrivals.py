"""Plates and lots that come in, one or many, each of its own kind: judged, then written in a few statements."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from plates.catalogue.models import Kind
from plates.measuring.gauges import GaugeNotes, gauge_notes
from plates.stock.booking import Booking, KindsAndBins, plate_new
from plates.stock.findings import Reading, Tags, agreement_check
from plates.stock.ledger import ledger_open
from plates.stock.lots import LotJudged, lot_judge
from plates.stock.models import Bin, HandOut, Lot, Plate
from shop.errors import Refusal
from shop.people.models import Person


class SentFromHere(Refusal):
    code, title = "sent_from_here", "This transfer was sent by this shop"


@dataclass(frozen=True)
class Arrival:
    """One plate that comes in. ``confirm``: its reading is right, though no plate of its kind should have it."""

    kind: Kind
    reading: Reading
    tags: Tags
    chosen_bin: Bin | None = None
    confirm: bool = False


@dataclass(frozen=True)
class LotArrival:
    """A lot of ``count`` plates, of which those of ``readings`` were read; ``confirm`` as above."""

    kind: Kind
    count: int
    readings: Sequence[Reading]
    tags: Tags
    chosen_bin: Bin | None = None
    confirm: bool = False


@dataclass
class Judged:
    """What becomes of the arrivals. ``refused``, ``warnings`` and ``lots`` go by the place of the arrival."""

    plates: list[Plate] = field(default_factory=list)
    readings: list[list[str]] = field(default_factory=list)
    findings: list[dict[str, Any]] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)
    refused: dict[int, Refusal] = field(default_factory=dict)
    warnings: dict[int, list[dict[str, str]]] = field(default_factory=dict)
    lots: dict[int, LotJudged] = field(default_factory=dict)


class _Bookings:
    """The bookings of one act: what many plates share is looked up once."""

    def __init__(self, person: Person, known: KindsAndBins) -> None:
        self.person, self.known = person, known
        self._agreed: dict[tuple[str, str], Refusal | None] = {}
        self._gauges: dict[str, GaugeNotes | Refusal] = {}
        self._begun: dict[tuple[Any, ...], Booking] = {}
        self._transfers: dict[uuid.UUID, bool] = {}

    def of(self, one: Arrival | LotArrival) -> Booking:
        """Raises SecondPerson, GaugeWithdrawn, SentFromHere."""
        tags = one.tags
        self._transfer(tags.transfer)
        self._agree(tags.condition, tags.findings.agreed_by)
        gauge = self._gauge(tags.gauge)
        where: uuid.UUID | None = one.chosen_bin.pk if one.chosen_bin else None
        key = (one.kind.pk, tags.condition, tags.gauge, tags.findings, where, one.confirm)
        if key not in self._begun:
            self._begun[key] = Booking(
                kind=one.kind,
                condition=tags.condition,
                gauge=gauge,
                findings=tags.findings,
                chosen_bin=one.chosen_bin,
                confirm=one.confirm,
                known=self.known,
            )
        return self._begun[key]

    def _agree(self, condition: str, agreed_by: str) -> None:
        key = (condition, agreed_by)
        if key not in self._agreed:
            try:
                agreement_check(person=self.person, condition=condition, agreed_by=agreed_by)
                self._agreed[key] = None
            except Refusal as refusal:
                self._agreed[key] = refusal
        if refused := self._agreed[key]:
            raise refused

    def _transfer(self, transfer: uuid.UUID | None) -> None:
        if transfer is None:
            return
        if transfer not in self._transfers:
            sent = HandOut.objects.filter(shop_id=self.person.shop_id, pk=transfer)
            self._transfers[transfer] = sent.exists()
        if self._transfers[transfer]:
            raise SentFromHere(
                "This shop sent these plates. What comes back is read again on its page: look under Handed out.",
                [("/transfer", "is of another shop")],
            )

    def _gauge(self, code: str) -> GaugeNotes:
        if code not in self._gauges:
            try:
                self._gauges[code] = gauge_notes(self.person.shop_id, code, act="plate")
            except Refusal as refusal:
                self._gauges[code] = refusal
        found = self._gauges[code]
        if isinstance(found, Refusal):
            raise found
        return found


def arrivals_judge(
    *,
    person: Person,
    arrivals: Sequence[Arrival | LotArrival],
    right: str = "stock",
    known: KindsAndBins | None = None,
) -> Judged:
    """What would become of each arrival; nothing is written. ``known``: the kinds and bins of their fits, where they
    were looked up. Raises Forbidden without the ``right``.
    """
    person.require(right)
    fits = {one.kind.fit_id for one in arrivals}
    judged, bookings = Judged(), _Bookings(person, known or KindsAndBins(person.shop_id, fits))
    for place, one in enumerate(arrivals):
        try:
            booking = bookings.of(one)
            if isinstance(one, LotArrival):
                warnings = _judge_lot(person, booking, one, place, judged)
            else:
                warnings = _judge(booking, one, judged)
        except Refusal as refusal:
            judged.refused[place] = refusal
            continue
        if warnings:
            judged.warnings[place] = warnings
    return judged


def _judge(booking: Booking, one: Arrival, judged: Judged) -> list[dict[str, str]]:
    """What to know about one plate."""
    reading = booking.read(one.reading)
    verdict = booking.verdict(reading.thickness_nm, reading.spread_nm)
    judged.plates.append(plate_new(one.kind, reading.thickness_nm, reading.spread_nm, verdict, one.tags))
    judged.readings.append(reading.kept)
    judged.findings.append(one.tags.findings.json())
    judged.reasons.append(verdict.reason)
    return booking.notes + verdict.warnings


def _judge_lot(person: Person, booking: Booking, one: LotArrival, place: int, judged: Judged) -> list[dict[str, str]]:
    """What to know about one lot."""
    lot = lot_judge(person=person, booking=booking, count=one.count, readings=one.readings, tags=one.tags)
    judged.lots[place] = lot
    judged.plates += lot.plates
    judged.readings += lot.readings
    judged.findings += [one.tags.findings.json()] * one.count
    judged.reasons += lot.reasons
    return lot.warnings


def arrivals_book(
    *,
    person: Person,
    judged: Judged,
    made_key: str | None = None,
    at: datetime | None = None,
    for_match: uuid.UUID | None = None,
    for_job: uuid.UUID | None = None,
) -> None:
    """Write what was judged, in the same transaction, with a ledger line each; the first plate carries the key.

    ``at``: when they came, None for now; ``for_match`` and ``for_job`` stand on their ledger lines. Raises what the
    first refused arrival was refused for: all of them come in, or none.
    """
    for refusal in judged.refused.values():
        raise refusal
    if judged.plates:
        judged.plates[0].made_key = made_key
    lots = [one.lot for one in judged.lots.values()]
    if at is not None:
        for lot in lots:
            lot.received_at = at
    Lot.objects.bulk_create(lots)
    ledger_open(
        plates=judged.plates,
        person=person,
        readings=judged.readings,
        findings=judged.findings,
        reasons=judged.reasons,
        at=at,
        for_match=for_match,
        for_job=for_job,
    )
