"""A gauge is found to read wrongly: its plates are corrected, and with them the predictions that hang on them.

Whatever went in with the error is thinner than was thought, whatever came out as well: five in with it and five out
with another gauge shift the prediction five times, one in and one out with the same gauge not at all. The matches are
locked first, then the plates. What only a search can say, fresh options, is searched after that, without a lock.
"""

import copy
import uuid
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import Any, TypeVar

from django.db import connection, transaction
from psycopg.types.json import Jsonb

from plates.bench.budget import figures_refresh
from plates.bench.cautions import built_again, caution
from plates.bench.locks import TRIES, Moved, as_seen, busy, match_lock, match_seen, pause
from plates.bench.lying import LIES
from plates.bench.models import Match, MatchState
from plates.bench.reading import match_refresh, search_again, verdict_of
from plates.lengths import both
from plates.measuring.models import GaugeCheck
from plates.stock.corrections import (
    Corrected,
    Errors,
    corrected_for,
    error_of,
    error_words,
    plates_correct,
    plates_read_wrongly,
)
from shop.errors import Busy, refusals
from shop.people.models import Person

R = TypeVar("R")
LIVE = (MatchState.OPEN, MatchState.HELD, MatchState.TAKEN)

# Matches that are not closed: with one of the plates among the options offered, or built in, or with plates that were
# read with the gauge while it was wrong and typed into the question, or came off a bench. And matches of any state of
# which such a plate lies on a bench.
_CONCERNED = """
SELECT id FROM plates_match m
 WHERE shop_id = %(shop)s AND (state = ANY(%(live)s) AND (
   id IN (SELECT match_id FROM plates_plate WHERE shop_id = %(shop)s AND id = ANY(%(plates)s) AND state = 'taken')
   OR (state <> 'taken' AND EXISTS (
     SELECT 1 FROM jsonb_path_query(options, '$[*] ? (!(@.past == true)).in[*].plate') p
      WHERE (p #>> '{}')::uuid = ANY(%(plates)s)))
   OR EXISTS (
     SELECT 1 FROM jsonb_path_query(question, '$.installed.*[*].plate') p WHERE p #>> '{}' = ANY(%(texts)s))
   OR (%(typed)s AND asked_at <= %(until)s AND (%(since)s::timestamptz IS NULL OR asked_at > %(since)s) AND (
     jsonb_path_exists(question, '$.*.*[*].gauge ? (@ == $gauge)', jsonb_build_object('gauge', %(gauge)s::text))))
   OR (%(typed)s AND (state = 'taken' AND slip @> %(came_off)s OR jsonb_path_exists(
     question, '$.installed.*[*] ? (@.gauge == $gauge && @.read_at != "")',
     jsonb_build_object('gauge', %(gauge)s::text))))
 ) OR (%(typed)s AND outs @> %(lies)s))
 ORDER BY id FOR NO KEY UPDATE
"""


@dataclass
class Done:
    """What was corrected, and the matches whose options or prediction follow."""

    plates: list[Corrected] = field(default_factory=list)
    matches: list[Match] = field(default_factory=list)


def gauge_correct(
    *,
    person: Person,
    check: GaugeCheck,
    plate_ids: Sequence[uuid.UUID] | None = None,
    run: Callable[[Callable[[], Done]], R],
) -> R:
    """Put right what was read with the error that this check found; all of it, or these plates. Done again, nothing
    happens. Raises NothingWrong, NotAffected, Malformed, Busy.
    """
    person.require("stock")
    errors = Errors.of(check)
    done = Done()
    for attempt in range(TRIES):
        done = Done()
        try:
            answer: R = run(partial(_correct, person, errors, plate_ids, done))
            break
        except Moved:
            pause(attempt)
    else:
        raise busy()
    for match in done.matches:
        if match.state != MatchState.TAKEN:
            with suppress(Busy):  # the correction is done; a take would find the plates changed by itself
                _search_afresh(person, match.pk)
    return answer


