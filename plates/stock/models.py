"""Bins, lots, plates and the ledger."""

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.db import models
from django.db.models import F, Func, Q, TextField, Value
from django.db.models.functions import Now, NullIf

from plates.catalogue.models import BadFigures, Fit, Kind, Role
from shop.errors import CodeTaken, Refusal, WrongState, constraint
from shop.links import Link
from shop.once import spent
from shop.people.models import Person, Terminal
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


class Act(models.TextChoices):
    """What a ledger line records."""

    RECEIVED = "received", "received"
    HELD = "held", "held"
    RELEASED = "released", "hold released"
    RAN_OUT = "ran_out", "hold ran out"
    TAKEN = "taken", "taken"
    PUT_BACK = "put_back", "put back"
    HANDED_OUT = "handed_out", "handed out"
    REWORKED = "reworked", "reworked"
    SCRAPPED = "scrapped", "scrapped"
    PULLED = "pulled", "read at the bin"
    CORRECTED = "corrected", "reading corrected"
    UNDONE = "undone", "scan undone"


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


class LedgerLine(ShopRow):
    """One change of one plate. The database lets this table only grow, and only without gap or double count."""

    plate = Link(
        Plate, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="lines"
    )
    seq = models.PositiveIntegerField()
    delta = models.SmallIntegerField()
    balance = models.SmallIntegerField()
    prev_seq = models.GeneratedField(
        expression=NullIf(F("seq") - 1, Value(0)), output_field=models.IntegerField(null=True), db_persist=True
    )
    prev_balance = models.GeneratedField(
        expression=F("balance") - F("delta"), output_field=models.SmallIntegerField(), db_persist=True
    )
    act = models.TextField(choices=Act.choices)
    state = models.TextField(choices=State.choices)
    bin = Link(
        Bin, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="+"
    )
    thickness_nm = models.BigIntegerField()
    spread_nm = models.BigIntegerField()
    u_nm = models.FloatField()
    match = Link(
        "plates.Match", on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="lines"
    )
    job = Link(
        "plates.Job", on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="lines"
    )
    hand_out = Link(
        HandOut, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="lines"
    )
    held_until = models.DateTimeField(null=True)
    #: The readings as typed, text and unit, kept for ever.
    readings = models.JSONField(default=list)
    #: What else was found on it: cone_nm, warp_nm, hot_spot, agreed_by.
    findings = models.JSONField(default=dict)
    gauge = models.TextField(blank=True, default="")
    reason = models.TextField(blank=True, default="")
    person = Link(Person, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    terminal = Link(
        Terminal, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="+"
    )
    at = models.DateTimeField(db_default=Now())

    class Meta(ShopRow.Meta):
        ordering = ["at", "id"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="plate", name="ledger_plate"),
            SameShop(field="bin", name="ledger_bin"),
            SameShop(field="match", name="ledger_match"),
            SameShop(field="job", name="ledger_job"),
            SameShop(field="hand_out", name="ledger_hand_out"),
            SameShop(field="person", name="ledger_person"),
            SameShop(field="terminal", name="ledger_terminal"),
            models.UniqueConstraint(
                fields=["shop", "plate", "seq"],
                name=constraint("ledger_seq", WrongState, "This plate was changed by somebody else. Look again."),
            ),
            models.UniqueConstraint(fields=["shop", "plate", "seq", "balance"], name="ledger_chain_end"),
            models.CheckConstraint(condition=Q(delta__in=[-1, 0, 1]), name="ledger_delta"),
            models.CheckConstraint(condition=Q(balance__in=[0, 1]), name="ledger_balance"),
            models.CheckConstraint(
                condition=Q(balance__gte=F("delta")) & Q(balance__lte=F("delta") + 1), name="ledger_before"
            ),
            models.CheckConstraint(condition=Q(seq__gt=1) | Q(seq=1, balance=F("delta")), name="ledger_first"),
            models.CheckConstraint(
                condition=Q(balance=1, state__in=LYING) | (Q(balance=0) & ~Q(state__in=LYING)),
                name="ledger_state",
            ),
        ]
        indexes = [
            models.Index(fields=["shop", "at", "id"], name="ledger_in_time"),
            models.Index(fields=["shop", "match"], condition=Q(match__isnull=False), name="ledger_of_match"),
            models.Index(fields=["shop", "job"], condition=Q(job__isnull=False), name="ledger_of_job"),
            models.Index(fields=["shop", "hand_out"], condition=Q(hand_out__isnull=False), name="ledger_of_hand_out"),
            models.Index(fields=["shop", "gauge", "at"], condition=~Q(gauge=""), name="ledger_of_gauge"),
        ]
