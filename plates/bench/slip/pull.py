"""The pull check: a plate is read as it leaves its bin, and its reading decides which plate it was.

:mod:`plates.bench.slip.agreement` has the rule. Where a reading agrees with no plate that it can be, nothing happens
until the person says what is in the hand: ``keep`` (it goes in as read, and its record is put right) or ``rematch`` (it
goes into the bin that spans it, and the pack is asked again with what is really there).
"""

import uuid
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any, TypeVar

from django.db import transaction

from plates.bench.locks import (
    TRIES,
    Moved,
    Run,
    as_seen,
    busy,
    givers_of,
    match_lock,
    match_seen,
    matches_lock,
    pause,
    state_check,
    taker_lock,
)
from plates.bench.models import Match, MatchState
from plates.bench.reading import Found, search_again
from plates.bench.slip.agreement import named_rows, plate_that_left
from plates.bench.slip.pull_acts import Read, plate_goes_on, plates_go_back
from plates.bench.slip.rebuilt import rebuilt, unbuilt
from plates.lengths import both, half_even, length_json
from plates.measuring.gauges import gauge_notes
from plates.stock.booking import Booking
from plates.stock.findings import Findings, Reading, agreement_check
from plates.stock.holds import holds_run_out
from plates.stock.models import Plate, State
from plates.stock.plausible import Implausible, thickness_check
from shop.errors import Malformed, Refusal, WrongState, refusals
from shop.people.models import Person

R = TypeVar("R")
#: Where a plate would lie is no word for one that goes into a pack.
OF_BINS = ("no_bin", "outside_bin")


class PullMismatch(Refusal):
    """What was read is none of the plates that may have left; ``match`` is the match as it stands, ``more`` the
    reading, the nearest on record and the ways out.
    """

    status, code, title = 409, "pull_mismatch", "This is not the plate of the slip"

    def __init__(self, detail: str, match: Match, **more: Any) -> None:
        super().__init__(detail, [("/readings", "read it again, or say what it is")], **more)
        self.match = match


@dataclass(frozen=True)
class Pull:
    """One plate of the slip, read at its bin. ``then``: what to do when it is none that it can be: ``keep``,
    ``rematch`` or nothing. ``agreed``: the reading is right, though no plate of its kind can be so thick;
    ``agreed_by``: the second person, where the shop wants one before the record of an old plate is changed.
    """

    plate: uuid.UUID
    reading: Reading
    gauge: str = ""
    then: str = ""
    agreed: bool = False
    agreed_by: str = ""


@dataclass(frozen=True)
class _Ahead:
    """What the shelf answers once the plates lie there again, and what that was worked out from."""

    seen: Match
    revisions: dict[uuid.UUID, int]
    found: Found


def match_pull(*, person: Person, match_id: uuid.UUID, pull: Pull, run: Run[R], at: datetime | None = None) -> R:
    """Read a plate of the slip. The match then carries ``warnings`` of the reading, and with a rematch ``laid``, the
    plate that was put away.

    Raises PullMismatch, WrongState, Malformed (not on the slip), Implausible, GaugeWithdrawn, SecondPerson, Busy.
    """
    person.require("matches")
    for attempt in range(TRIES):
        with refusals():
            holds_run_out(shop_id=person.shop_id)
            ahead = _look_ahead(person, match_id, pull, at) if pull.then == "rematch" else None
        try:
            return run(partial(_pulled, person, match_id, pull, ahead, at))
        except Moved:
            pause(attempt)
    raise busy()


def _look_ahead(person: Person, match_id: uuid.UUID, pull: Pull, at: datetime | None) -> _Ahead | None:
    """Put the plates back, search, and undo that: the answer is there before the match is locked. The plates are locked
    meanwhile: this match's own, and the one in the hand, which may be another of its bin. What refuses is told under
    the key, so that a twin gets its answer.
    """
    with transaction.atomic():
        try:
            seen = match_seen(person=person, match_id=match_id)
            read, back = _read(person, seen, pull)[:2]
            givers = matches_lock(person=person, match_ids=givers_of(seen.options))
            revisions = plates_go_back(seen, read, givers, at) if back else {}
            return _Ahead(seen, revisions, search_again(seen, person.shop.sure_level)) if back else None
        except (Refusal, Moved):
            return None
        finally:
            transaction.set_rollback(True)


