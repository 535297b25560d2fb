"""What happens to a plate that is there: put back, scrapped, undone, reworked."""

import uuid
from collections.abc import Sequence

from plates.catalogue.models import BadFigures, Kind
from plates.stock.booking import KindsAndBins, booking_begin, plate_new
from plates.stock.findings import NOTHING_FOUND, Findings, Reading, Tags, findings_again
from plates.stock.holds import holds_run_out
from plates.stock.ledger import Change, ledger_open, ledger_write
from plates.stock.ledger_models import Act
from plates.stock.models import Bin, Condition, Plate, State
from plates.stock.services import Received
from shop.errors import NotFound, WrongState
from shop.people.models import Person


def plate_lock(*, person: Person, plate_id: uuid.UUID) -> Plate:
    """The plate, locked, with run-out holds released first. Raises NotFound."""
    holds_run_out(shop_id=person.shop_id)
    plate = (
        Plate.objects.select_for_update(of=("self",))
        .select_related("kind__fit", "bin")
        .filter(shop_id=person.shop_id, pk=plate_id)
        .first()
    )
    if plate is None:
        raise NotFound(f"Nothing here has the id {plate_id}.")
    return plate


def _state_check(plate: Plate, allowed: Sequence[State], wish: str) -> None:
    if plate.state not in allowed:
        way_out = (
            "Release the hold first." if plate.state == State.HELD else "Look at its page for what happened to it."
        )
        raise WrongState(f"This plate is {plate.get_state_display()} and cannot be {wish}. {way_out}")


def plate_put_back(
    *,
    person: Person,
    plate_id: uuid.UUID,
    reading: Reading | None,
    chosen_bin: Bin | None = None,
    condition: str | None = None,
    gauge: str = "",
    findings: Findings = NOTHING_FOUND,
    confirm: bool = False,
    known: KindsAndBins | None = None,
) -> Received:
    """A plate comes back to the shelf with a fresh reading; beyond a limit of its kind, to the quarantined ones. One
    that was taken for a pack may come back unread (None), as it is on record: then its taper is not judged anew.

    Unless ``condition`` says otherwise, a plate out of a pack that was built and closed comes back used. ``known``: the
    kinds and bins of its fit, where they were looked up. Raises WrongState, Implausible, WrongBin, GaugeWithdrawn,
    SecondPerson.
    """
    person.require("stock")
    plate = plate_lock(person=person, plate_id=plate_id)
    if reading is None:
        _state_check(plate, [State.TAKEN], "put back unread")
    else:
        _state_check(plate, [State.TAKEN, State.HANDED_OUT, State.QUARANTINED], "put back")
    ran = plate.match is not None and plate.match.closed_at is not None
    condition = condition or (Condition.USED if ran else plate.condition)
    findings = findings_again(plate, findings)
    booking = booking_begin(
        person=person,
        kind=plate.kind,
        condition=condition,
        gauge=gauge,
        findings=findings,
        chosen_bin=chosen_bin,
        confirm=confirm,
        known=known,
    )
    if reading is not None:
        reading = booking.read(reading)
        verdict = booking.verdict(reading.thickness_nm, reading.spread_nm)
    else:
        verdict = booking.verdict(plate.thickness_nm, None)
    change = Change(
        plate=plate.pk,
        revision=plate.revision,
        state=verdict.state,
        bin=verdict.home.pk if verdict.home else None,
        thickness_nm=reading.thickness_nm if reading else None,
        spread_nm=reading.spread_nm if reading else None,
        condition=condition,
        readings=reading.kept if reading else [],
        findings=findings.json(),
    )
    ledger_write(
        person=person,
        act=Act.PUT_BACK,
        changes=[change],
        rebin=True,
        gauge=gauge,
        reason=verdict.reason,
        for_match=plate.match_id,
        for_job=plate.job_id,
    )
    plate.refresh_from_db()
    return Received([plate], booking.notes + verdict.warnings)


def _leave(person: Person, plate: Plate, state: State, act: Act, reason: str) -> Plate:
    ledger_write(
        person=person,
        act=act,
        changes=[Change(plate=plate.pk, revision=plate.revision, state=state)],
        reason=reason,
        for_match=plate.match_id,
        for_job=plate.job_id,
    )
    plate.refresh_from_db()
    return plate


