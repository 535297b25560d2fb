"""Gauges, their checks against a standard, and studies of how well people read with them."""

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from shop.errors import CodeTaken, Refusal, constraint
from shop.links import Link
from shop.once import spent
from shop.people.models import Person
from shop.rows import SameShop, ShopRow


class BadGauge(Refusal):
    code, title = "bad_gauge", "The figures of this gauge do not go together"


class GaugeType(models.TextChoices):
    MICROMETER = "micrometer", "micrometer"
    FEELER = "feeler", "feeler set"
    INDICATOR = "indicator", "indicator"
    DEPTH = "depth", "depth gauge"


class Gauge(ShopRow):
    """One gauge of the shop. ``limit_nm`` is its limit of error; ``zero_nm`` its zero error in force, above zero when
    it reads high: what it shows less this is the length.
    """

    code = models.TextField()
    type = models.TextField(choices=GaugeType.choices)
    resolution_nm = models.BigIntegerField()
    limit_nm = models.BigIntegerField()
    zero_nm = models.BigIntegerField(default=0)
    #: None: never due.
    interval_days = models.PositiveIntegerField(null=True)
    note = models.TextField(blank=True, default="")
    made_at = models.DateTimeField(db_default=Now())
    withdrawn_at = models.DateTimeField(null=True)
    withdrawn_why = models.TextField(blank=True, default="")

    class Meta(ShopRow.Meta):
        ordering = ["code"]
        constraints = [
            *ShopRow.Meta.constraints,
            models.UniqueConstraint(
                fields=["shop", "code"],
                name=constraint("gauge_code", CodeTaken, "A gauge with this code is there already."),
            ),
            models.CheckConstraint(
                condition=Q(resolution_nm__gt=0, limit_nm__gt=0),
                name=constraint("gauge_lengths", BadGauge, "Resolution and limit of error are above zero."),
            ),
            models.CheckConstraint(
                condition=Q(interval_days=None) | Q(interval_days__gt=0),
                name=constraint("gauge_interval", BadGauge, "A check interval is at least a day."),
            ),
        ]

    def __str__(self) -> str:
        return self.code

    def passes(self, error_nm: int) -> bool:
        """Whether a check that found this error is passed: what the zero error in force leaves of it is within
        the limit of error.
        """
        return abs(error_nm - self.zero_nm) <= self.limit_nm


class GaugeCheck(ShopRow):
    """One check against a standard. ``error_nm`` = mean of the readings - standard, as the gauge shows it; it passes
    when error - zero error in force is within the limit of error.
    """

    gauge = Link(
        Gauge, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="checks"
    )
    person = Link(Person, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    at = models.DateTimeField(db_default=Now())
    standard_nm = models.BigIntegerField()
    #: As typed.
    readings = models.JSONField()
    error_nm = models.BigIntegerField()
    #: The zero error that was in force when it was checked, and the one in force from then on.
    zero_before_nm = models.BigIntegerField()
    zero_after_nm = models.BigIntegerField()
    passed = models.BooleanField()
    #: When the plates read since the last good check were put right for this error.
    corrected_at = models.DateTimeField(null=True)
    made_key = models.TextField(null=True)

    class Meta(ShopRow.Meta):
        ordering = ["at", "id"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="gauge", name="gaugecheck_gauge"),
            SameShop(field="person", name="gaugecheck_person"),
            models.UniqueConstraint(fields=["shop", "made_key"], name=spent("gaugecheck_made_key", "gauge check")),
            models.CheckConstraint(condition=Q(standard_nm__gt=0), name="gaugecheck_standard"),
        ]
        indexes = [models.Index(fields=["shop", "gauge", "at"], name="gaugecheck_in_time")]


class GaugeStudy(ShopRow):
    """A crossed gauge study: every person read every plate in every trial with one gauge.

    ``readings`` as typed, [person][trial][plate]; the results are worked out from them when they are shown.
    """

    gauge = Link(
        Gauge, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="studies"
    )
    person = Link(Person, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    at = models.DateTimeField(db_default=Now())
    #: Who read, and what the plates were called: lists of names.
    people = models.JSONField()
    plates = models.JSONField()
    trials = models.PositiveSmallIntegerField()
    readings = models.JSONField()
    made_key = models.TextField(null=True)

    class Meta(ShopRow.Meta):
        ordering = ["at", "id"]
        verbose_name_plural = "gauge studies"
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="gauge", name="gaugestudy_gauge"),
            SameShop(field="person", name="gaugestudy_person"),
            models.UniqueConstraint(fields=["shop", "made_key"], name=spent("gaugestudy_made_key", "gauge study")),
            models.CheckConstraint(condition=Q(trials__gte=2), name="gaugestudy_trials"),
        ]
        indexes = [models.Index(fields=["shop", "gauge", "at"], name="gaugestudy_in_time")]
