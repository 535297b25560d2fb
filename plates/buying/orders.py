"""Writes of orders: made, sent, cancelled. What comes of them is written in ``receiving``.

Whoever changes an order locks it first; its lines follow it.
"""

import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.utils import timezone

from plates.buying.models import DUE, LEAD_WEEKS, Order, OrderLine, OrderState
from plates.catalogue.models import BadFigures, Kind, Supplier
from shop.errors import NotFound, WrongState
from shop.people.models import Person
from shop.people.services import number_next


@dataclass(frozen=True)
class Wanted:
    """What one line orders, in plates; a cost is a plate's."""

    kind: Kind
    quantity: int
    unit_cost: Decimal | None = None


def order_make(
    *,
    person: Person,
    supplier: str,
    lines: Sequence[Wanted],
    due: date | None = None,
    made_key: str | None = None,
) -> Order:
    """A draft. A cost left out is the kind's. Raises BadFigures for no line, and for two of one kind."""
    person.require("buying")
    if not lines:
        raise BadFigures("An order has one line at least.", [("/lines", "name what is ordered")])
    if twice := [code for code, count in Counter(line.kind.code for line in lines).items() if count > 1]:
        raise BadFigures(f"{twice[0]} stands on two lines: order it on one.", [("/lines", "one line a kind")])
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
    OrderLine.objects.bulk_create(
        OrderLine(
            shop_id=shop_id,
            order=order,
            position=place,
            kind=line.kind,
            quantity=line.quantity,
            unit_cost=line.kind.unit_cost if line.unit_cost is None else line.unit_cost,
        )
        for place, line in enumerate(lines, 1)
    )
    return order


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
