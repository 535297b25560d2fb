"""Bins, lots, hand-outs and plates; the ledger is in ``ledger_models``."""

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.db import models
from django.db.models import F, Func, Q, TextField
from django.db.models.functions import Now

from plates.catalogue.models import BadFigures, Fit, Kind, Role
from shop.errors import CodeTaken, Refusal, constraint
from shop.links import Link
from shop.once import spent
from shop.people.models import Person
from shop.rows import SameShop, ShopRow


class BinOverlap(Refusal):
    code, title = "bin_overlap", "Two bins would span the same thickness"


class State(models.TextChoices):
    ON_SHELF = "on_shelf", "on the shelf"
    HELD = "held", "held"
    TAKEN = "taken", "taken"
    HANDED_OUT = "handed_out", "handed out"
    QUARANTINED = "quarantined", "quarantined"
    REWORKED = "reworked", "reworked"
    SCRAPPED = "scrapped", "scrapped"


#: States in which a plate lies in the shop's bins; the ledger's balance is 1 exactly in these.
LYING = (State.ON_SHELF, State.HELD)


class Condition(models.TextChoices):
    NEW = "new", "new"
    USED = "used", "used"


class Span(Func):
    """A range of one value, so that equality can stand in an exclusion constraint without an extension."""

    arity = 1
    template = "%(function)s(%(expressions)s, %(expressions)s, '[]')"


