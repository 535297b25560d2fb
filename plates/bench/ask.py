"""Ask which plates close a pack. The search reads without locks; the short numbers are given out last of all."""

import uuid
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime
from functools import partial
from typing import Any, TypeVar

from django.db import connection
from django.db.models import QuerySet

from plates.bench.locks import TRIES, Moved, Run, busy, clock, givers_of, matches_lock, pause, plates_lock
from plates.bench.lying import lying_check
from plates.bench.models import Job, Match
from plates.bench.overrides import Override, overrides_check, overrides_signed
from plates.bench.question import Question, bench_strays, with_zero_taken_off
from plates.bench.reading import match_read
from plates.bench.selectors import run_out_holds
from plates.bench.short.missed import missed_ranges, missed_write
from plates.bench.take import count_check, take_plates, taken_say
from plates.catalogue.selectors import spec_faces
from plates.catalogue.spec_models import Spec
from plates.lengths import both
from plates.measuring.gauges import gauge_notes
from plates.stock.holds import holds_run_out
from shop.errors import Malformed, refusals
from shop.people.models import Person
from shop.people.services import number_next
from shop.rows import uuid7

R = TypeVar("R")


def match_ask(
    *,
    person: Person,
    spec: Spec,
    question: Question,
    run: Run[R],
    overrides: Sequence[Override] = (),
    job: str = "",
    counted: bool = False,
    take: bool = False,
    accept_marginal: bool = False,
    made_key: str | None = None,
    at: datetime | None = None,
) -> R:
    """Ask which plates close this pack; with ``take``, take the first sure option in the same breath.

    ``overrides``: rules that the person lifts for this pack; nothing else lifts one.

    Raises SuspectReading, WaveUnknown, Malformed; NotLiftable, Forbidden; CountFirst where a take needs a count; Busy.
    """
    question, notes = _checked(person, spec, question, overrides)
    for attempt in range(TRIES):
        with refusals():
            holds_run_out(shop_id=person.shop_id)
        match = match_new(person=person, spec=spec, counted=counted, made_key=made_key, job=_job_named(person, job))
        _answer(match, question, notes)
        option = _taken_unasked(match, accept_marginal) if take else None
        missed = missed_ranges(match)
        try:
            return run(partial(_ask, person, match, overrides, job, option, missed, at))
        except Moved:
            pause(attempt)
    raise busy()


def match_preview(
    *, person: Person, spec: Spec, question: Question, overrides: Sequence[Override] = (), job: str = ""
) -> Match:
    """What the shelf would answer now. Nothing is written: no match, no number, no miss, and no hold is let go.

    Raises what :func:`match_ask` raises before it writes.
    """
    question, notes = _checked(person, spec, question, overrides)
    match = match_new(person=person, spec=spec, counted=False, made_key=None, job=_job_named(person, job))
    _answer(match, question, notes, let_in=run_out_holds(person.shop_id))
    return match


def _checked(
    person: Person, spec: Spec, question: Question, overrides: Sequence[Override]
) -> tuple[Question, list[dict[str, str]]]:
    """The question as it is put to the shelf, and what is to be said of the gauges of its plates."""
    person.require("matches")
    overrides_check(person=person, spec=spec, question=question, overrides=overrides)
    question = replace(question, lifted=[one.rule for one in overrides])
    if strays := bench_strays(spec, question):
        raise Malformed(
            " ".join(dict.fromkeys(strays.values())), [(f"/bench/{name}", "takes no plate") for name in strays]
        )
    return plates_read(person, question)


def _answer(
    match: Match, question: Question, notes: list[dict[str, str]], let_in: Collection[uuid.UUID] = ()
) -> None:
    match_read(match, question, match.person.shop, let_in)
    match.cautions += notes


def match_new(*, person: Person, spec: Spec, counted: bool, made_key: str | None, job: Job | None = None) -> Match:
    """A match of this spec with its window as it is today; neither asked nor saved yet."""
    return Match(
        shop_id=person.shop_id,
        spec=spec,
        job=job,
        person=person,
        terminal=person.at_terminal,
        low_nm=spec.low_nm,
        high_nm=spec.high_nm,
        target_nm=spec.target_nm,
        source=spec.source,
        reference=spec.reference,
        unit=spec.unit,
        limit_low_nm=spec.limit_low_nm,
        limit_high_nm=spec.limit_high_nm,
        faces=spec_faces(list(spec.slots.all())),
        counted=counted,
        made_key=made_key,
    )


def plates_read(person: Person, question: Question) -> tuple[Question, list[dict[str, str]]]:
    """The question with the zero errors of its plates' gauges taken off, and what is to be said of these gauges."""
    codes = sorted({plate.gauge for plate in question.plates()} - {""})
    notes = [gauge_notes(person.shop_id, code, act="plate") for code in codes]
    zero_nm = {note.code: note.zero_nm for note in notes if note.zero_nm}
    said = [warning for note in notes for warning in note.warnings]
    for code, off_nm in zero_nm.items():
        side = "high" if off_nm > 0 else "low"
        text = f"Gauge {code} reads {both(abs(off_nm))} {side}: that was taken off the plates read with it."
        said.append({"code": "zero_taken_off", "text": text})
    return with_zero_taken_off(question, zero_nm) if zero_nm else question, said


def _taken_unasked(match: Match, accept_marginal: bool) -> dict[str, Any] | None:
    """What a take without a named option takes: the first sure one, else, where accepted, the first of all."""
    sure = [option for option in match.options if option["confidence"] == "sure"]
    wanted = sure or (match.options if accept_marginal else [])
    return wanted[0] if wanted else None


def _ask(
    person: Person,
    match: Match,
    overrides: Sequence[Override],
    job: str,
    option: dict[str, Any] | None,
    missed: list[dict[str, Any]] | None,
    at: datetime | None,
) -> Match:
    if option:
        count_check(match)
        givers = matches_lock(person=person, match_ids=givers_of([option]))
        lying_check(givers, match, option["in"])
        plates = plates_lock(match, option["in"]).wanted
    match.asked_at = clock(at)
    match.overrides = overrides_signed(person, overrides, match.asked_at)
    match.job = _job(person, job, match.asked_at) if job else None
    if option:
        taken_say(person, match, option, match.asked_at)
    # From here to the commit the next one to ask in this shop waits.
    match.number = number_next(shop_id=person.shop_id, name="match")
    match.save(force_insert=True)
    missed_write(match, missed, now=at is None)
    if option:
        take_plates(person, match, option, plates, givers, at)
    return match


def _job_named(person: Person, code: str) -> Job | None:
    """The job of this code; one that is not there yet is only written with the match."""
    return (_jobs(person, code).first() or Job(shop_id=person.shop_id, code=code)) if code else None


def _jobs(person: Person, code: str) -> QuerySet[Job]:
    return Job.objects.filter(shop_id=person.shop_id, code=code)


def _job(person: Person, code: str, opened_at: datetime) -> Job:
    if found := _jobs(person, code).first():
        return found
    number = number_next(shop_id=person.shop_id, name="job")
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO plates_job (id, shop_id, number, code, opened_at) VALUES (%s, %s, %s, %s, %s)"
            " ON CONFLICT (shop_id, code) DO NOTHING",
            [uuid7(), person.shop_id, number, code, opened_at],
        )
    return _jobs(person, code).get()
