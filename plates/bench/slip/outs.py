"""What came out of a pack gets its fate: back to the shelf, with the job, into another pack, to scrap, to the customer.

Nothing stands twice: a plate that came from our own stock goes back as itself, any other begins its life here.
"""

import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, TypeVar

from plates.bench.locks import Run, clock, match_lock, state_check
from plates.bench.lying import laid_down
from plates.bench.models import Match, MatchState
from plates.bench.slip.out_kinds import kind_of, used_may_be
from plates.catalogue.models import BadFigures, Kind
from plates.catalogue.selectors import stack_fetch
from plates.catalogue.spec_models import Slot
from plates.lengths import INCH, both
from plates.measuring.gauges import gauge_for_plates
from plates.stock.booking import KindsAndBins
from plates.stock.findings import NOTHING_FOUND, Findings, Reading, Tags
from plates.stock.life import plate_put_back, plate_scrap
from plates.stock.models import Bin, Condition, Plate, State
from plates.stock.services import Received, plate_receive
from shop.errors import Malformed, Refusal
from shop.people.models import Person

R = TypeVar("R")
FATES = {
    "shelf": "to the shelf",
    "job": "stays with the job",
    "pack": "into another pack",
    "scrap": "to scrap",
    "customer": "to the customer",
}
#: A thickness copied from an answer is the one meant to its last place, 0.0001 in.
SHOWN_NM = INCH // 20_000


class NotOut(Refusal):
    code, title = "not_out", "This did not come out of the pack"


class ReadingsNeeded(Refusal):
    code, title = "readings_needed", "Nobody has read this one"


@dataclass(frozen=True)
class Out:
    """One plate that came out, as a person disposes of it; ``thickness`` names it, ``reading`` is a fresh one."""

    slot: str
    thickness: Reading
    fate: str
    reading: Reading | None = None
    kind: Kind | None = None
    bin: Bin | None = None
    condition: str | None = None
    gauge: str = ""
    findings: Findings = field(default=NOTHING_FOUND)
    to_job: str = ""
    confirm: bool = False


def match_outs(*, person: Person, match_id: uuid.UUID, outs: Sequence[Out], run: Run[R]) -> R:
    """Give plates that came out their fates, all of them or none; ``match.warnings`` says what to know of those that
    went to the shelf.

    Raises WrongState, NotOut, ReadingsNeeded, KindNeeded, Malformed, and what scanning in raises: Implausible,
    WrongBin, GaugeWithdrawn, SecondPerson. Each names the plate by its place in ``outs``.
    """
    person.require("matches")
    return run(partial(_fated, person, match_id, outs))


def _fated(person: Person, match_id: uuid.UUID, outs: Sequence[Out]) -> Match:
    match = match_lock(person=person, match_id=match_id)
    if not any(option.get("was_built") for option in match.options):  # else measured, and open again
        state_check(match, [MatchState.TAKEN, MatchState.CLOSED], "cleared of what came out")
    stack_fetch(match.spec)
    slots = {slot.name: slot for slot in match.spec.slots.all()}
    rows = _rows_of(match, outs)
    ours = _ours(match, rows)
    fits = [slots[out.slot].fit_ids for out in outs if out.fate == "shelf"]
    known = KindsAndBins(match.shop_id, set().union(*fits, (plate.fit_id for plate in ours.values())))
    match.warnings = []  # type: ignore[attr-defined]
    for place, (out, row) in enumerate(zip(outs, rows, strict=True)):
        with _at(place):
            out = replace(out, findings=out.findings.over(_found_before(row)))
            plate, warnings = _fate(person, match, out, row, slots[out.slot], known, ours.get(row["key"]))
        match.warnings += [{**one, "pointer": f"/outs/{place}"} for one in warnings]  # type: ignore[attr-defined]
        match.outs.append(
            {
                "option": row["key"][0],
                "row": row["key"][1],
                "slot": out.slot,
                "thickness_nm": row["thickness_nm"],
                "fate": out.fate,
                "plate": str(plate.pk) if plate else None,
                "bin": plate.bin.code if plate and plate.bin and plate.state == State.ON_SHELF else None,
                "to_job": out.to_job,
                "by": person.username,
                "at": clock().isoformat(),
                **(laid_down(match, row, slots[out.slot], out.findings) if out.fate == "pack" else {}),
            }
        )
    match.save()
    return match


def given_on(person: Person, match: Match, number: int, row: int) -> dict[str, Any]:
    """The record of a plate that comes out with this option of the match and goes on into another pack at once."""
    option = next(one for one in match.options if one["number"] == number)
    out = option["out"][row]
    slot = next(slot for slot in match.spec.slots.all() if slot.name == out["slot"])
    return {
        "option": number,
        "row": row,
        "slot": slot.name,
        "thickness_nm": out["thickness_nm"],
        "fate": "pack",
        "plate": out["plate"],
        "bin": None,
        "to_job": "",
        "by": person.username,
        "at": clock().isoformat(),
        **laid_down(match, out, slot, Findings(cone_nm=out["cone_nm"], hot_spot=out["hot_spot"] or None)),
    }


def _found_before(row: dict[str, Any]) -> dict[str, Any]:
    """What the question said of this plate: a cone or a hot spot goes with it wherever it goes."""
    return {"cone_nm": row.get("cone_nm"), "hot_spot": row.get("hot_spot") or None}


@contextmanager
def _at(place: int) -> Iterator[None]:
    """Refusals name the plate by its place."""
    try:
        yield
    except Refusal as refusal:
        refusal.errors = [(f"/outs/{place}{pointer}", detail) for pointer, detail in refusal.errors]
        raise


