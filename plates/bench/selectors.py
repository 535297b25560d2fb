"""Reads of the bench room."""

import uuid
from collections.abc import Collection
from datetime import datetime
from typing import Any

from django.db.models import Case, CharField, F, Prefetch, Q, QuerySet, Value, When
from django.db.models.functions import Now

from plates.bench.models import ROOM, FinalCheck, Job, Match, MatchState, Missed
from plates.catalogue.selectors import STACK
from shop.compiled import compiled, first

#: What final checks teach is learned from so many of the latest.
LOOK = 1000


def matches(shop_id: uuid.UUID) -> QuerySet[Match]:
    """All matches, with ``state_now``: a hold that has run out counts as open."""
    run_out = Q(state=MatchState.HELD, held_until__lte=Now())
    state_now = Case(When(run_out, then=Value(MatchState.OPEN.value)), default=F("state"), output_field=CharField())
    return (
        Match.objects.filter(shop_id=shop_id)
        .annotate(state_now=state_now)
        .select_related("spec", "job", "person", "terminal", "taken_by", "taken_terminal")
    )


@compiled
def _matches_of_id(shop_id: uuid.UUID, key: uuid.UUID) -> QuerySet[Match]:
    return matches(shop_id).filter(pk=key)


def match_by_id(shop_id: uuid.UUID, key: uuid.UUID) -> Match | None:
    """One of :func:`matches`."""
    return first(_matches_of_id(shop_id, key))


def standing_holds(shop_id: uuid.UUID, ids: Collection[str]) -> dict[str, datetime]:
    """Until when those of these matches that hold plates now hold them; no query for none."""
    if not ids:
        return {}
    held = Match.objects.filter(shop_id=shop_id, pk__in=ids, state=MatchState.HELD, held_until__gt=Now())
    return {str(pk): until for pk, until in held.values_list("pk", "held_until") if until}


def run_out_holds(shop_id: uuid.UUID) -> list[uuid.UUID]:
    """The matches whose holds have run out, and that nothing has let go yet."""
    held = Match.objects.filter(shop_id=shop_id, state=MatchState.HELD, held_until__lte=Now())
    return list(held.values_list("pk", flat=True))


def checks_told() -> Prefetch:
    """The final checks of matches, to be prefetched with who made them and where."""
    return Prefetch("final_checks", FinalCheck.objects.select_related("person", "terminal"))


def matches_with_stacks(shop_id: uuid.UUID) -> QuerySet[Match]:
    """All matches, each with the slots of its spec: enough to draw its stack."""
    return matches(shop_id).prefetch_related(checks_told(), *(f"spec__{path}" for path in STACK))


def final_checks(shop_id: uuid.UUID, latest: int | None = None) -> QuerySet[Any]:
    """The final checks, oldest first, all or so many of the latest, each with ``apart``: why its residual says nothing
    about gauge and hand.

    ``soaked``: swell is part of the number when the pack was soaked before or after; ``comeback``: the unit had run
    and come back, and what brought it back may still be at work; ``room``: predicted from an empty drum, with the
    errors of a whole stack in it; else blank.
    """
    rows = FinalCheck.objects.filter(shop_id=shop_id)
    if latest is not None:  # found by index first: the question of a match is long
        rows = rows.filter(pk__in=rows.order_by("-at", "-id").values("pk")[:latest])
    soaked = Q(soaked=True) | Q(match__question__soaked=True)
    apart = Case(
        When(soaked, then=Value("soaked")),
        When(match__comeback_of__isnull=False, then=Value("comeback")),
        When(asked_method=ROOM, then=Value("room")),
        default=Value(""),
        output_field=CharField(),
    )
    return rows.annotate(apart=apart)


def missed(shop_id: uuid.UUID) -> QuerySet[Missed]:
    """What the shelf could not answer, the oldest first, each with the stack of its spec."""
    long = (f"match__{name}" for name in ("question", "options", "cautions", "slip", "outs", "built", "shortfall"))
    return (
        Missed.objects.filter(shop_id=shop_id)
        .select_related("match", "job", "spec")
        .prefetch_related(*(f"spec__{path}" for path in STACK))
        .defer(*long)
    )


def jobs(shop_id: uuid.UUID) -> QuerySet[Job]:
    return Job.objects.filter(shop_id=shop_id)
