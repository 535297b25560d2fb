"""The measurement after assembly: did it come out as predicted?

The search for what to do next is made before the match is locked; under the lock the match must be as it was seen.
"""

import copy
import math
import uuid
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from functools import partial
from typing import Any, TypeVar

from plates.bench.locks import TRIES, Moved, Run, as_seen, busy, clock, match_lock, match_seen, pause, state_check
from plates.bench.models import ROOM, FinalCheck, Match, MatchState
from plates.bench.pose import reading_parts_of
from plates.bench.question import Entry, PackReading, Question
from plates.bench.reading import match_read, read_pack, verdict_of
from plates.bench.release import slip_gone
from plates.bench.repeatability import method_u_nm
from plates.catalogue.selectors import stack_fetch
from plates.lengths import both
from plates.measuring.gauges import gauge_notes
from plates.measuring.uncertainty import combined_u_nm
from plates.stock.holds import holds_run_out
from plates.stock.models import Plate
from shop.errors import Refusal, WrongState, refusals
from shop.people.models import Person

R = TypeVar("R")


def match_final(
    *, person: Person, match_id: uuid.UUID, reading: PackReading, run: Run[R], at: datetime | None = None
) -> R:
    """The measurement after assembly, and residual = final - predicted. In the window the match is closed; outside it
    is open again with this reading and the stack as it now is. Raises WrongState, SuspectReading,
    GaugeWithdrawn, Busy.
    """
    person.require("matches")
    for attempt in range(TRIES):
        seen = match_seen(person=person, match_id=match_id)
        try:
            after, check = _checked(copy.copy(seen), person, reading, at)
        except Refusal as refusal:  # under its key, so that a twin of a check that is done gets its answer
            effect = partial(_refused, seen, person, refusal)
        else:
            effect = partial(_written, seen, person, after, check)
        try:
            return run(effect)
        except Moved:
            pause(attempt)
    raise busy()


def _refused(seen: Match, person: Person, refusal: Refusal) -> Match:
    raise refusal if as_seen(seen, match_lock(person=person, match_id=seen.pk)) else Moved


def _written(seen: Match, person: Person, after: Match, check: FinalCheck) -> Match:
    if not as_seen(seen, match_lock(person=person, match_id=seen.pk)):
        raise Moved
    after.save()
    check.match = after
    check.save(force_insert=True)
    return after


def built_of(match: Match) -> dict[str, Any]:
    """The option that stands in the pack: what was taken, or nothing changed. Raises WrongState."""
    if match.state == MatchState.TAKEN:
        assert match.built is not None
        return match.built
    state_check(match, [MatchState.OPEN], "checked; take its plates first, or")
    for option in match.standing:
        if option["changes"] == 0:
            return option
    raise WrongState(f"Match {match.number} has nothing built yet: take an option first.")


def _checked(match: Match, person: Person, reading: PackReading, at: datetime | None) -> tuple[Match, FinalCheck]:
    """The match as the reading leaves it, and the row of the check; nothing is saved."""
    if gone := slip_gone(match):
        raise WrongState(
            f"{len(gone)} of the plates on the slip of match {match.number} did not go in: {_gone_words(gone)}. "
            "Release the match, which lays the others back, and ask again with what is in the pack."
        )
    built = built_of(match)
    asked = Question.from_json(match.question)
    question = stack_after(asked, built, reading)
    stack_fetch(match.spec)
    measured = method_u_nm(match.shop_id, question.figures)
    as_read_nm, clearance_nm = read_pack(spec=match.spec, question=question, measured=measured)
    notes = gauge_notes(match.shop_id, reading.gauge, act=reading.method)
    shared = {} if notes.shared_u_nm is None else {reading.gauge: notes.shared_u_nm}
    check = FinalCheck(
        shop_id=match.shop_id,
        person=person,
        terminal=person.at_terminal,
        at=clock(at),
        method=reading.method,
        asked_method=ROOM if asked.room else match.method,
        gauge=reading.gauge,
        soaked=reading.soaked or asked.soaked,  # swell in either of the two is in the residual
        readings=reading.texts,
        as_read_nm=as_read_nm,
        clearance_nm=clearance_nm,
        predicted_nm=built["predicted_nm"],
        u_nm=built["u_nm"],
        u_reading_nm=combined_u_nm(reading_parts_of(match.spec, question, measured, shared)),
        u_moves_nm=math.sqrt(max(built["u_nm"] ** 2 - match.u_nm**2, 0.0)),
        residual_nm=clearance_nm - built["predicted_nm"],
        in_window=verdict_of(match, clearance_nm) == "in_window",
    )
    match.built, match.residual_nm = built, check.residual_nm
    if check.in_window:
        match.state, match.closed_at, match.held_until = MatchState.CLOSED, check.at, None
        match.cautions = [*match.cautions, *notes.warnings]
    else:
        match.state, match.held_until, match.option_taken, match.counted = MatchState.OPEN, None, None, False
        # What came out with it may still need its fate.
        left = [
            {**built, "was_built": True} if option["number"] == built["number"] else option for option in match.options
        ]
        match.options = [{**option, "past": True} for option in left]
        with refusals():
            holds_run_out(shop_id=person.shop_id)
        match_read(match, question, person.shop)
    return match, check


def _gone_words(gone: Sequence[Plate]) -> str:
    return ", ".join(f"{both(plate.thickness_nm)} is {plate.get_state_display()}" for plate in gone)


def stack_after(question: Question, built: dict[str, Any], reading: PackReading) -> Question:
    """The stack after the exchange, with its new reading."""
    installed = {name: list(entries) for name, entries in question.installed.items()}
    for row in sorted(built["out"], key=lambda row: -row["row"]):
        del installed[row["slot"]][row["row"]]
    bench = {name: list(rows) for name, rows in question.bench.items()}
    for row in built["in"]:
        out_of = row.get("out_of") or {"fit": "", "read_at": ""}
        entry = Entry(
            row["thickness_nm"],
            at_book=row.get("at_book", False),
            u_nm=row["u_nm"],
            gauge=row["gauge"],
            plate=row["plate"] or "",
            fit=out_of["fit"],
            read_at=out_of["read_at"],
        )
        installed.setdefault(row["slot"], []).append(entry)
        if row["plate"] is None and not row.get("out_of"):
            bench[row["slot"]] = _one_less(bench[row["slot"]], row["thickness_nm"])
    return replace(
        question,
        method=reading.method,
        texts=reading.texts,
        readings_nm=reading.readings_nm,
        installed=installed,
        bench=bench,
        left_out=[],
        room=False,
        second=None,
        gauge=reading.gauge,
        soaked=reading.soaked,
        wave_state=question.wave_state if reading.wave_state is None else reading.wave_state,
    )


def _one_less(rows: list[Any], thickness_nm: int) -> list[Any]:
    first = next(index for index, row in enumerate(rows) if row.thickness_nm == thickness_nm)
    left = replace(rows[first], count=rows[first].count - 1)
    return [*rows[:first], *([left] if left.count else []), *rows[first + 1 :]]