def _pulled(person: Person, match_id: uuid.UUID, pull: Pull, ahead: _Ahead | None, at: datetime | None) -> Match:
    if ahead:
        match, givers = taker_lock(person=person, match_id=match_id, givers=givers_of(ahead.seen.options))
    else:
        match, givers = match_lock(person=person, match_id=match_id), {}
    read, back, booking = _read(person, match, pull)
    warnings = read.verdict.warnings
    if back:
        revisions = plates_go_back(match, read, givers, at)
        if ahead is None or not as_seen(ahead.seen, match) or revisions != ahead.revisions:
            raise Moved
        unbuilt(match, ahead.found)
        match.laid = read  # type: ignore[attr-defined]
    else:
        row = plate_goes_on(match, read, at)
        replaced = str(read.plate.pk if read.plate.pk in named_rows(match) else read.named.pk)
        rebuilt(match, replaced, row, booking.gauge.shared_u_nm, person.shop.sure_level)
        warnings = [one for one in warnings if one["code"] not in OF_BINS]
    match.save()
    match.warnings = [*booking.notes, *warnings]  # type: ignore[attr-defined]
    return match


def _read(person: Person, match: Match, pull: Pull) -> tuple[Read, bool, Booking]:
    """Which plate it was, whether it goes back, and how it is booked. Nothing is changed, no plate locked."""
    state_check(match, [MatchState.TAKEN], "read at the bin")
    named = _named(match, pull.plate)
    gauge = gauge_notes(person.shop_id, pull.gauge, act="plate")
    reading = pull.reading.less(gauge.zero_nm)
    nearest = plate_that_left(match, named, reading.thickness_nm)
    agrees = nearest.agrees
    plate = nearest if agrees else named  # whose record the reading changes, so its condition is judged
    booking = Booking(
        kind=named.kind, condition=plate.condition, gauge=gauge, findings=Findings(), confirm=pull.agreed
    )
    verdict = booking.verdict(reading.thickness_nm, reading.spread_nm)
    must_not = verdict.state == State.QUARANTINED
    back = pull.then == "rematch" and (must_not or not agrees)
    if must_not and not back:
        raise _mismatch(match, nearest, reading, _aside(verdict.reason), ["read_again", "next_one", "rematch"])
    if not agrees and not pull.then:
        ways = ["read_again", "next_one", "keep", "rematch"]
        raise _mismatch(match, nearest, reading, _none_of_them(booking, nearest, reading), ways)
    if not agrees:
        booking.read(pull.reading)
    if back or not agrees or pull.agreed_by:
        agreement_check(person=person, condition=plate.condition, agreed_by=pull.agreed_by)
    return Read(person, named, plate, agrees, reading, pull.gauge, pull.agreed_by, verdict), back, booking


def _named(match: Match, plate_id: uuid.UUID) -> Plate:
    rows = named_rows(match)
    if plate_id not in rows:
        names = ", ".join(str(plate) for plate in rows) or "none"
        raise Malformed(
            f"The slip of match {match.number} names no plate {plate_id}; it names {names}.",
            [("/plate", "name a plate of the slip")],
        )
    plate = Plate.objects.select_related("kind__fit", "bin").get(shop_id=match.shop_id, pk=plate_id)
    if plate.state != State.TAKEN or plate.match_id != match.pk:
        raise WrongState(
            f"This plate is {plate.get_state_display()}, no longer taken for match {match.number}. Look at its page "
            "for what happened to it."
        )
    return plate


def _aside(reason: str) -> str:
    return (
        f"This plate must not go in. {reason} Read it again, or take another. If it is so, lay it where it belongs "
        "(rematch): it is quarantined, and the pack is asked again."
    )


def _none_of_them(booking: Booking, plate: Any, reading: Reading) -> str:
    where = f"bin {plate.bin.code}" if plate.bin else "the unsorted plates"
    text = (
        f"{both(reading.thickness_nm)} is none of the plates that may have left {where}: the nearest on record is "
        f"{both(plate.thickness_nm)}, and two readings of one plate agree within {both(half_even(plate.within_nm))}. "
        "Read it again; or take the one next to it and read that; or say that this is it (keep: it goes in as it is "
        "read, and its record is put right); or lay it where it belongs (rematch: into the bin for its size, and the "
        "pack is asked again)."
    )
    try:
        thickness_check(booking.kind, reading.texts, reading.thickness_nm, row=booking.row)
    except Implausible as odd:
        would_be = odd.more["would_be"] or {"plausible": False}
        if would_be["plausible"]:
            text = f"Read as {would_be['unit']} it would be {both(would_be['thickness']['nm'])}. {text}"
    return text


def _mismatch(match: Match, plate: Any, reading: Reading, text: str, ways: list[str]) -> PullMismatch:
    nearest = {
        "plate": str(plate.pk),
        "kind": plate.kind.code,
        "bin": plate.bin.code if plate.bin else None,
        "thickness": length_json(plate.thickness_nm),
        "on_slip": plate.pk in named_rows(match),
    }
    return PullMismatch(
        text,
        match,
        reading=length_json(reading.thickness_nm),
        within=length_json(half_even(plate.within_nm)),
        nearest=nearest,
        ways=ways,
    )
