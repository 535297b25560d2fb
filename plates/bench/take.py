"""Take and hold the plates of an option.

The search reads without locks. Whoever changes stock locks the match with those that give it plates off their benches,
then the plates, each in the order of their ids, and compares them with what the search saw. ``at`` is when it happened;
None means now, by the database's clock.
"""

import uuid
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any, TypeVar

from django.db import transaction

from plates.bench.cautions import raised
from plates.bench.locks import (
    TRIES,
    Givers,
    Moved,
    Run,
    as_seen,
    busy,
    clock,
    givers_of,
    givers_stored,
    match_lock,
    match_seen,
    pause,
    plates_lock,
    state_check,
    taker_lock,
)
from plates.bench.lying import lying_check, lying_mark
from plates.bench.models import Match, MatchState
from plates.bench.options import figures
from plates.bench.overrides import lifted_words
from plates.bench.reading import match_refresh, search_again
from plates.stock.holds import holds_run_out
from plates.stock.ledger import Change, ledger_write
from plates.stock.ledger_models import Act
from plates.stock.models import State
from shop.errors import Malformed, Refusal, WrongState, refusals
from shop.people.models import Person

R = TypeVar("R")


class CountFirst(Refusal):
    code, title = "count_first", "Count the plates first"


class StockMoved(Refusal):
    """The plates of an option are gone; ``match`` carries the fresh options."""

    status, code, title = 409, "stock_moved", "These plates are no longer there"

    def __init__(self, detail: str, match: Match) -> None:
        super().__init__(detail)
        self.match = match


def option_named(match: Match, number: int) -> dict[str, Any]:
    """The option offered under this number. Raises StockMoved for one that was offered before, Malformed for none."""
    for option in match.options:
        if option["number"] == number:
            if option.get("past"):
                raise StockMoved(f"Option {number} is of an earlier look at the shelf; fresh options are shown.", match)
            return option
    shown = [str(option["number"]) for option in match.standing]
    raise Malformed(
        f"Match {match.number} offers no option {number}; it offers {', '.join(shown) or 'none'}.",
        [("/option", "name an option that is offered")],
    )


def count_check(match: Match) -> None:
    if raised(match.cautions, "count_first") and not match.counted:
        text = next(item["text"] for item in match.cautions if item["code"] == "count_first")
        raise CountFirst(
            f"{text} Once you have, say so and ask or take again.", [("/counted", "count the plates, then send true")]
        )


def held_rows(match: Match) -> list[dict[str, Any]]:
    """What goes in with the option that the match holds; nothing where it holds none."""
    return [row for option in match.options if option["number"] == match.option_held for row in option["in"]]


def free_held(person: Person, match: Match, held: Sequence[tuple[uuid.UUID, int]]) -> None:
    ledger_write(
        person=person,
        act=Act.RELEASED,
        changes=[Change(plate=plate, revision=revision, state=State.ON_SHELF) for plate, revision in held],
        for_match=match.pk,
        for_job=match.job_id,
    )


def _write_out(
    person: Person,
    match: Match,
    plates: Sequence[tuple[uuid.UUID, int]],
    act: Act,
    state: State,
    at: datetime | None,
    held_until: datetime | None = None,
) -> None:
    """The plates leave for this match, each with what was lifted for it on its ledger line."""
    changes = [
        Change(plate=plate, revision=revision, state=state, match=match.pk, job=match.job_id, held_until=held_until)
        for plate, revision in plates
    ]
    ledger_write(person=person, act=act, changes=changes, reason=lifted_words(match), at=at)


def write_take(
    person: Person,
    match: Match,
    option: dict[str, Any],
    plates: Sequence[tuple[uuid.UUID, int]],
    givers: Givers,
    at: datetime | None,
) -> None:
    """The plates leave for the match, which says so from now on; it is for the caller to save."""
    take_plates(person, match, option, plates, givers, at)
    taken_say(person, match, option, clock(at))


def take_plates(
    person: Person,
    match: Match,
    option: dict[str, Any],
    plates: Sequence[tuple[uuid.UUID, int]],
    givers: Givers,
    at: datetime | None,
) -> None:
    """The plates leave for the match."""
    lying_mark(givers, option["in"], used_by=match.number)
    _write_out(person, match, plates, Act.TAKEN, State.TAKEN, at)


