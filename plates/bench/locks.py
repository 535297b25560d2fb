"""The locks of the bench: all matches of an act in the order of their ids, then their plates in the order of theirs.

A match that gives a plate from its bench to another pack is of the act: what came out of it stands in its row. After
the matches are locked the state of the one acted on is checked before anything else, so one question is never taken
twice.
"""

import random
import time
import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple, TypeVar

from django.db import connection
from django.db.models import QuerySet

from plates.bench.models import Match, MatchState
from shop.compiled import compiled
from shop.errors import Busy, NotFound, WrongState
from shop.people.models import Person

R = TypeVar("R")
#: Carries out an effect in one transaction and renders it; :meth:`shop.once.Once.run` with its render bound.
Run = Callable[[Callable[[], Match]], R]
#: The matches of an act, locked, by their ids: those acted on, and those that gave plates.
Givers = Mapping[uuid.UUID, Match]

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
    return _only(matches_seen(person=person, match_ids=[match_id]), match_id)


def matches_seen(*, person: Person, match_ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, Match]:
    """As :func:`match_seen`, those of several matches that are there."""
    ids = tuple(set(match_ids))
    return _current(_rows(person.shop_id, ids)) if ids else {}


def as_seen(seen: Match, locked: Match) -> bool:
    """Whether nothing that an answer hangs on has changed since the match was seen."""
    names = ("state", "option_taken", "next_option", "clearance_nm", "built", "question", "counted", "outs", "cautions")
    return all(getattr(seen, name) == getattr(locked, name) for name in names)


def matches_lock(*, person: Person, match_ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, Match]:
    """These matches, locked in the order of their ids; a hold that has run out counts as open.

    NO KEY: nobody changes its key, so ledger lines that point at it (of a run-out hold, say) need not wait for us.
    """
    ids = tuple(set(match_ids))
    return _current(_rows_locked(person.shop_id, ids)) if ids else {}


def match_lock(*, person: Person, match_id: uuid.UUID) -> Match:
    """One match, locked. Raises NotFound."""
    return _only(matches_lock(person=person, match_ids=[match_id]), match_id)


def taker_lock(*, person: Person, match_id: uuid.UUID, givers: Iterable[uuid.UUID]) -> tuple[Match, Givers]:
    """The match, locked together with those that give it plates. Raises NotFound.

    The givers are known from the match as it was before its lock: one that is missing has come up since.
    """
    locked = matches_lock(person=person, match_ids={match_id, *givers})
    return _only(locked, match_id), locked


def givers_stored(*, person: Person, match_id: uuid.UUID) -> set[uuid.UUID]:
    """The matches off whose benches the options of this one take plates, read without the match."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT DISTINCT (jsonb_path_query(options, '$[*].in[*].out_of.match') #>> '{}')::uuid"
            "  FROM plates_match WHERE shop_id = %s AND id = %s",
            [person.shop_id, match_id],
        )
        return {row[0] for row in cursor.fetchall()}


def givers_of(options: Iterable[dict[str, Any]]) -> set[uuid.UUID]:
    """The matches off whose benches these options take plates."""
    return {
        uuid.UUID(row["out_of"]["match"]) for option in options for row in option["in"] if row.get("out_of")
    }


def _matches(shop_id: uuid.UUID, match_ids: tuple[uuid.UUID, ...]) -> QuerySet[Match]:
    return Match.objects.select_related("spec", "job", "person", "shop").filter(shop_id=shop_id, pk__in=match_ids)


_rows = compiled(_matches)


@compiled
def _rows_locked(shop_id: uuid.UUID, match_ids: tuple[uuid.UUID, ...]) -> QuerySet[Match]:
    return _matches(shop_id, match_ids).select_for_update(of=("self",), no_key=True).order_by("pk")


def _current(rows: Iterable[Match]) -> dict[uuid.UUID, Match]:
    found = {match.pk: match for match in rows}
    for match in found.values():
        if match.state == MatchState.HELD and match.held_until and match.held_until <= clock():
            match.state, match.held_until, match.option_taken = MatchState.OPEN, None, None
    return found


def _only(found: Mapping[uuid.UUID, Match], match_id: uuid.UUID) -> Match:
    if match_id not in found:
        raise NotFound(f"Nothing here has the id {match_id}.")
    return found[match_id]


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

    Raises :class:`Moved` unless each plate is as the search saw it: free, or on a bench at the same revision.
    """
    return plates_lock_all([(match, ins)])[0]


def plates_lock_all(wanted: Sequence[tuple[Match, Sequence[dict[str, Any]]]]) -> list[Locked]:
    """As :func:`plates_lock`, for several matches of one shop at once."""
    seen = [{uuid.UUID(row["plate"]): row["revision"] for row in ins if row["plate"]} for _, ins in wanted]
    off_bench = [row["plate"] for _, ins in wanted for row in ins if row["plate"] and row.get("out_of")]
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT id, revision, state = 'held', match_id, state = 'on_shelf'"
            "       OR (state = 'taken' AND id = ANY(%(off_bench)s::uuid[]))"
            "       OR (state = 'held' AND held_until <= now())"
            "  FROM plates_plate WHERE shop_id = %(shop)s"
            "   AND (id = ANY(%(ids)s) OR (match_id = ANY(%(matches)s) AND state = 'held')) ORDER BY id FOR UPDATE",
            {
                "matches": [match.pk for match, _ in wanted],
                "shop": wanted[0][0].shop_id,
                "ids": [plate for ids in seen for plate in ids],
                "off_bench": off_bench,
            },
        )
        rows = cursor.fetchall()
    found = []
    for (match, _), ids in zip(wanted, seen, strict=True):
        mine, others = [], []
        for plate, revision, held, holder, free in rows:
            its_own = held and holder == match.pk
            if ids.get(plate) == revision and (free or its_own):
                mine.append((plate, revision))
            elif its_own and plate not in ids:
                others.append((plate, revision))
        if len(mine) < len(ids):
            raise Moved
        found.append(Locked(mine, others))
    return found