def plate_scrap(*, person: Person, plate_id: uuid.UUID, reason: str) -> Plate:
    """The plate goes to scrap, for a reason. Raises WrongState."""
    person.require("stock")
    plate = plate_lock(person=person, plate_id=plate_id)
    _state_check(plate, [State.ON_SHELF, State.TAKEN, State.HANDED_OUT, State.QUARANTINED], "scrapped")
    return _leave(person, plate, State.SCRAPPED, Act.SCRAPPED, reason)


def plate_undo(*, person: Person, plate_id: uuid.UUID) -> Plate:
    """Undo a scan: the plate never was. Only while nothing else has happened to it. Raises WrongState."""
    person.require("stock")
    plate = plate_lock(person=person, plate_id=plate_id)
    if plate.lot_id is not None:
        raise WrongState("This plate came with a lot, not by a scan of its own; scrap it or put it right instead.")
    if plate.revision != 1:
        raise WrongState(
            "Something has happened to this plate since it was scanned in; scrap it or put it right instead."
        )
    return _leave(person, plate, State.SCRAPPED, Act.UNDONE, "scan undone")


def lot_undo(*, person: Person, lot_id: uuid.UUID) -> None:
    """Undo a lot as it was booked: none of its plates ever was. Only while nothing else has happened to any of them.

    Raises WrongState.
    """
    person.require("stock")
    holds_run_out(shop_id=person.shop_id)
    rows = Plate.objects.select_for_update().filter(shop_id=person.shop_id, lot=lot_id).order_by("id")
    plates = list(rows)
    if any(plate.revision != 1 for plate in plates):
        raise WrongState(
            "Something has happened to plates of this lot since it was booked. Count its bin instead: what is not "
            "there is booked as missing."
        )
    changes = [Change(plate=plate.pk, revision=1, state=State.SCRAPPED) for plate in plates]
    ledger_write(person=person, act=Act.UNDONE, changes=changes, reason="lot undone")


def plate_rework(
    *,
    person: Person,
    plate_id: uuid.UUID,
    reading: Reading,
    reason: str,
    kind: Kind | None = None,
    chosen_bin: Bin | None = None,
    gauge: str = "",
    findings: Findings = NOTHING_FOUND,
    confirm: bool = False,
    made_key: str | None = None,
) -> Received:
    """A face was ground or a lining stripped: the old plate ends, a new one begins. Raises as :func:`plate_put_back`.

    The tool never proposes this. Old lining dust may hold asbestos; the service manual decides whether a plate may be
    reworked at all.
    """
    person.require("stock")
    old = plate_lock(person=person, plate_id=plate_id)
    _state_check(old, [State.ON_SHELF, State.TAKEN, State.HANDED_OUT, State.QUARANTINED], "reworked")
    tags = Tags(old.condition, old.source, old.owner, "", old.mark, gauge, findings=findings_again(old, findings))
    kind = kind or old.kind
    if kind.fit_id != old.fit_id:
        raise BadFigures(
            "Grinding or stripping does not change the splines.", [("/kind", "has the fit of the old plate")]
        )
    booking = booking_begin(
        person=person,
        kind=kind,
        condition=tags.condition,
        gauge=gauge,
        findings=tags.findings,
        chosen_bin=chosen_bin,
        confirm=confirm,
    )
    reading = booking.read(reading)
    verdict = booking.verdict(reading.thickness_nm, reading.spread_nm)
    _leave(person, old, State.REWORKED, Act.REWORKED, reason)
    plate = plate_new(kind, reading.thickness_nm, reading.spread_nm, verdict, tags)
    plate.reworked_from, plate.made_key = old, made_key
    ledger_open(
        plates=[plate],
        person=person,
        readings=[reading.kept],
        findings=[tags.findings.json()],
        reasons=[f"{reason}. {verdict.reason}" if verdict.reason else reason],
    )
    dust = "Never dry-brush old lining: its dust may hold asbestos. Follow the manual and local codes."
    return Received(
        [plate],
        [*booking.notes, *verdict.warnings, {"code": "lining_dust", "text": dust}],
    )
