"""How sizes are bought, and what was ordered."""

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from plates.catalogue.models import BadFigures, Fit, Kind, Role, Supplier
from plates.catalogue.sets import SetCount, set_count
from shop.errors import constraint
from shop.links import Link
from shop.once import spent
from shop.people.models import Person
from shop.rows import SameShop, ShopRow

#: Where nothing is set (common practice, no source): what a size should be there for, and for how long.
SERVICE, LEAD_WEEKS, LEAD_SD_WEEKS, SAFETY_WEEKS, REVIEW_WEEKS, FILL_WEEKS = 0.95, 2.0, 0.5, 1.0, 1.0, 4.0


class Method(models.TextChoices):
    SERVICE = "service", "by chance of missing none"
    WEEKS = "weeks", "by weeks of supply"


class BuyRule(ShopRow):
    """How the sizes of one fit and role are bought; with ``nominal_nm``, the one size in which that lies.

    The rule of a size counts whole, then that of its row, then what stands above. ``fill_to`` set by hand counts as it
    is; without it the economic quantity over buy-below, or ``fill_weeks`` of demand where its figures are not given.
    """

    fit = Link(Fit, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    role = models.TextField(choices=Role.choices)
    nominal_nm = models.BigIntegerField(null=True)
    method = models.TextField(choices=Method.choices, default=Method.SERVICE)
    service = models.FloatField(default=SERVICE)
    #: None: what the kind has, else LEAD_WEEKS.
    lead_weeks = models.FloatField(null=True)
    lead_sd_weeks = models.FloatField(default=LEAD_SD_WEEKS)
    safety_weeks = models.FloatField(default=SAFETY_WEEKS)
    review_weeks = models.FloatField(default=REVIEW_WEEKS)
    fill_to = models.PositiveIntegerField(null=True)
    fill_weeks = models.FloatField(default=FILL_WEEKS)
    #: The least that is ordered of the size at once.
    least = models.PositiveIntegerField(default=0)
    #: What it costs to place one order, in the shop's money, and to keep a plate for a year, as a share of its price.
    #: With both, and a price, what is bought at once is the economic quantity.
    order_cost = models.DecimalField(max_digits=12, decimal_places=4, null=True)
    holding_share = models.FloatField(null=True)

    class Meta(ShopRow.Meta):
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="fit", name="buyrule_fit"),
            models.UniqueConstraint(
                fields=["shop", "fit", "role", "nominal_nm"], nulls_distinct=False, name="buyrule_once"
            ),
            models.CheckConstraint(
                condition=Q(service__gte=0.5, service__lte=0.9999)
                & (Q(lead_weeks=None) | Q(lead_weeks__gte=0, lead_weeks__lte=104))
                & Q(lead_sd_weeks__gte=0, lead_sd_weeks__lte=52)
                & Q(safety_weeks__gte=0, safety_weeks__lte=104)
                & Q(review_weeks__gte=0, review_weeks__lte=52)
                & Q(fill_weeks__gte=0, fill_weeks__lte=104),
                name=constraint(
                    "buyrule_figures",
                    BadFigures,
                    "A service level is 50 to 99.99 %; weeks are not below zero, and no more than two years.",
                ),
            ),
            models.CheckConstraint(
                condition=(Q(order_cost=None) | Q(order_cost__gte=0))
                & (Q(holding_share=None) | Q(holding_share__gte=0.001, holding_share__lte=10)),
                name=constraint(
                    "buyrule_costs",
                    BadFigures,
                    "An order costs no less than 0; to keep a plate costs 0.1 to 1 000 % of its price a year.",
                ),
            ),
        ]


class OrderState(models.TextChoices):
    DRAFT = "draft", "draft"
    SENT = "sent", "sent"
    PART = "part", "received in part"
    RECEIVED = "received", "received"
    CANCELLED = "cancelled", "cancelled"


#: Something is still to come of these; only what they owe counts as on order.
DUE = (OrderState.SENT, OrderState.PART)


