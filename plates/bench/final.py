"""The measurement after assembly: did it come out as predicted?"""

import uuid
from dataclasses import replace
from datetime import datetime
from typing import Any

from plates.bench.locks import clock, match_lock, state_check
from plates.bench.models import Match, MatchState
from plates.bench.question import Entry, Question
from plates.bench.reading import match_read, read_pack, verdict_of
from plates.bench.services import option_named
from shop.errors import WrongState
from shop.people.models import Person


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
        built = option_named(match, match.option_taken or 0)
    else:
        state_check(match, [MatchState.OPEN], "checked; take its plates first, or")
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
        "at": clock(at).isoformat(),
    }
    match.finals = [*match.finals, final]
    if verdict_of(match, clearance_nm) == "in_window":
        match.state, match.closed_at = MatchState.CLOSED, clock(at)
    else:
        match.state, match.option_taken, match.counted = MatchState.OPEN, None, False
        match.options = [{**option, "past": True} for option in match.options]
        match_read(match, question, person.shop.sure_level)
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
        installed.setdefault(row["slot"], []).append(Entry(row["thickness_nm"], u_nm=row.get("u_nm", 0.0)))
        if row["plate"] is None:
            bench[row["slot"]] = _one_less(bench[row["slot"]], row["thickness_nm"])
    return replace(
        question, method=method, texts=texts, readings_nm=readings_nm, installed=installed, bench=bench, left_out=[]
    )


def _one_less(rows: list[Any], thickness_nm: int) -> list[Any]:
    first = next(index for index, row in enumerate(rows) if row.thickness_nm == thickness_nm)
    left = replace(rows[first], count=rows[first].count - 1)
    return [*rows[:first], *([left] if left.count else []), *rows[first + 1 :]]
