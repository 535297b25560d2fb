"""Writes of the bench room: ask, take, hold, release, final check.

The search reads without locks. Whoever changes stock locks the match, then the plates in the order of their ids, and
compares each with the revision that the search saw; the short numbers come last. ``at`` is when it happened; None means
now, by the database's clock.
"""

import random
import time
import uuid
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, NamedTuple, TypeVar

from django.db import connection, transaction

from plates.bench.answer import figures, numbered, searched, shortfall_of
from plates.bench.cautions import of_gauge, of_reading, of_spec, raised
from plates.bench.models import Job, Match, MatchState
from plates.bench.question import Entry, Question, pose, wave_shift_nm, with_book_uncertainty
from plates.catalogue.models import Spec
from plates.catalogue.selectors import spec_faces
from plates.lengths import INCH, both, mean_nm
from plates.measuring.uncertainty import reading_u_nm
from plates.stock.holds import holds_run_out
from plates.stock.ledger import Change, ledger_write
from plates.stock.models import Act, State
from shop.errors import Busy, Malformed, NotFound, Refusal, WrongState, refusals
from shop.people.models import Person
from shop.people.services import number_next
from shop.rows import uuid7

R = TypeVar("R")
#: Carries out an effect in one transaction and renders it; :meth:`shop.once.Once.run` with its render bound.
Run = Callable[[Callable[[], Match]], R]

TRIES = 5
#: Readings of one pack may spread over this much, or a quarter of the window's width, whichever is more.
SPREAD_NM = INCH * 3 // 1000


class SuspectReading(Refusal):
    code, title = "suspect_reading", "These readings contradict each other"


class WaveUnknown(Refusal):
    code, title = "wave_unknown", "The wave plate's figures are missing"


class CountFirst(Refusal):
    code, title = "count_first", "Count the plates first"


class StockMoved(Refusal):
    """The plates of an option are gone; ``match`` carries the fresh options."""

    status, code, title = 409, "stock_moved", "These plates are no longer there"

    def __init__(self, detail: str, match: Match) -> None:
        super().__init__(detail)
        self.match = match


class Locked(NamedTuple):
    """Plates under lock, as (id, revision): those wanted, and those that the match holds beside them."""

    wanted: list[tuple[uuid.UUID, int]]
    others: list[tuple[uuid.UUID, int]]


class _Moved(Exception):
    """Under the locks, the plates were not as the search saw them."""

    def __init__(self, match: Match | None = None, option: dict[str, Any] | None = None) -> None:
        super().__init__()
        self.match, self.option = match, option