def taken_say(person: Person, match: Match, option: dict[str, Any], at: datetime) -> None:
    """The match says that its plates left; nothing is saved."""
    match.state, match.held_until = MatchState.TAKEN, None
    match.option_taken, match.taken_by, match.taken_terminal = option["number"], person, person.at_terminal
    match.built, match.slip, match.taken_at = option, option["in"], at


#: Said when the plates of an option are gone.
MOVED = "Somebody took one of these plates in the meantime. Nothing was taken for this pack; fresh options are shown."


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
    return _with_option(person, match_id, option, run, counted, write_take, at)


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


#: What taking or holding an option changes of its match; the rest of a wide row is left alone.
CHANGED = (
    "state", "held_until", "options", "option_taken", "built", "slip", "counted",
    "taken_at", "taken_by", "taken_terminal",
)  # fmt: skip

Effect = Callable[[Person, Match, dict[str, Any], Sequence[tuple[uuid.UUID, int]], Givers, datetime | None], None]


def _with_option(
    person: Person, match_id: uuid.UUID, number: int, run: Run[R], counted: bool, effect: Effect, at: datetime | None
) -> R:
    person.require("matches")
    stand_in: dict[str, Any] | None = None
    for attempt in range(TRIES):

        def act(stand_in: dict[str, Any] | None = stand_in) -> Match:
            giving = givers_stored(person=person, match_id=match_id) | givers_of([stand_in] if stand_in else [])
            match, givers = taker_lock(person=person, match_id=match_id, givers=giving)
            state_check(match, [MatchState.OPEN, MatchState.HELD], "taken or held")
            option = option_named(match, number)
            match.counted = match.counted or counted
            count_check(match)
            held = held_rows(match)
            if stand_in:
                option.update(stand_in)
            try:
                lying_check(givers, match, option["in"])
                plates = plates_lock(match, option["in"])
            except Moved:
                raise Moved(match, option) from None
            lying_mark(givers, held)
            free_held(person, match, plates.others)
            effect(person, match, option, plates.wanted, givers, at)
            match.save(update_fields=CHANGED)
            return match

        try:
            return run(act)
        except Moved as moved:
            assert moved.match is not None and moved.option is not None
            with refusals():
                holds_run_out(shop_id=person.shop_id)
            fresh = search_again(moved.match, person.shop.sure_level).options
            wanted = figures(moved.option)
            stand_in = next((option for option in fresh if figures(option) == wanted), None)
            if stand_in is None:
                break
            pause(attempt)
    raise _offer_fresh(person, match_id)


def _offer_fresh(person: Person, match_id: uuid.UUID) -> Refusal:
    """Search without a lock, store fresh options in a transaction of their own; the refusal that shows them."""
    for attempt in range(TRIES):
        seen = match_seen(person=person, match_id=match_id)
        found = search_again(seen, person.shop.sure_level)
        with refusals(), transaction.atomic():
            match = match_lock(person=person, match_id=match_id)
            state_check(match, [MatchState.OPEN, MatchState.HELD], "taken or held")
            if as_seen(seen, match):
                match_refresh(match, found)
                match.save()
                return StockMoved(MOVED, match)
        pause(attempt)
    return busy()


def _hold(
    person: Person,
    match: Match,
    option: dict[str, Any],
    plates: Sequence[tuple[uuid.UUID, int]],
    givers: Givers,
    at: datetime | None,
) -> None:
    off_bench = {row["plate"] for row in option["in"] if row.get("out_of")}
    plates = [(plate, revision) for plate, revision in plates if str(plate) not in off_bench]
    if not plates and not off_bench:
        raise WrongState(
            "This option takes nothing from the shelf nor out of another pack: there is nothing to hold."
        )
    until = clock(at) + timedelta(minutes=person.shop.hold_minutes)
    lying_mark(givers, option["in"], held_by=match.number, until=until)
    _write_out(person, match, plates, Act.HELD, State.HELD, at, until)
    revisions = {str(plate): revision + 1 for plate, revision in plates}
    for row in (row for offered in match.options for row in offered["in"]):
        row["revision"] = revisions.get(row["plate"], row["revision"])
    match.state, match.held_until = MatchState.HELD, until
    match.option_taken = option["number"]
