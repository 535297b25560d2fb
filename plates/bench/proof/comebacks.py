"""A closed pack that came back: reopened as a new match of its own, with how much of the change its wear explains."""

import math
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TypeVar

from plates.bench.ask import match_new
from plates.bench.cautions import caution
from plates.bench.final import stack_after
from plates.bench.locks import Run, clock, match_seen
from plates.bench.models import Match, MatchState
from plates.bench.proof.wear import Wear, Worn, read_u_nm
from plates.bench.question import BOOK_TOLERANCE_NM, Entry, PackReading, Question
from plates.bench.reading import match_read
from plates.bench.short.missed import missed_ranges, missed_write
from plates.catalogue.selectors import stack_fetch
from plates.catalogue.spec_models import Slot
from plates.measuring.uncertainty import rectangular_u_nm
from plates.stock.holds import holds_run_out
from plates.stock.models import Plate
from shop.errors import Malformed, WrongState, refusals
from shop.people.models import Person
from shop.people.services import number_next

R = TypeVar("R")
#: What options over a worn pack must not hide.
FIRST_WHY = (
    "This unit came back. Thicker plates over worn ones only hide what happened: find out why, renew what is worn, and "
    "read the pack again before you close it."
)


@dataclass(frozen=True)
class WornSlot:
    """What was read of one slot of a pack that came back: one thickness for all its plates, or each of them; ``was``
    None: as they went in.
    """

    now_nm: list[int]
    was_nm: list[int] | None = None


def match_comeback(
    *,
    person: Person,
    match_id: uuid.UUID,
    reading: PackReading,
    worn: Mapping[str, WornSlot],
    run: Run[R],
    counted: bool = False,
    made_key: str | None = None,
    at: datetime | None = None,
) -> R:
    """A new match of the same spec and job: the stack as it was built, worn plates in place of those that were named
    in the question, and the untouched reading. Its ``comeback`` says how much of the change the wear accounts for.

    Raises WrongState for a match that is not closed, Malformed, SuspectReading, WaveUnknown.
    """
    person.require("matches")
    closed = match_seen(person=person, match_id=match_id)
    if closed.state != MatchState.CLOSED:
        raise WrongState(f"Match {closed.number} is {closed.get_state_display()}; only a closed one can come back.")
    assert closed.built is not None
    spec = closed.spec
    stack_fetch(spec)
    slots = {slot.name: slot for slot in spec.slots.all()}
    built = _on_record(closed, stack_after(Question.from_json(closed.question), closed.built, reading))
    pairs = [_worn(slots, built, name, one) for name, one in worn.items()]
    installed = {
        name: [Entry(nm) for one in pairs if one.slot == name for nm in one.now_nm] or entries
        for name, entries in built.installed.items()
    }
    question = replace(built, installed=installed, bench={}, max_changes=None)
    with refusals():
        holds_run_out(shop_id=person.shop_id)
    match = match_new(person=person, spec=spec, counted=counted, made_key=made_key, job=closed.job)
    match_read(match, question, person.shop)
    # Its plates went in under the overrides of the closed match, and stay under them.
    match.comeback_of, match.overrides = closed, closed.overrides
    match.comeback = _explained(closed, match, pairs)
    match.cautions = [caution("comeback", FIRST_WHY), *match.cautions]
    missed = missed_ranges(match)

    def act() -> Match:
        match.asked_at = clock(at)
        match.number = number_next(shop_id=person.shop_id, name="match")
        match.save(force_insert=True)
        missed_write(match, missed, now=at is None)
        return match

    return run(act)


def _on_record(closed: Match, question: Question) -> Question:
    """The question with every plate of ours as thick as it is on record by now: it may have been corrected since."""
    ids = {entry.plate for entries in question.installed.values() for entry in entries if entry.plate}
    plates = Plate.objects.filter(shop_id=closed.shop_id, pk__in=ids)
    thickness_nm = {str(pk): nm for pk, nm in plates.values_list("pk", "thickness_nm")}
    installed = {
        name: [replace(entry, thickness_nm=thickness_nm.get(entry.plate, entry.thickness_nm)) for entry in entries]
        for name, entries in question.installed.items()
    }
    return replace(question, installed=installed)


def _worn(slots: Mapping[str, Slot], built: Question, name: str, one: WornSlot) -> Worn:
    """One slot's wear, every plate with its figure. Raises Malformed with a pointer."""
    at = f"/worn/{name}"
    if name not in slots:
        raise Malformed(f"The pack has no slot {name!r}; it has {', '.join(slots)}.", [(at, "there is no such slot")])
    entries, micrometer_nm = built.installed.get(name), built.figures.micrometer_nm
    count = len(entries) if entries is not None else slots[name].count
    if one.was_nm is not None:
        was_nm, was_u_nm = one.was_nm, read_u_nm(count, once=len(one.was_nm) == 1, micrometer_nm=micrometer_nm)
    else:
        if entries is None and slots[name].nominal_nm is None:
            raise Malformed(
                f"Nobody read {name!r} when the pack was built, and it has no book size: give what its plates were.",
                [(f"{at}/was", "give the thickness that they had")],
            )
        if entries is None:
            at_book = Entry(slots[name].nominal_nm or 0, at_book=True, u_nm=rectangular_u_nm(BOOK_TOLERANCE_NM))
            entries = [at_book] * count
        was_nm = [entry.thickness_nm for entry in entries]
        was_u_nm = math.hypot(*(_u_nm(entry, micrometer_nm) for entry in entries))

    def each(lengths_nm: Sequence[int], side: str) -> list[int]:
        if len(lengths_nm) not in (1, count):
            raise Malformed(
                f"{name!r} counts {count}, and {len(lengths_nm)} thicknesses are given: give one for all, or each.",
                [(f"{at}/{side}", f"give one thickness or {count}")],
            )
        return list(lengths_nm) if len(lengths_nm) == count else list(lengths_nm) * count

    if not count:
        raise Malformed(f"There is no plate in {name!r}.", [(at, "holds no plate")])
    was, now, once = each(was_nm, "was"), each(one.now_nm, "now"), len(one.now_nm) == 1
    return Worn(name, was, now, was_u_nm, read_once=once, micrometer_nm=micrometer_nm)


def _u_nm(entry: Entry, micrometer_nm: float) -> float:
    """u of a plate as it went in: of its book size where nobody read it, else of its micrometer and its lot."""
    return entry.u_nm if entry.at_book else math.hypot(micrometer_nm, entry.u_nm)


def _explained(closed: Match, match: Match, worn: Sequence[Worn]) -> dict[str, object]:
    last = list(closed.final_checks.all())[-1]
    wear = Wear(
        measures=closed.spec.measures,
        was_nm=last.clearance_nm,
        now_nm=match.clearance_nm,
        u_nm=(last.u_reading_nm, match.u_nm),
        worn=worn,
    )
    return {"of": closed.number, **wear.to_json(match.unit)}