def read_pack(*, spec: Spec, question: Question) -> tuple[int, int]:
    """(as read, clearance in the window's convention), in nm. Raises SuspectReading, WaveUnknown."""
    spread_nm = max(question.readings_nm) - min(question.readings_nm)
    allowed_nm = max((spec.high_nm - spec.low_nm) // 4, SPREAD_NM)
    if spread_nm > allowed_nm:
        raise SuspectReading(
            f"The readings spread over {both(spread_nm)}, more than {both(allowed_nm)}. The stack may sit tilted: "
            "reseat it, read again, and give the new readings.",
            [("/readings", "reseat the stack and read again")],
        )
    differs = spec.reads_wave and question.wave_state and question.wave_state != spec.reads_wave
    free_nm = question.wave_free_nm or spec.wave_free_nm
    if differs and (free_nm is None or spec.wave_flat_nm is None or free_nm <= spec.wave_flat_nm):
        raise WaveUnknown(
            f"The window is written for the wave plate {spec.reads_wave}, the reading was taken with it "
            f"{question.wave_state}, and the wave's free height and flat thickness are not known. Read it "
            f"{spec.reads_wave}, or give the figures with the spec.",
            [("/wave_state", f"read it {spec.reads_wave}")],
        )
    as_read_nm = mean_nm(question.readings_nm)
    clearance_nm = as_read_nm + wave_shift_nm(spec, list(spec.slots.all()), question)
    if clearance_nm <= 0:
        raise Malformed(
            f"Translated to the wave plate {spec.reads_wave}, the clearance would be {both(clearance_nm)}: below zero. "
            "Check the reading and the wave's figures.",
            [("/readings", "does not go with this wave plate")],
        )
    return as_read_nm, clearance_nm


def _verdict(spec: Spec | Match, clearance_nm: int) -> str:
    if clearance_nm > spec.high_nm:
        return "high"
    return "low" if clearance_nm < spec.low_nm else "in_window"


def _search(match: Match, sure: float) -> tuple[list[dict[str, Any]], dict[str, Any] | None]:
    question = Question.from_json(match.question)
    posed = pose(spec=match.spec, question=question, clearance_nm=match.clearance_nm, sure=sure, held_by=match.pk)
    options, shortfall = searched(posed)
    if not match.spec.adjustable or match.spec.set_only:
        shortfall = None
    return options, shortfall_of(posed, shortfall) if shortfall else None


def _read(match: Match, question: Question, sure: float) -> None:
    """Everything that follows from a stack and its readings, into the match; nothing is saved."""
    spec = match.spec
    question = with_book_uncertainty(spec, list(spec.slots.all()), question)
    as_read_nm, clearance_nm = read_pack(spec=spec, question=question)
    slots = list(spec.slots.all())
    translated = clearance_nm != as_read_nm
    match.method, match.readings, match.question = question.method, question.texts, question.to_json()
    match.as_read_nm, match.clearance_nm = as_read_nm, clearance_nm
    match.u_nm = reading_u_nm(method=question.method, readings=len(question.readings_nm), translated=translated)
    match.verdict = _verdict(spec, clearance_nm)
    options, match.shortfall = _search(match, sure)
    match.options = [*match.options, *numbered(options, match.next_option)]
    match.next_option += len(options)
    match.cautions = [
        *of_spec(spec=spec, in_window=match.verdict == "in_window"),
        *of_reading(clearance_nm=clearance_nm, as_read_nm=as_read_nm, spec=spec, slots=slots, question=question),
        *of_gauge(spec=spec, question=question, translated=translated, sure=sure),
    ]


def match_ask(
    *,
    person: Person,
    spec: Spec,
    question: Question,
    run: Run[R],
    job: str = "",
    counted: bool = False,
    take: bool = False,
    accept_marginal: bool = False,
    made_key: str | None = None,
    at: datetime | None = None,
) -> R:
    """Ask which plates close this pack; with ``take``, take the first sure option in the same breath.

    Raises SuspectReading, WaveUnknown, Malformed; CountFirst where a take needs a count; Busy.
    """
    person.require("matches")
    for attempt in range(TRIES):
        holds_run_out(shop_id=person.shop_id)
        match = Match(
            shop_id=person.shop_id,
            spec=spec,
            person=person,
            low_nm=spec.low_nm,
            high_nm=spec.high_nm,
            target_nm=spec.target_nm,
            source=spec.source,
            reference=spec.reference,
            unit=spec.unit,
            faces=spec_faces(list(spec.slots.all())),
            counted=counted,
            made_key=made_key,
        )
        _read(match, question, person.shop.sure_level)
        option = _taken_unasked(match, accept_marginal) if take else None
        try:
            return run(lambda match=match, option=option: _ask(person, match, job, option, at))
        except _Moved:
            _pause(attempt)
    raise Busy("The shelf changes faster than it can be searched. Nothing was changed; ask again.")


def _taken_unasked(match: Match, accept_marginal: bool) -> dict[str, Any] | None:
    """What a take without a named option takes: the first sure one, else, where accepted, the first of all."""
    sure = [option for option in match.options if option["confidence"] == "sure"]
    wanted = sure or (match.options if accept_marginal else [])
    return wanted[0] if wanted else None


def _ask(person: Person, match: Match, job: str, option: dict[str, Any] | None, at: datetime | None) -> Match:
    if option:
        _count_check(match)
    plates = _lock_plates(match, option["in"]).wanted if option else []
    match.asked_at = _clock(at)
    match.job = _job(person, job, match.asked_at) if job else None
    match.number = number_next(shop_id=person.shop_id, name="match")
    match.save(force_insert=True)
    if option:
        _write_take(person, match, option, plates, at)
    return match


def _job(person: Person, code: str, opened_at: datetime) -> Job:
    found = Job.objects.filter(shop_id=person.shop_id, code=code).first()
    if found:
        return found
    number = number_next(shop_id=person.shop_id, name="job")
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO plates_job (id, shop_id, number, code, opened_at) VALUES (%s, %s, %s, %s, %s)"
            " ON CONFLICT (shop_id, code) DO NOTHING",
            [uuid7(), person.shop_id, number, code, opened_at],
        )
    return Job.objects.get(shop_id=person.shop_id, code=code)


