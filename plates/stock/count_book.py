"""A count of a bin is booked: each difference after a second look, all of them or none."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from django.db.models import Q

from plates.catalogue.models import Kind
from plates.lengths import both
from plates.measuring.gauges import gauge_notes
from plates.measuring.uncertainty import MICROMETER_U_NM, agree
from plates.stock.booking import Booking
from plates.stock.count_models import BinCount
from plates.stock.counts import Counted, count_close, count_lock, counted, is_of, kinds_read, lost_before, plates_of
from plates.stock.findings import NOTHING_FOUND, Findings, Reading, Tags
from plates.stock.hand_outs import hand_out_make
from plates.stock.holds import holds_run_out
from plates.stock.ledger import Change, ledger_write
from plates.stock.ledger_models import Act
from plates.stock.life import plate_put_back
from plates.stock.models import Plate, Reason, State
from plates.stock.services import plate_receive
from shop.errors import Refusal
from shop.people.models import Person

NOT_FOUND, FOUND = "not found when counted", "found when counted"


class LookAgain(Refusal):
    code, title = "look_again", "A second look is missing"


class Fate(NamedTuple):
    """What a reading without a plate was: of a plate read twice (all None), of one that was lost, or of a new one."""

    back: uuid.UUID | None = None
    kind: Kind | None = None
    condition: str = ""


@dataclass(frozen=True)
class SecondLook:
    """What a person says who has looked again: plates that are not there, second readings by plate and by row of the
    readings, and what each reading without a plate was.
    """

    gone: frozenset[uuid.UUID] = frozenset()
    plates: Mapping[uuid.UUID, Reading] = field(default_factory=dict)
    rows: Mapping[int, Reading] = field(default_factory=dict)
    fates: Mapping[int, Fate] = field(default_factory=dict)
    agreed_by: str = ""


def count_book(*, person: Person, count_id: uuid.UUID, look: SecondLook, made_key: str | None = None) -> BinCount:
    """Book the differences of a count, each after a second look, all or nothing.

    Missing ones are handed out as lost, found ones received or put back, one that reads otherwise gets the reading of
    the second look. What is held and missing stays promised and is only on record with the count. Raises LookAgain,
    which points at what still has to be looked at.
    """
    count = count_lock(person=person, count_id=count_id, all_read=True)
    holds_run_out(shop_id=person.shop_id)
    backs = [fate.back for fate in look.fates.values() if fate.back]
    of_count = {plate.pk: plate for plate in _plates_lock(count, backs) if plate.pk not in backs}
    found = counted(count, list(of_count.values()))
    zero_nm = gauge_notes(person.shop_id, count.gauge, act="plate").zero_nm
    not_of_it = "That is no plate of this count. Leave it out."
    errors = [(f"/gone/{plate}", not_of_it) for plate in sorted(look.gone - of_count.keys())]
    errors += [(f"/plates/{plate}", not_of_it) for plate in sorted(look.plates.keys() - of_count.keys())]
    lost: list[Plate] = []
    became: dict[str, list[uuid.UUID]] = {name: [] for name in ("missing", "held", "reread", "found", "back")}
    for plate in found.missing:
        second = look.plates.get(plate.pk)
        if second is not None:
            if not is_of(second.less(zero_nm).thickness_nm, plate):
                said = "That is another one. Tick that this one is not there, and scan the other one in."
                errors.append((f"/plates/{plate.pk}", said))
        elif plate.pk not in look.gone:
            errors.append((f"/plates/{plate.pk}", "Look again: tick that it is not there, or read it."))
        elif plate.state == State.HELD:
            became["held"].append(plate.pk)
        else:
            lost.append(plate)
    reread = [
        (plate, look.plates[plate.pk])
        for row, plate in found.doubtful
        if _reads_otherwise(found.readings_nm[row], plate, look.plates.get(plate.pk), zero_nm, errors)
    ]
    lost_nm = [found.readings_nm[row] for row in found.over if look.fates.get(row, Fate()).back]
    may_be_back = {plate.pk: plate for plate in lost_before(count, lost_nm)} if lost_nm else {}
    for row in found.over:
        _over_check(row, found, look, zero_nm, may_be_back, errors)
    if errors:
        raise LookAgain("Look again at what is marked. Nothing was booked.", errors)

    if lost:
        hand_out_make(
            person=person, reason=Reason.LOST, plate_ids=[one.pk for one in lost], why=NOT_FOUND, made_key=made_key
        )
        became["missing"] = [plate.pk for plate in lost]
    for plate, second in reread:
        became["reread" if _reread(person, count, plate, second) else "held"].append(plate.pk)
    for row in found.over:
        fate = look.fates[row]
        findings = Findings(agreed_by=look.agreed_by)
        if fate.back:
            made = plate_put_back(
                person=person,
                plate_id=fate.back,
                reading=look.rows[row],
                gauge=count.gauge,
                findings=findings,
                confirm=True,
            )
            became["back"].append(made.plates[0].pk)
        elif fate.kind:
            tags = Tags(condition=fate.condition, source=FOUND, gauge=count.gauge, findings=findings)
            made = plate_receive(person=person, kind=fate.kind, reading=look.rows[row], tags=tags, confirm=True)
            became["found"].append(made.plates[0].pk)
    count_close(count, found, became)
    count.save()
    return count


def _plates_lock(count: BinCount, backs: Sequence[uuid.UUID]) -> list[Plate]:
    """What the count is of, and what comes back with it."""
    rows = Plate.objects.select_for_update(of=("self",)).select_related("kind__fit", "match")
    return list(rows.filter(plates_of(count) | Q(shop_id=count.shop_id, pk__in=backs)).order_by("pk"))


def _reads_otherwise(
    first_nm: int, plate: Plate, second: Reading | None, zero_nm: int, errors: list[tuple[str, str]]
) -> bool:
    """Whether the second reading bears out the first one against the record; what is missing goes to ``errors``."""
    at = f"/plates/{plate.pk}"
    if second is None:
        errors.append((at, "Read it once more."))
        return False
    second_nm = second.less(zero_nm).thickness_nm
    if is_of(second_nm, plate):
        return False
    if agree(first_nm, second_nm, MICROMETER_U_NM, MICROMETER_U_NM):
        return True
    errors.append((at, f"{both(second_nm)} agrees neither with the record nor with the first reading. Read it again."))
    return False


def _over_check(
    row: int,
    found: Counted,
    look: SecondLook,
    zero_nm: int,
    may_be_back: Mapping[uuid.UUID, Plate],
    errors: list[tuple[str, str]],
) -> None:
    """What is missing of a reading without a plate goes to ``errors``; ``may_be_back``: what was lost of this bin."""
    at, first_nm, fate, second = f"/rows/{row}", found.readings_nm[row], look.fates.get(row), look.rows.get(row)
    if fate is None:
        errors.append((at, "Look again: say what it is."))
    elif fate.kind and fate.kind not in kinds_read(found, row):
        errors.append((at, f"It cannot be a {fate.kind.code}, or not one of this bin. Scan that one in by itself."))
    elif fate.back and not (fate.back in may_be_back and is_of(first_nm, may_be_back[fate.back])):
        errors.append((at, "No plate lost from this bin has that id and this thickness. Say what it is."))
    elif fate != Fate():
        if second is None:
            errors.append((at, "Read it once more."))
        elif not agree(first_nm, second.less(zero_nm).thickness_nm, MICROMETER_U_NM, MICROMETER_U_NM):
            errors.append((at, "The two readings are not of one plate. Read it again, or say that it was read twice."))


def _reread(person: Person, count: BinCount, plate: Plate, second: Reading) -> bool:
    """The plate gets the thickness of the second look. One that is held and beyond a limit stays as it was: False."""
    booking = Booking(
        kind=plate.kind,
        condition=plate.condition,
        gauge=gauge_notes(person.shop_id, count.gauge, act="plate"),
        findings=NOTHING_FOUND,
        confirm=True,
    )
    reading = booking.read(second)
    verdict = booking.verdict(reading.thickness_nm, reading.spread_nm)
    held = plate.state == State.HELD
    if held and verdict.state == State.QUARANTINED:
        return False
    ledger_write(
        person=person,
        act=Act.PULLED,
        changes=[
            Change(
                plate=plate.pk,
                revision=plate.revision,
                state=State.HELD if held else verdict.state,
                bin=verdict.home.pk if verdict.home else None,
                thickness_nm=reading.thickness_nm,
                spread_nm=reading.spread_nm,
                match=plate.match_id,
                job=plate.job_id,
                held_until=plate.held_until,
                readings=reading.kept,
            )
        ],
        rebin=True,
        gauge=count.gauge,
        reason="read otherwise when counted" + (f". {verdict.reason}" if verdict.reason else ""),
    )
    return True
