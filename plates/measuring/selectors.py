"""Reads of the measuring room: gauges as they stand today, their checks and studies."""

import uuid
from datetime import datetime, timedelta
from typing import Any

from django.db.models import (
    Case,
    CharField,
    DateTimeField,
    DurationField,
    ExpressionWrapper,
    F,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    TextChoices,
    Value,
    When,
)
from django.db.models.functions import Abs, Now

from plates.measuring.models import Gauge, GaugeCheck, GaugeStudy


class GaugeState(TextChoices):
    """Whether a gauge is to be trusted today."""

    GOOD = "good", "good"
    DUE = "due", "check overdue"
    FAILED = "failed", "failed its last check"
    UNCHECKED = "unchecked", "never checked"
    WITHDRAWN = "withdrawn", "withdrawn"


def checks(shop_id: uuid.UUID) -> QuerySet[Any]:
    """All checks, oldest first, each with ``good``: it passed, or the error that it found is in force since."""
    left_nm = Abs(F("error_nm") - F("zero_after_nm"))
    return (
        GaugeCheck.objects.filter(shop_id=shop_id)
        .annotate(good=Q(passed=True) | Q(gauge__limit_nm__gte=left_nm))
        .select_related("gauge", "person")
    )


def wrong_since_good(check: GaugeCheck) -> tuple[datetime | None, list[GaugeCheck]]:
    """When the gauge was last known to be good before this failed check (None: never), and the failed checks from then
    on up to this one, oldest first: what was read in between was read wrongly, by what the next of these found.
    """
    earlier = Q(at__lt=check.at) | Q(at=check.at, pk__lt=check.pk)
    before = checks(check.shop_id).filter(earlier, gauge=check.gauge_id)
    good_at = before.filter(good=True).order_by("-at", "-id").values_list("at", flat=True).first()
    failed = before.filter(at__gt=good_at) if good_at else before
    return good_at, [*failed.order_by("at", "id"), check]


def studies(shop_id: uuid.UUID) -> QuerySet[GaugeStudy]:
    """All gauge studies, oldest first."""
    return GaugeStudy.objects.filter(shop_id=shop_id).select_related("gauge", "person")


def gauges(shop_id: uuid.UUID) -> QuerySet[Any]:
    """All gauges in one query, each with ``checked_at`` and ``error_nm`` of its last check, ``good_at`` of its last
    good one, ``due_at`` (None: never due, or never checked) and ``state_now``, a :class:`GaugeState`.

    A gauge that failed and was set to zero again stays failed until a check shows that it is good.
    """
    latest = checks(shop_id).filter(gauge=OuterRef("pk")).order_by("-at", "-id")
    due_at = ExpressionWrapper(
        F("good_at") + ExpressionWrapper(F("interval_days") * Value(timedelta(days=1)), output_field=DurationField()),
        output_field=DateTimeField(),
    )
    state = Case(
        When(withdrawn_at__isnull=False, then=Value(GaugeState.WITHDRAWN.value)),
        When(checked_at=None, then=Value(GaugeState.UNCHECKED.value)),
        When(last_good=False, then=Value(GaugeState.FAILED.value)),
        When(due_at__lt=Now(), then=Value(GaugeState.DUE.value)),
        default=Value(GaugeState.GOOD.value),
        output_field=CharField(),
    )
    return (
        Gauge.objects.filter(shop_id=shop_id)
        .annotate(
            checked_at=Subquery(latest.values("at")[:1]),
            error_nm=Subquery(latest.values("error_nm")[:1]),
            last_good=Subquery(latest.values("good")[:1]),
            good_at=Subquery(latest.filter(good=True).values("at")[:1]),
        )
        .annotate(due_at=due_at)
        .annotate(state_now=state)
    )
