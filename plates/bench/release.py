"""Give back what a match has: what it holds, or what is left of a slip that is no longer whole.

A plate that is on a slip may be put back, sold or scrapped by itself. The pack is then not what the slip says: it
cannot be proved by a final check, and is asked again.
"""

import uuid
from functools import partial
from typing import TypeVar

from django.db import transaction
from django.db.models import QuerySet

from plates.bench.locks import (
    TRIES,
    Givers,
    Moved,
    Run,
    as_seen,
    busy,
    givers_of,
    match_seen,
    matches_lock,
    pause,
    plates_lock,
    state_check,
    taker_lock,
)
from plates.bench.lying import lying_back, lying_mark
from plates.bench.models import Match, MatchState
from plates.bench.reading import Found, match_refresh, search_again
from plates.bench.slip.rebuilt import unbuilt
from plates.bench.take import free_held, held_rows
from plates.stock.ledger import Change, ledger_write
from plates.stock.ledger_models import Act
from plates.stock.models import Plate, State
from shop.compiled import compiled
from shop.errors import WrongState
from shop.people.models import Person

R = TypeVar("R")


def slip_gone(match: Match) -> list[Plate]:
    """The plates of a taken match's slip that are no longer taken for it; one query."""
    if match.state != MatchState.TAKEN:
        return []
    return _gone(match.shop_id, tuple(uuid.UUID(row["plate"]) for row in match.slip if row["plate"]), match.pk)


@compiled
def _gone(shop_id: uuid.UUID, plates: tuple[uuid.UUID, ...], match: uuid.UUID) -> QuerySet[Plate]:
    return (
        Plate.objects.filter(shop_id=shop_id, pk__in=plates).exclude(state=State.TAKEN, match=match).order_by("pk")
    )


def match_release(*, person: Person, match_id: uuid.UUID, run: Run[R]) -> R:
    """Free what a match holds, or what is left of a slip with a plate gone; it is open again with fresh options. Raises
    WrongState, Busy.
    """
    person.require("matches")
    for attempt in range(TRIES):
        seen = match_seen(person=person, match_id=match_id)
        found = _look(person, seen)
        try:
            return run(partial(_release, person, seen, found))
        except Moved:
            pause(attempt)
    raise busy()


def _look(person: Person, seen: Match) -> Found:
    """Fresh options as they will be, before anything is locked for good; a slip's plates are put back for the look, and
    what came off a bench lies there.
    """
    if seen.state == MatchState.HELD:
        return search_again(seen, person.shop.sure_level)
    if not slip_gone(seen):
        return Found([], None, [])
    with transaction.atomic():
        _put_back(person, seen, matches_lock(person=person, match_ids=givers_of(seen.options)))
        found = search_again(seen, person.shop.sure_level)
        transaction.set_rollback(True)
    return found


def _release(person: Person, seen: Match, found: Found) -> Match:
    match, givers = taker_lock(person=person, match_id=seen.pk, givers=givers_of(seen.options))
    gone = slip_gone(match)
    if not gone:
        state_check(match, [MatchState.HELD], "released")
    if not as_seen(seen, match):
        raise Moved
    if gone:
        if any(out["option"] == match.option_taken for out in match.outs):
            raise WrongState(
                f"What came out of this pack has its fate already, so match {match.number} cannot be asked again as it "
                "was. Ask anew with what is in the pack now."
            )
        _put_back(person, match, givers)
        unbuilt(match, found)
    else:
        lying_mark(givers, held_rows(match))
        held = plates_lock(match, []).others
        free_held(person, match, held)
        revisions = {str(plate): revision + 1 for plate, revision in held}
        for row in (row for option in found.options for row in option["in"]):
            row["revision"] = revisions.get(row["plate"], row["revision"])
        match.state, match.held_until, match.option_taken = MatchState.OPEN, None, None
        match_refresh(match, found)
    match.save()
    return match


def _put_back(person: Person, match: Match, givers: Givers) -> None:
    """What is left of the slip lies in its bins again, and on the benches that it came off."""
    taken = Plate.objects.select_for_update().filter(shop_id=match.shop_id, match=match, state=State.TAKEN)
    ids = [row["plate"] for row in match.slip if row["plate"]]
    off_bench = {row["plate"] for row in match.slip if row.get("out_of")}
    left = list(taken.filter(pk__in=ids).order_by("pk"))
    lying_back(person=person, match=match, givers=givers, plates=left)
    ledger_write(
        person=person,
        act=Act.PUT_BACK,
        changes=[
            Change(plate=plate.pk, revision=plate.revision, state=State.ON_SHELF)
            for plate in left
            if str(plate.pk) not in off_bench
        ],
        reason=f"not built in: match {match.number} is asked again",
        for_match=match.pk,
        for_job=match.job_id,
    )