def match_lock(*, person: Person, match_id: uuid.UUID) -> Match:
    """The match, locked; a hold that has run out counts as open. Raises NotFound."""
    match = (
        Match.objects.select_for_update(of=("self",))
        .select_related("spec", "job", "person", "shop")
        .filter(shop_id=person.shop_id, pk=match_id)
        .first()
    )
    if match is None:
        raise NotFound(f"Nothing here has the id {match_id}.")
    if match.state == MatchState.HELD and match.held_until and match.held_until <= _clock():
        match.state, match.held_until = MatchState.OPEN, None
    return match


def _clock(at: datetime | None = None) -> datetime:
    """The time given, else the database's: its clock decides over every terminal's."""
    if at is not None:
        return at
    with connection.cursor() as cursor:
        cursor.execute("SELECT now()")
        return cursor.fetchone()[0]


def _state_check(match: Match, allowed: Sequence[MatchState], wish: str) -> None:
    if match.state not in allowed:
        names = " or ".join(state.label for state in allowed)
        raise WrongState(f"Match {match.number} is {match.get_state_display()}; only an {names} one can be {wish}.")


def _option(match: Match, number: int) -> dict[str, Any]:
    for option in match.options:
        if option["number"] == number and not option.get("past"):
            return option
    shown = [str(option["number"]) for option in match.options if not option.get("past")]
    raise Malformed(
        f"Match {match.number} offers no option {number}; it offers {', '.join(shown) or 'none'}.",
        [("/option", "name an option that is offered")],
    )


def _count_check(match: Match) -> None:
    if raised(match.cautions, "count_first") and not match.counted:
        text = next(item["text"] for item in match.cautions if item["code"] == "count_first")
        raise CountFirst(
            f"{text} Ask or take again with counted when you have.", [("/counted", "count the plates, then send true")]
        )


def _lock_plates(match: Match, ins: Sequence[dict[str, Any]]) -> Locked:
    """Lock the plates, and what this match holds beside them, in the order of their ids.

    Raises :class:`_Moved` unless each plate is as the search saw it.
    """
    seen = {uuid.UUID(row["plate"]): row["revision"] for row in ins if row["plate"]}
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT id, revision, state = 'on_shelf' OR (state = 'held' AND (match_id = %(match)s OR held_until <= now()))"
            "  FROM plates_plate WHERE shop_id = %(shop)s"
            "   AND (id = ANY(%(ids)s) OR (match_id = %(match)s AND state = 'held')) ORDER BY id FOR UPDATE",
            {"match": match.pk, "shop": match.shop_id, "ids": list(seen)},
        )
        rows = cursor.fetchall()
    wanted = [(plate, revision) for plate, revision, free in rows if free and seen.get(plate) == revision]
    if len(wanted) < len(seen):
        raise _Moved
    return Locked(wanted, [(plate, revision) for plate, revision, _ in rows if plate not in seen])


def _free_held(person: Person, match: Match, held: Sequence[tuple[uuid.UUID, int]]) -> None:
    ledger_write(
        shop_id=person.shop_id,
        person_id=person.pk,
        act=Act.RELEASED,
        changes=[Change(plate=plate, revision=revision, state=State.ON_SHELF) for plate, revision in held],
        for_match=match.pk,
        for_job=match.job_id,
    )


