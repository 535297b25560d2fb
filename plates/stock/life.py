"""What happens to a plate that is there: put back, scrapped, undone, reworked."""

import uuid
from collections.abc import Sequence

from plates.catalogue.models import BadFigures, Kind
from plates.stock.holds import holds_run_out
from plates.stock.ledger import Change, ledger_open, ledger_write
from plates.stock.models import Act, Bin, Condition, Plate, State
from plates.stock.plausible import thickness_check
from plates.stock.services import Reading, Received, Tags, bin_for, plate_new, reuse_warnings
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
    reading: Reading,
    chosen_bin: Bin | None = None,
    condition: str | None = None,
    gauge: str = "",
    confirm: bool = False,
) -> Received:
    """A plate comes back to the shelf with a fresh reading. Raises WrongState, Implausible.

    Unless ``condition`` says otherwise, a plate out of a pack that was built and closed comes back used.
    """
    person.require("stock")
    plate = plate_lock(person=person, plate_id=plate_id)
    _state_check(plate, [State.TAKEN, State.HANDED_OUT, State.QUARANTINED], "put back")
    if not confirm:
        thickness_check(plate.kind, reading.texts, reading.thickness_nm)
    home, warnings = bin_for(plate.kind, reading.thickness_nm, chosen_bin)
    change = Change(
        plate=plate.pk,
        revision=plate.revision,
        state=State.ON_SHELF,
        bin=home.pk if home else None,
        thickness_nm=reading.thickness_nm,
        spread_nm=reading.spread_nm,
        condition=condition or (Condition.USED if plate.match and plate.match.closed_at else None),
        readings=reading.texts,
    )
    ledger_write(
        shop_id=person.shop_id,
        person_id=person.pk,
        act=Act.PUT_BACK,
        changes=[change],
        rebin=True,
        gauge=gauge,
        for_match=plate.match_id,
        for_job=plate.job_id,
    )
    plate.refresh_from_db()
    return Received([plate], warnings + reuse_warnings(plate.kind, plate.thickness_nm, plate.condition))


def _leave(person: Person, plate: Plate, state: State, act: Act, reason: str) -> Plate:
    ledger_write(
        shop_id=person.shop_id,
        person_id=person.pk,
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


def plate_rework(
    *,
    person: Person,
    plate_id: uuid.UUID,
    reading: Reading,
    reason: str,
    kind: Kind | None = None,
    chosen_bin: Bin | None = None,
    gauge: str = "",
    confirm: bool = False,
    made_key: str | None = None,
) -> Received:
    """A face was ground or a lining stripped: the old plate ends, a new one begins. Raises WrongState, Implausible.

    The tool never proposes this. Old lining dust may hold asbestos; the service manual decides whether a plate may be
    reworked at all.
    """
    person.require("stock")
    old = plate_lock(person=person, plate_id=plate_id)
    _state_check(old, [State.ON_SHELF, State.TAKEN, State.HANDED_OUT, State.QUARANTINED], "reworked")
    _leave(person, old, State.REWORKED, Act.REWORKED, reason)
    tags = Tags(old.condition, old.source, old.owner, "", old.mark, gauge)
    kind = kind or old.kind
    if kind.fit_id != old.fit_id:
        raise BadFigures(
            "Grinding or stripping does not change the splines.", [("/kind", "has the fit of the old plate")]
        )
    if not confirm:
        thickness_check(kind, reading.texts, reading.thickness_nm)
    home, warnings = bin_for(kind, reading.thickness_nm, chosen_bin)
    plate = plate_new(kind, reading.thickness_nm, reading.spread_nm, home, tags)
    plate.reworked_from, plate.made_key = old, made_key
    ledger_open(plates=[plate], person_id=person.pk, readings=[reading.texts], reason=reason)
    dust = "Never dry-brush old lining: its dust may hold asbestos. Follow the manual and local codes."
    return Received(
        [plate],
        [*warnings, *reuse_warnings(kind, plate.thickness_nm, plate.condition), {"code": "lining_dust", "text": dust}],
    )
