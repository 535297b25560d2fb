"""The bench plan: which options close most of several packs, taken together or in part, all or nothing.

The plan is worked out without a lock. Under the locks of all its matches it is written only if each is still as it was
seen, and taken only if every plate is.
"""

import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from time import monotonic
from typing import Any, TypeVar

from django.db import transaction

from plates.bench.locks import (
    TRIES,
    Givers,
    Moved,
    as_seen,
    busy,
    givers_of,
    matches_lock,
    matches_seen,
    pause,
    plates_lock_all,
    state_check,
)
from plates.bench.lying import lying_check, lying_mark
from plates.bench.models import Match, MatchState
from plates.bench.options import figures
from plates.bench.plan.work_out import WorkedOut, plan_work_out
from plates.bench.slip.outs import given_on
from plates.bench.take import CountFirst, count_check, free_held, held_rows, write_take
from plates.matching.plan.plan import Totals
from plates.stock.holds import holds_run_out
from shop.errors import Malformed, Refusal, refusals
from shop.people.models import Person

R = TypeVar("R")
#: So long all tries of one call may solve together: each has half of what is left, however it was spent. A page makes
#: two calls at most in one request, and both together stay below the timeout of gunicorn.
SECONDS = 16.0


@dataclass(frozen=True)
class Planned:
    """A plan as it is stored: of each match its option, numbered, or None. ``taken``: those whose plates were taken."""

    matches: list[Match]
    options: list[dict[str, Any] | None]
    totals: Totals
    bound: Totals
    one_by_one: int
    taken: list[Match] = field(default_factory=list)

    @property
    def optimal(self) -> bool:
        return self.totals == self.bound


#: Carries out an effect in one transaction and renders it.
Run = Callable[[Callable[[], Planned]], R]


class PlanMoved(Refusal):
    """The plates of a plan are gone, or it is not the one that was shown; ``planned`` is the fresh one, stored."""

    status, code, title = 409, "stock_moved", "The plan has changed"

    def __init__(self, planned: Planned) -> None:
        super().__init__(
            "The shelf or one of these packs has changed in the meantime. Nothing was taken; the plan shown is fresh."
        )
        self.planned = planned


class Marginal(Refusal):
    code, title = "marginal", "Not sure enough to be taken unasked"


class PartLacks(Refusal):
    code, title = "part_lacks", "This part of the plan needs another pack"


@dataclass(frozen=True)
class Take:
    """What of a plan to take: the matches in ``only``, or all that it closes. ``shown``: the options that the person
    was shown, by match; another plan is not taken.
    """

    only: Sequence[uuid.UUID] | None = None
    accept_marginal: bool = False
    counted: bool = False
    shown: Mapping[uuid.UUID, int | None] | None = None


class _Otherwise(Exception):
    """The plan is not the one that was shown."""


def bench_plan(*, person: Person, match_ids: Sequence[uuid.UUID], run: Run[R], take: Take | None = None) -> R:
    """Plan these matches together, in the order given; with ``take``, take it in the same breath.

    Raises Malformed for a match that is not there, WrongState, Marginal, CountFirst, PartLacks, PlanMoved, Busy.
    """
    person.require("matches")
    until = monotonic() + SECONDS
    for attempt in range(TRIES):
        try:
            worked = _look(person, match_ids, until)
        except Refusal as refusal:  # told under the key, so that a twin of a plan that is taken gets its answer
            return run(partial(_refused, refusal))
        try:
            return run(partial(_written, person, worked, take))
        except Moved:
            pause(attempt)
        except _Otherwise:
            break
    raise _fresh(person, match_ids, until)


def _refused(refusal: Refusal) -> Planned:
    raise refusal


def _look(person: Person, match_ids: Sequence[uuid.UUID], until: float) -> WorkedOut:
    with refusals():
        holds_run_out(shop_id=person.shop_id)
    seen = matches_seen(person=person, match_ids=match_ids)
    for place, match_id in enumerate(match_ids):
        if match_id not in seen:
            raise Malformed(
                f"Nothing here has the id {match_id}.", [(f"/matches/{place}", "name a match of this shop")]
            )
    matches = [seen[match_id] for match_id in match_ids]
    for match in matches:
        state_check(match, [MatchState.OPEN, MatchState.HELD], "planned")
    return plan_work_out(person=person, matches=matches, seconds=max(0.0, until - monotonic()) / 2)


def _fresh(person: Person, match_ids: Sequence[uuid.UUID], until: float) -> Refusal:
    """The plan as the shelf is now, stored in a transaction of its own; the refusal that shows it."""
    for attempt in range(TRIES):
        worked = _look(person, match_ids, until)
        try:
            with refusals(), transaction.atomic():
                return PlanMoved(_written(person, worked, None))
        except Moved:
            pause(attempt)
    return busy()


def _written(person: Person, worked: WorkedOut, take: Take | None) -> Planned:
    offered = [option for option in worked.options if option]
    ids = {match.pk for match in worked.matches}
    before = [option for match in worked.matches for option in match.options]
    givers = matches_lock(person=person, match_ids=ids | givers_of([*offered, *before]))
    matches = [givers[match.pk] for match in worked.matches]
    for seen, match in zip(worked.matches, matches, strict=True):
        if not as_seen(seen, match):
            raise Moved
    options = [_stored(match, option) for match, option in zip(matches, worked.options, strict=True)]
    _referred(matches, options)
    planned = Planned(matches, options, worked.plan.totals, worked.plan.bound, worked.one_by_one)
    if take:
        if take.shown is not None and take.shown != _numbers(planned):
            raise _Otherwise
        planned.taken.extend(_taken(person, planned, take, givers))
    for match in matches:
        match.save()
    return planned