class Order(ShopRow):
    """What is bought of one supplier at once. ``due``: when all of it should be there."""

    number = models.BigIntegerField()
    supplier = Link(
        Supplier, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="orders"
    )
    state = models.TextField(choices=OrderState.choices, default=OrderState.DRAFT)
    person = Link(Person, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    made_at = models.DateTimeField(db_default=Now())
    sent_at = models.DateTimeField(null=True)
    due = models.DateField(null=True)
    ended_at = models.DateTimeField(null=True)
    made_key = models.TextField(null=True)

    class Meta(ShopRow.Meta):
        ordering = ["number"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="supplier", name="order_supplier"),
            SameShop(field="person", name="order_person"),
            models.UniqueConstraint(fields=["shop", "number"], name="order_number"),
            models.UniqueConstraint(fields=["shop", "made_key"], name=spent("order_made_key", "order")),
            models.CheckConstraint(
                condition=Q(state="draft", sent_at=None) | Q(state="cancelled") | Q(sent_at__isnull=False),
                name="order_sent",
            ),
        ]
        indexes = [models.Index(fields=["shop", "number"], condition=Q(state__in=["sent", "part"]), name="order_due")]

    @property
    def ordered(self) -> "list[OrderLine | OrderSet]":
        """What stands on it, in its order: single kinds, and sets in place of their pieces."""
        sets = {one.pk: one for one in self.sets.all()}
        rows = (sets[line.of_set_id] if line.of_set_id else line for line in self.lines.all())
        return list(dict.fromkeys(rows))


class OrderSet(ShopRow):
    """So many sets, one of each of their kinds to a set; a cost is a set's. Their pieces are lines of the order."""

    order = Link(Order, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="sets")
    code = models.TextField()
    quantity = models.PositiveIntegerField()
    unit_cost = models.DecimalField(max_digits=12, decimal_places=4, null=True)

    class Meta(ShopRow.Meta):
        ordering = ["id"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="order", name="orderset_order"),
            models.UniqueConstraint(fields=["shop", "order", "code"], name="orderset_once"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0) & (Q(unit_cost=None) | Q(unit_cost__gte=0)),
                name=constraint(
                    "orderset_figures", BadFigures, "A line orders one set at least, at a cost of zero or more."
                ),
            ),
        ]

    @property
    def count(self) -> SetCount:
        """What came of it, in sets; more pieces than were ordered make no further set."""
        return set_count((line.kind, min(line.received, line.quantity)) for line in self.pieces.all())

    @property
    def received(self) -> int:
        """Sets of which every piece came."""
        return self.count.whole

    @property
    def to_come(self) -> int:
        """Sets of which a piece is still to come."""
        return self.quantity - self.received

    @property
    def unfinished(self) -> SetCount | None:
        """What came, while a set of it is not whole."""
        return self.count if self.to_come else None

    @property
    def progress(self) -> str:
        """As "set 2: 5 of 6", or that all of them are whole."""
        came = self.count
        if came.whole == self.quantity:
            return f"{came.of} of {came.of}" if self.quantity == 1 else f"all {self.quantity} whole"
        return f"set {came.whole + 1}: {came.there} of {came.of}"


class OrderLine(ShopRow):
    """So many plates of one kind; ``received`` may pass ``quantity`` where more came and a person said so.

    The pieces of a set (``of_set``) are a line each: ordered as many as sets, at their share of its cost.
    """

    order = Link(
        Order, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="lines"
    )
    position = models.PositiveSmallIntegerField()
    kind = Link(Kind, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    quantity = models.PositiveIntegerField()
    unit_cost = models.DecimalField(max_digits=12, decimal_places=4, null=True)
    received = models.PositiveIntegerField(default=0)
    of_set = Link(
        OrderSet, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="pieces"
    )

    class Meta(ShopRow.Meta):
        ordering = ["position"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="order", name="orderline_order"),
            SameShop(field="kind", name="orderline_kind"),
            SameShop(field="of_set", name="orderline_of_set"),
            models.UniqueConstraint(fields=["shop", "order", "position"], name="orderline_position"),
            models.UniqueConstraint(fields=["shop", "order", "kind"], name="orderline_kind_once"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0) & (Q(unit_cost=None) | Q(unit_cost__gte=0)),
                name=constraint(
                    "orderline_figures", BadFigures, "A line orders one plate at least, at a cost of zero or more."
                ),
            ),
        ]

    @property
    def to_come(self) -> int:
        return max(0, self.quantity - self.received)
