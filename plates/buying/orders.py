"""Writes of orders: made, sent, cancelled. What comes of them is written in ``receiving``.

Whoever changes an order locks it first; its lines follow it.
"""

import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal

from django.utils import timezone

from plates.buying.models import DUE, LEAD_WEEKS, Order, OrderLine, OrderSet, OrderState
from plates.catalogue.models import BadFigures, Kind, Supplier
from shop.errors import NotFound, WrongState
from shop.people.models import Person
from shop.people.services import number_next

#: Costs are kept to so much of the shop's currency.
_COST_STEP = Decimal("0.0001")
#: No line costs as much as this a plate or a set: the column holds no more.
_TOO_DEAR = Decimal(100_000_000)


@dataclass(frozen=True)
class Wanted:
    """What one line orders, in plates; a cost is a plate's."""

    kind: Kind
    quantity: int
    unit_cost: Decimal | None = None

    @property
    def kinds(self) -> Sequence[Kind]:
        return (self.kind,)


@dataclass(frozen=True)
class WantedSet:
    """What one line orders, in sets: each is one of all its ``kinds``; a cost is a set's."""

    code: str
    kinds: Sequence[Kind]
    quantity: int
    unit_cost: Decimal | None = None


def order_make(
    *,
    person: Person,
    supplier: str,
    lines: Sequence[Wanted | WantedSet],
    due: date | None = None,
    made_key: str | None = None,
) -> Order:
    """A draft. A cost left out is the kind's; of a set, that of all its kinds together.

    Raises BadFigures for no line, and for two of one kind, be it in a set.
    """
    person.require("buying")
    if not lines:
        raise BadFigures("An order has one line at least.", [("/lines", "name what is ordered")])
    counted = Counter(kind.code for line in lines for kind in line.kinds)
    if twice := [code for code, count in counted.items() if count > 1]:
        way_out = "order it on one; what is wanted beside a set that has it goes on an order of its own."
        raise BadFigures(f"{twice[0]} stands on two lines: {way_out}", [("/lines", "one line a kind")])
    shop_id = person.shop_id
    supplier_row, _ = Supplier.objects.get_or_create(shop_id=shop_id, name=supplier)
    order = Order.objects.create(
        shop_id=shop_id,
        number=number_next(shop_id=shop_id, name="order"),
        supplier=supplier_row,
        person=person,
        due=due,
        made_key=made_key,
    )
    rows = [row for line in lines for row in _rows(order, line)]
    for place, row in enumerate(rows, 1):
        row.position = place
    OrderSet.objects.bulk_create(dict.fromkeys(row.of_set for row in rows if row.of_set))
    OrderLine.objects.bulk_create(rows)
    return order


def _rows(order: Order, line: Wanted | WantedSet) -> list[OrderLine]:
    """The lines of an order that one wanted line comes to: one, or one for each piece of a set."""
    of_set, cost = None, line.unit_cost
    costs = [each for kind in line.kinds if (each := kind.price(line.quantity)) is not None]
    if cost is None and len(costs) == len(line.kinds):
        cost = sum(costs, Decimal(0))
    if cost is not None and cost >= _TOO_DEAR:
        raise BadFigures(
            f"A cost of {cost:f} is beyond what can be kept, {_TOO_DEAR} and more. Look at the costs of its kinds.",
            [("/lines", "too dear")],
        )
    if isinstance(line, WantedSet):
        of_set = OrderSet(shop_id=order.shop_id, order=order, code=line.code, quantity=line.quantity, unit_cost=cost)
        cost = None if cost is None else (cost / len(line.kinds)).quantize(_COST_STEP, ROUND_HALF_UP)
    return [
        OrderLine(shop_id=order.shop_id, order=order, kind=kind, quantity=line.quantity, unit_cost=cost, of_set=of_set)
        for kind in line.kinds
    ]


def order_lock(person: Person, order_id: uuid.UUID) -> Order:
    """The order, locked. Raises NotFound."""
    found = Order.objects.select_for_update(of=("self",)).filter(shop_id=person.shop_id, pk=order_id).first()
    if found is None:
        raise NotFound("There is no such order. Look in the list of orders.")
    return found


def _refuse(order: Order, act: str, way_out: str) -> WrongState:
    return WrongState(f"Order {order.number} is {order.get_state_display()} and cannot be {act}. {way_out}")


def order_send(*, person: Person, order_id: uuid.UUID) -> Order:
    """The order went to its supplier: from now on it counts as on order. Due when its slowest kind is, unless said."""
    person.require("buying")
    order = order_lock(person, order_id)
    if order.state != OrderState.DRAFT:
        raise _refuse(order, "sent", "Make another one for what is still wanted.")
    if order.due is None:
        days = [line.kind.lead_days for line in order.lines.select_related("kind")]
        slowest = max(int(LEAD_WEEKS * 7) if some is None else some for some in days)
        order.due = timezone.localdate() + timedelta(days=slowest)
    order.state, order.sent_at = OrderState.SENT, timezone.now()
    order.save(update_fields=["state", "sent_at", "due"])
    return order


def order_cancel(*, person: Person, order_id: uuid.UUID) -> Order:
    """Nothing more of it will come. What came in stays."""
    person.require("buying")
    order = order_lock(person, order_id)
    if order.state not in (OrderState.DRAFT, *DUE):
        raise _refuse(order, "cancelled", "Nothing more is due from it.")
    order.state, order.ended_at = OrderState.CANCELLED, timezone.now()
    order.save(update_fields=["state", "ended_at"])
    return order
