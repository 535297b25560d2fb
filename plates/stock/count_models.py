"""Counts of a bin."""

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from plates.stock.models import Bin
from shop.links import Link
from shop.once import spent
from shop.people.models import Person
from shop.rows import SameShop, ShopRow


class CountState(models.TextChoices):
    """How far a count of a bin is."""

    READING = "reading", "being read"
    LOOK = "look", "to be looked at again"
    BOOKED = "booked", "booked"
    DROPPED = "dropped", "dropped"


class BinCount(ShopRow):
    """One count of a bin: what was read, blind, and once it is booked what that came to."""

    bin = Link(Bin, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="counts")
    person = Link(Person, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    gauge = models.TextField(blank=True, default="")
    begun_at = models.DateTimeField(db_default=Now())
    #: Plate → revision, of what lay in the bin at the beginning.
    seen = models.JSONField()
    #: One reading a plate: its points as typed, and in nanometres.
    readings = models.JSONField(default=list)
    all_read_at = models.DateTimeField(null=True)
    booked_at = models.DateTimeField(null=True)
    #: Ids of plates by what became of them, once booked: agreed, missing, held, reread, found, back, left_out.
    outcome = models.JSONField(default=dict)
    #: An unfinished count that was given up: its readings stay on record, and stock is as it was.
    dropped_at = models.DateTimeField(null=True)
    dropped_by = Link(
        Person, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="+"
    )
    made_key = models.TextField(null=True)

    class Meta(ShopRow.Meta):
        ordering = ["begun_at", "id"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="bin", name="bincount_bin"),
            SameShop(field="person", name="bincount_person"),
            SameShop(field="dropped_by", name="bincount_dropped_by"),
            models.UniqueConstraint(fields=["shop", "made_key"], name=spent("bincount_made_key", "count")),
            models.CheckConstraint(
                condition=Q(booked_at=None) | Q(all_read_at__isnull=False), name="bincount_read_before_booked"
            ),
            models.CheckConstraint(
                condition=Q(dropped_at=None, dropped_by=None)
                | Q(dropped_at__isnull=False, dropped_by__isnull=False, booked_at=None),
                name="bincount_booked_or_dropped",
            ),
        ]
        indexes = [models.Index(fields=["shop", "bin", "begun_at"], name="bincount_of_bin")]

    @property
    def differences(self) -> int:
        return sum(len(self.outcome.get(name, ())) for name in ("missing", "held", "reread", "found", "back"))