def _write_take(
    person: Person, match: Match, option: dict[str, Any], plates: Sequence[tuple[uuid.UUID, int]], at: datetime | None
) -> None:
    changes = [
        Change(plate=plate, revision=revision, state=State.TAKEN, match=match.pk, job=match.job_id)
        for plate, revision in plates
    ]
    ledger_write(shop_id=person.shop_id, person_id=person.pk, act=Act.TAKEN, changes=changes, at=at)
    match.state, match.held_until = MatchState.TAKEN, None
    match.option_taken, match.taken_by = option["number"], person
    match.slip, match.taken_at = option["in"], _clock(at)
    match.save()


def match_take(
    *,
    person: Person,
    match_id: uuid.UUID,
    option: int,
    run: Run[R],
    counted: bool = False,
    at: datetime | None = None,
) -> R:
    """Take the plates of an option. Raises WrongState, CountFirst, StockMoved (with fresh options), Busy."""
    return _with_option(person, match_id, option, run, counted, _write_take, at)


def match_hold(
    *,
    person: Person,
    match_id: uuid.UUID,
    option: int,
    run: Run[R],
    counted: bool = False,
    at: datetime | None = None,
) -> R:
    """Hold the plates of an option for the shop's hold time. Raises as :func:`match_take`."""
    return _with_option(person, match_id, option, run, counted, _hold, at)


Effect = Callable[[Person, Match, dict[str, Any], Sequence[tuple[uuid.UUID, int]], datetime | None], None]


def _with_option(
    person: Person, match_id: uuid.UUID, number: int, run: Run[R], counted: bool, effect: Effect, at: datetime | None
) -> R:
    person.require("matches")
    stand_in: dict[str, Any] | None = None
    for attempt in range(TRIES):

        def act(stand_in: dict[str, Any] | None = stand_in) -> Match:
            match = match_lock(person=person, match_id=match_id)
            _state_check(match, [MatchState.OPEN, MatchState.HELD], "taken or held")
            option = _option(match, number)
            match.counted = match.counted or counted
            _count_check(match)
            if stand_in:
                option.update(stand_in)
            try:
                plates = _lock_plates(match, option["in"])
            except _Moved:
                raise _Moved(match, option) from None
            _free_held(person, match, plates.others)
            effect(person, match, option, plates.wanted, at)
            return match

        try:
            return run(act)
        except _Moved as moved:
            assert moved.match is not None and moved.option is not None
            holds_run_out(shop_id=person.shop_id)
            fresh, _ = _search(moved.match, person.shop.sure_level)
            wanted = figures(moved.option)
            stand_in = next((option for option in fresh if figures(option) == wanted), None)
            if stand_in is None:
                break
            _pause(attempt)
    raise _offer_fresh(person, match_id)


def _pause(attempt: int) -> None:
    time.sleep(random.uniform(0.002, 0.01) * (attempt + 1))  # noqa: S311 - jitter, not a secret


def _offer_fresh(person: Person, match_id: uuid.UUID) -> Refusal:
    """Store fresh options in a transaction of their own, and the refusal that shows them."""
    with refusals(), transaction.atomic():
        match = match_lock(person=person, match_id=match_id)
        _state_check(match, [MatchState.OPEN, MatchState.HELD], "taken or held")
        _refresh(match, person.shop.sure_level)
        match.save()
    return StockMoved(
        "Somebody took one of these plates in the meantime. Nothing was taken for this pack; fresh options are shown.",
        match,
    )


def _refresh(match: Match, sure: float) -> None:
    fresh, match.shortfall = _search(match, sure)
    match.options = [{**option, "past": True} for option in match.options] + numbered(fresh, match.next_option)
    match.next_option += len(fresh)