def _numbers(planned: Planned) -> dict[uuid.UUID, int | None]:
    pairs = zip(planned.matches, planned.options, strict=True)
    return {match.pk: option["number"] if option else None for match, option in pairs}


def _stored(match: Match, option: dict[str, Any] | None) -> dict[str, Any] | None:
    """The planned option among those of the match: under the number of one that is equal in every figure, else under a
    fresh one. An option of an earlier plan that is not planned any more is past.
    """
    standing = [one for one in match.standing if one["number"] != match.option_held]
    same = next((one for one in standing if option and figures(one) == figures(option)), None)
    for one in standing:
        if one.get("planned") and one is not same:
            one["past"] = True
    if option is None:
        return None
    if same is not None:
        same.update(option)
        return same
    stored = {"number": match.next_option, **option, "planned": True}
    match.options.append(stored)
    match.next_option += 1
    return stored


def _referred(matches: Sequence[Match], options: Sequence[dict[str, Any] | None]) -> None:
    """Plates that go from pack to pack name the option that takes them out, and their place among its outs."""
    by_match = {str(match.pk): option for match, option in zip(matches, options, strict=True)}
    for option in filter(None, options):
        for row in option["in"]:
            out_of = row["out_of"]
            if out_of and not out_of["option"]:
                giving = by_match[out_of["match"]]
                assert giving is not None
                place = next(
                    place
                    for place, out in enumerate(giving["out"])
                    if (out["slot"], out["row"]) == (out_of["slot"], out_of["row"])
                )
                row["out_of"] = {**out_of, "option": giving["number"], "row": place}


# --- taking it ------------------------------------------------------------------------------------------------


def _taken(person: Person, planned: Planned, take: Take, givers: Givers) -> list[Match]:
    """The part that is wanted, taken: all of it, or a refusal or :class:`Moved` undoes everything."""
    part = _part(planned, take)
    if not part:
        return []
    _allowed(part, take)
    gives = _goes_on(planned, part)
    for match, _ in part:
        lying_mark(givers, held_rows(match))
    for giver, number, row in gives:
        giver.outs.append(given_on(person, giver, number, row))
    for match, option in part:
        lying_check(givers, match, option["in"])
    locked = plates_lock_all([(match, option["in"]) for match, option in part])
    for (match, option), plates in zip(part, locked, strict=True):
        free_held(person, match, plates.others)
        write_take(person, match, option, plates.wanted, givers, None)
    return [match for match, _ in part]


def _part(planned: Planned, take: Take) -> list[tuple[Match, dict[str, Any]]]:
    closed = [(match, option) for match, option in zip(planned.matches, planned.options, strict=True) if option]
    if take.only is None:
        return closed
    known = {match.pk for match, _ in closed}
    for place, match_id in enumerate(take.only):
        if match_id not in known:
            raise Malformed(
                f"The plan closes no match {match_id}: there is nothing to take for it.",
                [(f"/only/{place}", "name matches that the plan closes")],
            )
    return [(match, option) for match, option in closed if match.pk in take.only]


def _allowed(part: Sequence[tuple[Match, dict[str, Any]]], take: Take) -> None:
    for match, _ in part:
        match.counted = match.counted or take.counted
        try:
            count_check(match)
        except CountFirst as first:
            raise CountFirst(f"Match {match.number}: {first.detail}", first.errors) from None
    doubtful = [str(match.number) for match, option in part if option["confidence"] == "marginal"]
    if doubtful and not take.accept_marginal:
        others = len(doubtful) < len(part)
        raise Marginal(
            f"What is planned for match {', '.join(doubtful)} is only marginal, and not taken unasked. Accept that, or "
            f"{'take the others without it' if others else 'leave it'}.",
            [("/accept_marginal", "send true, or name the others in only" if others else "send true")],
        )


def _goes_on(planned: Planned, part: Sequence[tuple[Match, dict[str, Any]]]) -> list[tuple[Match, int, int]]:
    """What goes from pack to pack: out of which match, with which of its options, which of its outs."""
    pairs = zip(planned.matches, planned.options, strict=True)
    giving = {(str(match.pk), option["number"]): match for match, option in pairs if option}
    chosen, found, lacks = {match.pk for match, _ in part}, [], {}
    for match, option in part:
        for row in option["in"]:
            out_of = row["out_of"] or {"match": "", "option": 0}
            giver = giving.get((out_of["match"], out_of["option"]))
            if giver is None:
                continue
            if giver.pk not in chosen:
                lacks[giver.pk] = f"match {match.number} gets a plate out of match {giver.number}"
            found.append((giver, out_of["option"], out_of["row"]))
    if lacks:
        raise PartLacks(
            f"This part cannot be taken by itself: {'; '.join(lacks.values())}. Take these too.",
            [("/only", "add what is missing")],
            add=[str(match_id) for match_id in lacks],
        )
    return found
