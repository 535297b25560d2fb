"""The ledger: one line for each change of a plate, which the database lets only grow."""

from django.db import models
from django.db.models import F, Q, Value
from django.db.models.functions import Now, NullIf

from plates.stock.models import LYING, Bin, HandOut, Plate, State
from shop.errors import WrongState, constraint
from shop.links import Link
from shop.people.models import Person, Terminal
from shop.rows import SameShop, ShopRow


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