def _hold(
    person: Person, match: Match, option: dict[str, Any], plates: Sequence[tuple[uuid.UUID, int]], at: datetime | None
) -> None:
    if not plates:
        raise WrongState("This option takes nothing from the shelf: there is nothing to hold.")
    until = _clock(at) + timedelta(minutes=person.shop.hold_minutes)
    changes = [
        Change(plate=plate, revision=revision, state=State.HELD, match=match.pk, job=match.job_id, held_until=until)
        for plate, revision in plates
    ]
    ledger_write(shop_id=person.shop_id, person_id=person.pk, act=Act.HELD, changes=changes, at=at)
    revisions = {str(plate): revision + 1 for plate, revision in plates}
    for row in (row for offered in match.options for row in offered["in"]):
        row["revision"] = revisions.get(row["plate"], row["revision"])
    match.state, match.held_until = MatchState.HELD, until
    match.option_taken = option["number"]
    match.save()


def match_release(*, person: Person, match_id: uuid.UUID) -> Match:
    """Free what a match holds; it is open again with fresh options. Raises WrongState."""
    person.require("matches")
    match = match_lock(person=person, match_id=match_id)
    _state_check(match, [MatchState.HELD], "released")
    _free_held(person, match, _lock_plates(match, []).others)
    match.state, match.held_until, match.option_taken = MatchState.OPEN, None, None
    _refresh(match, person.shop.sure_level)
    match.save()
    return match


def match_final(
    *,
    person: Person,
    match_id: uuid.UUID,
    method: str,
    texts: list[str],
    readings_nm: list[int],
    at: datetime | None = None,
) -> Match:
    """The measurement after assembly, and residual = final - predicted. In the window the match is closed; outside it
    is open again with this reading and the stack as it now is. Raises WrongState, SuspectReading.
    """
    person.require("matches")
    match = match_lock(person=person, match_id=match_id)
    current = [option for option in match.options if not option.get("past")]
    if match.state == MatchState.TAKEN:
        built = _option(match, match.option_taken or 0)
    else:
        _state_check(match, [MatchState.OPEN], "checked; take its plates first, or")
        built = next((option for option in current if option["changes"] == 0), {})
        if not built:
            raise WrongState(f"Match {match.number} has nothing built yet: take an option first.")
    question = _after(Question.from_json(match.question), built, method, texts, readings_nm)
    _, clearance_nm = read_pack(spec=match.spec, question=question)
    match.residual_nm = clearance_nm - built["predicted_nm"]
    final = {
        "readings": texts,
        "method": method,
        "clearance_nm": clearance_nm,
        "predicted_nm": built["predicted_nm"],
        "u_nm": built["u_nm"],
        "residual_nm": match.residual_nm,
        "person": person.username,
        "at": _clock(at).isoformat(),
    }
    match.finals = [*match.finals, final]
    if _verdict(match, clearance_nm) == "in_window":
        match.state, match.closed_at = MatchState.CLOSED, _clock(at)
    else:
        match.state, match.option_taken, match.counted = MatchState.OPEN, None, False
        match.options = [{**option, "past": True} for option in match.options]
        _read(match, question, person.shop.sure_level)
    match.save()
    return match


def _after(
    question: Question, built: dict[str, Any], method: str, texts: list[str], readings_nm: list[int]
) -> Question:
    """The stack after the exchange, with its new readings."""
    installed = {name: list(entries) for name, entries in question.installed.items()}
    for row in sorted(built["out"], key=lambda row: -row["row"]):
        del installed[row["slot"]][row["row"]]
    bench = {name: list(rows) for name, rows in question.bench.items()}
    for row in built["in"]:
        installed.setdefault(row["slot"], []).append(Entry(row["thickness_nm"]))
        if row["plate"] is None:
            bench[row["slot"]] = _one_less(bench[row["slot"]], row["thickness_nm"])
    return replace(
        question, method=method, texts=texts, readings_nm=readings_nm, installed=installed, bench=bench, left_out=[]
    )


def _one_less(rows: list[Any], thickness_nm: int) -> list[Any]:
    first = next(index for index, row in enumerate(rows) if row.thickness_nm == thickness_nm)
    left = replace(rows[first], count=rows[first].count - 1)
    return [*rows[:first], *([left] if left.count else []), *rows[first + 1 :]]