def _correct(person: Person, errors: Errors, plate_ids: Sequence[uuid.UUID] | None, done: Done) -> Done:
    _lock_checks(person, errors)
    pending = [check for check in errors.checks if not corrected_for(check)]
    matches = _lock_concerned(person, errors, bool(pending))
    done.plates = plates_correct(person=person, errors=errors, plate_ids=plate_ids)
    gone_into = {one.plate.match_id for one in done.plates if one.plate.match_id is not None}
    others = gone_into - {match.pk for match in matches}
    if Match.objects.filter(shop_id=person.shop_id, pk__in=others, state__in=LIVE).exists():
        raise Moved  # a plate went into a pack while we waited for it
    # What was typed into questions counts once for each check: with its first plates, or when no plate is left.
    begun, finished = {one.check.pk for one in done.plates}, not plates_read_wrongly(person.shop_id, errors).exists()
    typed = [check for check in pending if finished or check.pk in begun]
    shift = Shift(errors, typed, {str(one.plate.pk): one.error_nm for one in done.plates})
    done.matches = [match for match in matches if _follows(person, match, shift, done.plates)]
    return done


def _lock_checks(person: Person, errors: Errors) -> None:
    """The checks, locked first of all: whether they were corrected for is looked at by one after the other."""
    own = GaugeCheck.objects.select_for_update(no_key=True).filter(shop_id=person.shop_id)
    rows = own.filter(pk__in=[check.pk for check in errors.checks])
    corrected = dict(rows.order_by("pk").values_list("pk", "corrected_at"))
    for check in errors.checks:
        check.corrected_at = corrected[check.pk]


def _lock_concerned(person: Person, errors: Errors, typed: bool) -> list[Match]:
    plates = list(plates_read_wrongly(person.shop_id, errors).values_list("pk", flat=True))
    values: dict[str, Any] = {
        "shop": person.shop_id,
        "live": [str(state) for state in LIVE],
        "plates": plates,
        "texts": [str(plate) for plate in plates],
        "typed": typed,
        "since": errors.since,
        "until": errors.until,
        "gauge": errors.gauge,
        "came_off": Jsonb([{"gauge": errors.gauge, "plate": None}]),
        "lies": Jsonb([{**LIES, "gauge": errors.gauge, "plate": None}]),
    }
    with connection.cursor() as cursor:
        cursor.execute(_CONCERNED, values)
        ids = [row[0] for row in cursor.fetchall()]
    return list(
        Match.objects.filter(shop_id=person.shop_id, pk__in=ids)
        .select_related("spec", "job", "person", "shop")
        .order_by("number")
    )


@dataclass(frozen=True)
class Shift:
    """By how much too thick what was booked: plates by id, and what was typed into a question by its time."""

    errors: Errors
    typed: list[GaugeCheck]
    plates: dict[str, int]

    def typed_nm(self, match: Match, read_at: str) -> int:
        """Of what was typed when the match was asked, or read before that in another pack."""
        check = self.errors.check_at(datetime.fromisoformat(read_at) if read_at else match.asked_at)
        return error_of(check) if check is not None and check in self.typed else 0

    def row_nm(self, match: Match, row: dict[str, Any]) -> int:
        """Of a row that goes in: a plate of the stock, else one that lies on the bench."""
        if row["plate"]:
            return self.plates.get(row["plate"], 0)
        read_at = (row.get("out_of") or {"read_at": ""})["read_at"]
        return self.typed_nm(match, read_at) if row.get("gauge") == self.errors.gauge else 0

    def entries_nm(self, match: Match) -> dict[tuple[str, int], int]:
        """Of each plate in the question, by slot and row, where it is wrong: one of ours by its id, else what was typed
        with this gauge.
        """
        found = {
            (slot, row): self.plates.get(entry["plate"], 0)
            if entry.get("plate")
            else self.typed_nm(match, entry.get("read_at", ""))
            if entry["gauge"] == self.errors.gauge
            else 0
            for slot, entries in match.question["installed"].items()
            for row, entry in enumerate(entries)
        }
        return {place: error_nm for place, error_nm in found.items() if error_nm}


