"""Reads of the bench room."""

import uuid

from django.db.models import Case, CharField, F, Q, QuerySet, Value, When
from django.db.models.functions import Now

from plates.bench.models import Job, Match, MatchState
from plates.catalogue.selectors import STACK


def matches(shop_id: uuid.UUID) -> QuerySet[Match]:
    """All matches, with ``state_now``: a hold that has run out counts as open."""
    run_out = Q(state=MatchState.HELD, held_until__lte=Now())
    state_now = Case(When(run_out, then=Value(MatchState.OPEN.value)), default=F("state"), output_field=CharField())
    return (
        Match.objects.filter(shop_id=shop_id)
        .annotate(state_now=state_now)
        .select_related("spec", "job", "person", "taken_by")
    )


def matches_with_stacks(shop_id: uuid.UUID) -> QuerySet[Match]:
    """All matches, each with the slots of its spec: enough to draw its stack."""
    return matches(shop_id).prefetch_related("final_checks__person", *(f"spec__{path}" for path in STACK))


def jobs(shop_id: uuid.UUID) -> QuerySet[Job]:
    return Job.objects.filter(shop_id=shop_id)
