"""The locks of the bench: the match first, then its plates in the order of their ids.

After the match is locked its state is checked before anything else, so one question is never taken twice.
"""

import random
import time
import uuid
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any, NamedTuple, TypeVar

from django.db import connection
from django.db.models import QuerySet

from plates.bench.models import Match, MatchState
from shop.errors import Busy, NotFound, WrongState
from shop.people.models import Person

R = TypeVar("R")
#: Carries out an effect in one transaction and renders it; :meth:`shop.once.Once.run` with its render bound.
Run = Callable[[Callable[[], Match]], R]

TRIES = 5


def busy() -> Busy:
    return Busy("The shelf changes faster than it can be searched. Nothing was changed; ask again.")


def pause(attempt: int) -> None:
    """A moment with jitter before the next try."""
    time.sleep(random.uniform(0.002, 0.01) * (attempt + 1))  # noqa: S311 - jitter, not a secret


class Locked(NamedTuple):
    """Plates under lock, as (id, revision): those wanted, and those that the match holds beside them."""

    wanted: list[tuple[uuid.UUID, int]]
    others: list[tuple[uuid.UUID, int]]


class Moved(Exception):
    """Under the locks, the plates were not as the search saw them."""

    def __init__(self, match: Match | None = None, option: dict[str, Any] | None = None) -> None:
        super().__init__()
        self.match, self.option = match, option


def match_seen(*, person: Person, match_id: uuid.UUID) -> Match:
    """The match as it stands, without a lock, to search with; a hold that has run out counts as open. Raises NotFound.

    What is worked out from it is written only if the match is still :func:`as_seen` under its lock.
    """
    return _current(Match.objects.all(), person, match_id)


def as_seen(seen: Match, locked: Match) -> bool:
    """Whether nothing that an answer hangs on has changed since the match was seen."""
    names = ("state", "option_taken", "next_option", "clearance_nm", "built", "question", "counted", "outs", "cautions")
    return all(getattr(seen, name) == getattr(locked, name) for name in names)


def match_lock(*, person: Person, match_id: uuid.UUID) -> Match:
    """The match, locked; a hold that has run out counts as open. Raises NotFound.

    NO KEY: nobody changes its key, so ledger lines that point at it (of a run-out hold, say) need not wait for us.
    """
    return _current(Match.objects.select_for_update(of=("self",), no_key=True), person, match_id)


def _current(rows: QuerySet[Match], person: Person, match_id: uuid.UUID) -> Match:
    match = (
        rows.select_related("spec", "job", "person", "shop").filter(shop_id=person.shop_id, pk=match_id).first()
    )
    if match is None:
        raise NotFound(f"Nothing here has the id {match_id}.")
    if match.state == MatchState.HELD and match.held_until and match.held_until <= clock():
        match.state, match.held_until, match.option_taken = MatchState.OPEN, None, None
    return match


def clock(at: datetime | None = None) -> datetime:
    """The time given, else the database's: its clock decides over every terminal's."""
    if at is not None:
        return at
    with connection.cursor() as cursor:
        cursor.execute("SELECT now()")
        return cursor.fetchone()[0]


def state_check(match: Match, allowed: Sequence[MatchState], wish: str) -> None:
    if match.state not in allowed:
        names = " or ".join(state.label for state in allowed)
        one = f"{'an' if names[0] in 'aeiou' else 'a'} {names} one"
        raise WrongState(f"Match {match.number} is {match.get_state_display()}; only {one} can be {wish}.")


def plates_lock(match: Match, ins: Sequence[dict[str, Any]]) -> Locked:
    """Lock the plates, and what this match holds beside them, in the order of their ids.

    Raises :class:`Moved` unless each plate is as the search saw it.
    """
    seen = {uuid.UUID(row["plate"]): row["revision"] for row in ins if row["plate"]}
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT id, revision, state = 'on_shelf'"
            "       OR (state = 'held' AND (match_id = %(match)s OR held_until <= now()))"
            "  FROM plates_plate WHERE shop_id = %(shop)s"
            "   AND (id = ANY(%(ids)s) OR (match_id = %(match)s AND state = 'held')) ORDER BY id FOR UPDATE",
            {"match": match.pk, "shop": match.shop_id, "ids": list(seen)},
        )
        rows = cursor.fetchall()
    wanted = [(plate, revision) for plate, revision, free in rows if free and seen.get(plate) == revision]
    if len(wanted) < len(seen):
        raise Moved
    return Locked(wanted, [(plate, revision) for plate, revision, _ in rows if plate not in seen])