class Bin(ShopRow):
    """A bin holds plates of one fit and role from ``from_nm`` (included) to ``to_nm`` (excluded)."""

    code = models.TextField()
    fit = Link(Fit, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="bins")
    role = models.TextField(choices=Role.choices)
    from_nm = models.BigIntegerField()
    to_nm = models.BigIntegerField()

    class Meta(ShopRow.Meta):
        ordering = ["code"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="fit", name="bin_fit"),
            models.UniqueConstraint(
                fields=["shop", "code"],
                name=constraint("bin_code", CodeTaken, "A bin with this code is there already."),
            ),
            models.CheckConstraint(
                condition=Q(from_nm__gte=0, from_nm__lt=F("to_nm")),
                name=constraint("bin_span", BadFigures, "A bin spans from a smaller to a larger thickness."),
            ),
            ExclusionConstraint(
                name=constraint(
                    "bin_overlap",
                    BinOverlap,
                    "Another bin of this fit and role spans part of this. Choose a span beside it.",
                ),
                expressions=[
                    (Span(F("shop"), function="uuid_span", output_field=TextField()), RangeOperators.OVERLAPS),
                    (Span(F("fit"), function="uuid_span", output_field=TextField()), RangeOperators.OVERLAPS),
                    (Span(F("role"), function="text_span", output_field=TextField()), RangeOperators.OVERLAPS),
                    (
                        Func(F("from_nm"), F("to_nm"), function="int8range", output_field=TextField()),
                        RangeOperators.OVERLAPS,
                    ),
                ],
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Lot(ShopRow):
    """A delivery of like plates, of which some were measured; the rest carry the lot's mean and spread."""

    kind = Link(Kind, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    count = models.PositiveIntegerField()
    measured = models.PositiveIntegerField()
    mean_nm = models.BigIntegerField()
    spread_nm = models.BigIntegerField()
    source = models.TextField(blank=True, default="")
    received_at = models.DateTimeField(db_default=Now())
    received_by = Link(
        Person, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+"
    )
    made_key = models.TextField(null=True)

    class Meta(ShopRow.Meta):
        ordering = ["received_at", "id"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="kind", name="lot_kind"),
            SameShop(field="received_by", name="lot_received_by"),
            models.UniqueConstraint(fields=["shop", "made_key"], name=spent("lot_made_key", "lot")),
            models.CheckConstraint(condition=Q(measured__gte=1, measured__lte=F("count")), name="lot_measured"),
        ]


class Reason(models.TextChoices):
    """Why plates leave otherwise than into a job."""

    CASH = "cash", "sold for cash"
    LENT = "lent", "lent"
    OWN_USE = "own_use", "own use"
    WARRANTY = "warranty", "warranty"
    LOST = "lost", "lost"
    TRANSFER = "transfer", "sent to another shop of ours"


class HandOut(ShopRow):
    """Plates that left otherwise than into a job: sold for cash, lent, own use, under warranty, lost, sent to another
    shop of ours. The key of such a transfer goes with them and stands on what is booked there (``Plate.transfer``).
    """

    reason = models.TextField(choices=Reason.choices)
    to = models.TextField(blank=True, default="")
    due = models.DateField(null=True)
    price = models.DecimalField(max_digits=12, decimal_places=2, null=True)
    person = Link(Person, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    at = models.DateTimeField(db_default=Now())
    made_key = models.TextField(null=True)

    class Meta(ShopRow.Meta):
        ordering = ["at", "id"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="person", name="handout_person"),
            models.UniqueConstraint(fields=["shop", "made_key"], name=spent("handout_made_key", "hand-out")),
        ]


class Plate(ShopRow):
    """One piece of metal. ``revision`` is the seq of its last ledger line: every change writes one."""

    kind = Link(Kind, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="plates")
    #: Fit and role of the kind, repeated so that the shelf of one fit is read from one index.
    fit = Link(Fit, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    role = models.TextField(choices=Role.choices)
    lot = Link(
        Lot, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="plates"
    )
    bin = Link(
        Bin, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="plates"
    )
    thickness_nm = models.BigIntegerField()
    #: Taper: the spread of the points read, or the spread of the lot for a plate that was not read itself.
    spread_nm = models.BigIntegerField()
    #: Standard uncertainty beyond the micrometer's own: 0 for a plate that was read.
    u_nm = models.FloatField(default=0.0)
    state = models.TextField(choices=State.choices)
    revision = models.PositiveIntegerField()
    condition = models.TextField(choices=Condition.choices)
    source = models.TextField(blank=True, default="")
    #: A customer's plate never goes into another job.
    owner = models.TextField(blank=True, default="")
    #: A sealed box, which is not opened unless asked.
    box = models.TextField(blank=True, default="")
    mark = models.TextField(blank=True, default="")
    gauge = models.TextField(blank=True, default="")
    match = Link(
        "plates.Match", on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="plates"
    )
    job = Link(
        "plates.Job", on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="plates"
    )
    hand_out = Link(
        HandOut, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="plates"
    )
    #: What it was delivered on.
    order_line = Link(
        "plates.OrderLine",
        on_delete=models.PROTECT,
        null=True,
        db_constraint=False,
        db_index=False,
        related_name="plates",
    )
    #: The hand-out of another shop of ours by which it came: no link, since no row names one of another shop.
    transfer = models.UUIDField(null=True)
    reworked_from = Link(
        "self", on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="+"
    )
    held_until = models.DateTimeField(null=True)
    received_at = models.DateTimeField(db_default=Now())
    made_key = models.TextField(null=True)

    class Meta(ShopRow.Meta):
        ordering = ["id"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="kind", name="plate_kind"),
            SameShop(field="fit", name="plate_fit"),
            SameShop(field="lot", name="plate_lot"),
            SameShop(field="bin", name="plate_bin"),
            SameShop(field="match", name="plate_match"),
            SameShop(field="job", name="plate_job"),
            SameShop(field="hand_out", name="plate_hand_out"),
            SameShop(field="order_line", name="plate_order_line"),
            SameShop(field="reworked_from", name="plate_reworked_from"),
            models.UniqueConstraint(fields=["shop", "made_key"], name=spent("plate_made_key", "plate")),
            models.CheckConstraint(condition=Q(thickness_nm__gt=0, spread_nm__gte=0), name="plate_lengths"),
            models.CheckConstraint(
                condition=Q(state="held", held_until__isnull=False, match__isnull=False)
                | (~Q(state="held") & Q(held_until=None)),
                name="plate_held_until",
            ),
        ]
        indexes = [
            models.Index(
                fields=["shop", "fit", "role", "thickness_nm"],
                include=["id"],
                condition=Q(state="on_shelf"),
                name="plate_shelf",
            ),
            models.Index(fields=["shop", "fit", "role"], condition=Q(state="quarantined"), name="plate_aside"),
            models.Index(fields=["shop", "held_until"], condition=Q(state="held"), name="plate_holds"),
            models.Index(fields=["shop", "bin"], name="plate_of_bin"),
            models.Index(fields=["shop"], condition=~Q(mark=""), name="plate_marked"),
            models.Index(fields=["shop", "match"], condition=Q(match__isnull=False), name="plate_of_match"),
            models.Index(fields=["shop", "hand_out"], condition=Q(hand_out__isnull=False), name="plate_of_hand_out"),
            models.Index(fields=["shop", "transfer"], condition=Q(transfer__isnull=False), name="plate_of_transfer"),
            models.Index(
                fields=["shop", "order_line"], condition=Q(order_line__isnull=False), name="plate_of_order_line"
            ),
        ]