def outs_open(match: Match) -> list[dict[str, Any]]:
    """What came out and has no fate yet, with the option that is built and with those that were built before it;
    ``key`` is (number of the option, place among its outs).
    """
    built = [option for option in match.options if option.get("was_built")]
    if match.built and match.state in (MatchState.TAKEN, MatchState.CLOSED):
        built.append(match.built)
    done = {(one["option"], one["row"]) for one in match.outs}
    rows = [{**row, "key": (option["number"], place)} for option in built for place, row in enumerate(option["out"])]
    return [row for row in rows if row["key"] not in done]


def _rows_of(match: Match, outs: Sequence[Out]) -> list[dict[str, Any]]:
    """The row that each out is of. Raises NotOut when one is of none that is left."""
    left, found = outs_open(match), []
    for place, out in enumerate(outs):
        off = {row["key"]: abs(row["thickness_nm"] - out.thickness.thickness_nm) for row in left}
        mine = [row for row in left if row["slot"] == out.slot and off[row["key"]] <= SHOWN_NM]
        if not mine:
            still = ", ".join(f"{row['slot']} {both(row['thickness_nm'], match.unit)}" for row in left)
            raise NotOut(
                f"{both(out.thickness.thickness_nm, match.unit)} of {out.slot!r} is not among what came out of match "
                f"{match.number} and has no fate yet; that is: {still or 'nothing'}.",
                [(f"/outs/{place}/thickness", "name a plate that came out and has no fate yet")],
            )
        found.append(min(mine, key=lambda row: off[row["key"]]))
        left.remove(found[-1])
    return found


def _ours(match: Match, rows: Sequence[dict[str, Any]]) -> dict[tuple[int, int], Plate]:
    """Which of these rows are plates that went into this pack from our stock, by the row's key; locked in the order of
    their ids. A thickness alone makes no plate ours: it may be another one. Nor does a plate that was put back by hand
    meanwhile and went into another pack come out of this one.
    """
    ids = {row["plate"]: row["key"] for row in rows if row.get("plate")}
    plates = Plate.objects.select_for_update(of=("self",)).filter(shop_id=match.shop_id, pk__in=ids)
    return {ids[str(plate.pk)]: plate for plate in plates.filter(state=State.TAKEN, match=match).order_by("pk")}


def _fate(
    person: Person,
    match: Match,
    out: Out,
    row: dict[str, Any],
    slot: Slot,
    known: KindsAndBins,
    ours: Plate | None,
) -> tuple[Plate | None, list[dict[str, str]]]:
    """The plate that this out is on record as, and what to know of it."""
    if out.gauge and out.reading is None:
        raise Malformed("A gauge goes with the readings taken with it.", [("/gauge", "give readings too")])
    if out.to_job and out.fate != "pack":
        raise Malformed(
            f"{out.to_job!r} is the job of another pack, and this plate goes {FATES[out.fate]}. Leave the job out, or "
            "send the plate into another pack.",
            [("/to_job", "goes with the fate pack only")],
        )
    if out.fate == "shelf":
        if out.reading is None and (row["at_book"] or row["unread_u_nm"]):
            raise ReadingsNeeded(
                f"{both(row['thickness_nm'], match.unit)} was never read, or nobody knows which of its like it is: "
                "read it before it lies on the shelf as so thick.",
                [("/readings", "read it")],
            )
        received = _to_shelf(person, match, out, row, slot, known, ours)
        return received.plates[0], received.warnings
    if out.fate == "scrap" and ours:
        return plate_scrap(person=person, plate_id=ours.pk, reason=f"came out with match {match.number}"), []
    return ours, []


def _serves(kind: Kind, slot: Slot) -> bool:
    return kind.role == slot.role and kind.fit_id in slot.fit_ids


def _to_shelf(
    person: Person,
    match: Match,
    out: Out,
    row: dict[str, Any],
    slot: Slot,
    known: KindsAndBins,
    ours: Plate | None,
) -> Received:
    """Ours goes back as itself, unread as it is on record; any other begins here, unread as the question has it."""
    if ours:
        return plate_put_back(
            person=person,
            plate_id=ours.pk,
            reading=out.reading,
            chosen_bin=out.bin,
            condition=out.condition,
            gauge=out.gauge,
            findings=out.findings,
            confirm=out.confirm,
            known=known,
        )
    if out.kind and not _serves(out.kind, slot):
        raise BadFigures(
            f"{out.kind.code} is no {slot.get_role_display()} of a fit that goes into {slot.name!r}.",
            [("/kind", "name a kind of this slot")],
        )
    reading, gauge = (out.reading, out.gauge) if out.reading else _as_asked(match, out, row)
    condition = out.condition or Condition.USED  # it ran
    kind = out.kind or kind_of(known, slot, reading.thickness_nm, condition)
    siblings = known.siblings(kind.fit_id, kind.role)
    return plate_receive(
        person=person,
        kind=kind,
        reading=reading,
        tags=Tags(condition=condition, source=f"out of match {match.number}", gauge=gauge, findings=out.findings),
        chosen_bin=out.bin,
        confirm=out.confirm or (condition == Condition.USED and used_may_be(kind, siblings, reading.thickness_nm)),
        for_match=match.pk,
        for_job=match.job_id,
        known=known,
    )


def _as_asked(match: Match, out: Out, row: dict[str, Any]) -> tuple[Reading, str]:
    """The plate as its gauge showed it when the pack was asked, to the nanometre, and that gauge; a zero error in force
    comes off again as it is booked. A gauge that is withdrawn by now is not named any more.
    """
    notes, withdrawn = gauge_for_plates(match.shop_id, row["gauge"])
    shown_nm = row["thickness_nm"] + (0 if withdrawn else notes.zero_nm)
    return Reading(out.thickness.texts, [shown_nm]), "" if withdrawn else row["gauge"]
