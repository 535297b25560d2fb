"""How plates are booked, whichever way they come: by which gauge, plausible or not, into which bin or set aside."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import QuerySet

from plates.catalogue.models import Kind
from plates.catalogue.selectors import siblings
from plates.lengths import both
from plates.measuring.gauges import GaugeNotes, gauge_notes
from plates.stock.bins import bin_for, bins_of
from plates.stock.findings import Findings, Reading, Tags, agreement_check
from plates.stock.limits import limits_passed, unusual
from plates.stock.models import Bin, Plate, State
from plates.stock.plausible import fits_kind, thickness_check
from shop.compiled import compiled
from shop.people.models import Person

WAY_OUT = "It lies with the quarantined plates: read it again, scrap it, or claim it on the supplier (warranty)."


@dataclass(frozen=True)
class Verdict:
    """Where a plate goes, or why it is quarantined (``reason``); and what to know about it."""

    state: State
    home: Bin | None
    reason: str
    warnings: list[dict[str, str]]


@compiled
def _kinds_of(shop_id: uuid.UUID, fits: tuple[uuid.UUID, ...]) -> QuerySet[Kind]:
    rows = Kind.objects.filter(shop_id=shop_id, fit__in=fits).select_related("fit")
    return rows.order_by("nominal_nm", "code")


@compiled
def _bins_of(shop_id: uuid.UUID, fits: tuple[uuid.UUID, ...]) -> QuerySet[Bin]:
    return Bin.objects.filter(shop_id=shop_id, fit__in=fits)


class KindsAndBins:
    """The kinds and bins of some fits, looked up once for all plates of one act; two queries."""

    def __init__(self, shop_id: uuid.UUID, fits: Iterable[uuid.UUID]) -> None:
        wanted = tuple(set(fits))
        self.kinds, self.bins = _kinds_of(shop_id, wanted), _bins_of(shop_id, wanted)

    def siblings(self, fit_id: uuid.UUID, role: str) -> list[Kind]:
        """All kinds of a fit and role, by nominal."""
        return [kind for kind in self.kinds if (kind.fit_id, kind.role) == (fit_id, role)]

    def bins_of(self, kind: Kind) -> list[Bin]:
        return [one for one in self.bins if (one.fit_id, one.role) == (kind.fit_id, kind.role)]


class Booking:
    """The booking of one plate or one lot of a kind: its sizes and bins are looked up once, or are ``known``."""

    def __init__(
        self,
        *,
        kind: Kind,
        condition: str,
        gauge: GaugeNotes,
        findings: Findings,
        chosen_bin: Bin | None = None,
        confirm: bool = False,
        known: KindsAndBins | None = None,
    ) -> None:
        self.kind, self.condition, self.gauge, self.findings = kind, condition, gauge, findings
        self.chosen_bin, self.confirm = chosen_bin, confirm
        self.row = known.siblings(kind.fit_id, kind.role) if known else siblings(kind)
        self.bins = known.bins_of(kind) if known else bins_of(kind)

    def read(self, reading: Reading, pointer: str = "/readings") -> Reading:
        """The reading without the zero error of its gauge. Raises Implausible unless confirmed."""
        reading = reading.less(self.gauge.zero_nm)
        if not self.confirm:
            thickness_check(self.kind, reading.texts, reading.thickness_nm, pointer, self.row)
        return reading

    @property
    def notes(self) -> list[dict[str, str]]:
        """What to know of the gauge."""
        zero_nm = self.gauge.zero_nm
        if not zero_nm:
            return self.gauge.warnings
        side, done = ("high", "taken off") if zero_nm > 0 else ("low", "added to")
        text = f"Gauge {self.gauge.code} reads {both(abs(zero_nm))} {side}: that much was {done} every point."
        return [*self.gauge.warnings, {"code": "zero_taken_off", "text": text}]

    def verdict(self, thickness_nm: int, taper_nm: int | None) -> Verdict:
        """Judge one plate; ``taper_nm`` is None when it was not read itself. Raises WrongBin."""
        home, misplaced = bin_for(self.kind, thickness_nm, self.chosen_bin, self.bins)
        passed = limits_passed(
            self.kind,
            thickness_nm=thickness_nm,
            taper_nm=taper_nm,
            condition=self.condition,
            findings=self.findings,
        )
        odd = []
        if taper_nm is not None and fits_kind(self.kind, self.row, thickness_nm):
            odd = unusual(self.kind, self.row, thickness_nm, self.condition)
        if not passed:
            return Verdict(State.ON_SHELF, home, "", misplaced + odd)
        said = [{"code": code, "text": f"{text} {WAY_OUT}"} for code, text in passed]
        return Verdict(State.QUARANTINED, None, " ".join(text for _, text in passed), said + odd)


def booking_begin(
    *,
    person: Person,
    kind: Kind,
    condition: str,
    gauge: str,
    findings: Findings,
    chosen_bin: Bin | None = None,
    confirm: bool = False,
    known: KindsAndBins | None = None,
) -> Booking:
    """Whether this person may book such plates with this gauge, by themselves. Raises SecondPerson, GaugeWithdrawn."""
    person.require("stock")
    agreement_check(person=person, condition=condition, agreed_by=findings.agreed_by)
    return Booking(
        kind=kind,
        condition=condition,
        gauge=gauge_notes(person.shop_id, gauge, act="plate"),
        findings=findings,
        chosen_bin=chosen_bin,
        confirm=confirm,
        known=known,
    )


def plate_new(kind: Kind, thickness_nm: int, spread_nm: int, verdict: Verdict, tags: Tags) -> Plate:
    return Plate(
        shop_id=kind.shop_id,
        kind=kind,
        fit_id=kind.fit_id,
        role=kind.role,
        bin=verdict.home,
        thickness_nm=thickness_nm,
        spread_nm=spread_nm,
        state=verdict.state,
        condition=tags.condition,
        source=tags.source,
        owner=tags.owner,
        box=tags.box,
        mark=tags.mark,
        gauge=tags.gauge,
        transfer=tags.transfer,
    )