def _follows(person: Person, match: Match, shift: Shift, corrected: Sequence[Corrected]) -> bool:
    """Put right what follows for this match; whether anything that a person sees of it does."""
    for one in match.outs:
        if one.get("gauge") == shift.errors.gauge and not one["plate"]:
            one["thickness_nm"] -= shift.typed_nm(match, one["read_at"])
    if match.state not in LIVE:
        match.save(update_fields=["outs"])
        return False
    entries_nm = shift.entries_nm(match)
    if match.question.get("room"):  # what stays in an empty drum is thinner than was thought
        match.clearance_nm += sum(entries_nm.values())
        match.verdict = verdict_of(match, match.clearance_nm)
    by_nm = _built_shifted(match, shift, entries_nm, person.shop.sure_level) if match.state == MatchState.TAKEN else 0
    _question_shifted(match, shift, entries_nm)
    offered = {row["plate"] for option in match.standing for row in option["in"]}
    touched = bool(entries_nm) or not offered.isdisjoint(shift.plates)
    if match.state == MatchState.TAKEN:
        touched = by_nm != 0
    if touched:
        match.cautions = [*match.cautions, caution("corrected", _words(match, shift, by_nm))]
        if match.state == MatchState.TAKEN:
            built_again(match)
    match.save()
    return touched


def _built_shifted(match: Match, shift: Shift, entries_nm: dict[tuple[str, int], int], sure: float) -> int:
    """The prediction of what was built, from the thicknesses as they really are; by how much it moved."""
    assert match.built is not None
    built = copy.deepcopy(match.built)
    too_much_nm = sum(entries_nm.values()) if match.question.get("room") else 0
    for row in built["in"]:
        error_nm = shift.row_nm(match, row)
        row["thickness_nm"] -= error_nm
        too_much_nm += error_nm
    for row in built["out"]:
        error_nm = entries_nm.get((row["slot"], row["row"]), 0)
        row["thickness_nm"] -= error_nm
        too_much_nm -= error_nm
    by_nm = too_much_nm if match.spec.measures == "gap" else -too_much_nm
    built["predicted_nm"] += by_nm
    built["up_to_nm"] += by_nm
    figures_refresh(built, measures=match.spec.measures, low_nm=match.low_nm, high_nm=match.high_nm, sure=sure)
    match.built, match.slip = built, built["in"]
    match.options = [built if one["number"] == built["number"] else one for one in match.options]
    return by_nm


def _question_shifted(match: Match, shift: Shift, entries_nm: dict[tuple[str, int], int]) -> None:
    question = copy.deepcopy(match.question)
    for (slot, row), error_nm in entries_nm.items():
        question["installed"][slot][row]["thickness_nm"] -= error_nm
    for rows in question["bench"].values():
        for loose in rows:
            if loose.get("gauge") == shift.errors.gauge:
                loose["thickness_nm"] -= shift.typed_nm(match, "")
    match.question = question


def _words(match: Match, shift: Shift, by_nm: int) -> str:
    said = f"Gauge {shift.errors.gauge} was found {error_words(shift.errors.checks[-1])}: "
    if match.state != MatchState.TAKEN:
        return said + "plates that were read with it are corrected, and the options are fresh."
    assert match.built is not None
    predicted_nm = match.built["predicted_nm"]
    said += f"{both(abs(by_nm))} {'more' if by_nm > 0 else 'less'} is predicted than before, {both(predicted_nm)}."
    if not match.low_nm <= predicted_nm <= match.high_nm:
        return said + " That is outside the window: measure the pack before it goes out."
    return said


def _search_afresh(person: Person, match_id: uuid.UUID) -> None:
    """Fresh options for a match that is still open. The stock is right already: should this not come to pass, a take
    finds the plates changed and offers fresh options by itself.
    """
    for attempt in range(TRIES):
        seen = match_seen(person=person, match_id=match_id)
        found = search_again(seen, person.shop.sure_level)
        with refusals(), transaction.atomic():
            match = match_lock(person=person, match_id=match_id)
            if match.state not in (MatchState.OPEN, MatchState.HELD):
                return
            if as_seen(seen, match):
                held = _plates_of(match, match.option_taken)
                match_refresh(match, found)
                if match.state == MatchState.HELD:
                    same = (option["number"] for option in match.standing if _names(option) == held)
                    match.option_taken = next(same, match.option_taken)
                match.save()
                return
        pause(attempt)
    raise busy()


def _names(option: dict[str, Any]) -> set[str]:
    return {row["plate"] for row in option["in"]}


def _plates_of(match: Match, number: int | None) -> set[str]:
    return next((_names(option) for option in match.options if option["number"] == number), set())
