"""Writes of orders: made, sent, received against, cancelled.

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
from plates.stock.arrivals import Arrival, Judged, arrivals_book, arrivals_judge
from shop.errors import NotFound, Refusal, WrongState
from shop.people.models import Person
from shop.people.services import number_next


class OverDelivery(Refusal):
    code, title = "over_delivery", "More came than is due"


class NotOrdered(Refusal):
    code, title = "not_ordered", "This was not ordered"


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


def _locked(person: Person, order_id: uuid.UUID) -> Order:
    found = Order.objects.select_for_update(of=("self",)).filter(shop_id=person.shop_id, pk=order_id).first()
    if found is None:
        raise NotFound("There is no such order. Look in the list of orders.")
    return found


def _refuse(order: Order, act: str, way_out: str) -> WrongState:
    return WrongState(f"Order {order.number} is {order.get_state_display()} and cannot be {act}. {way_out}")


def order_send(*, person: Person, order_id: uuid.UUID) -> Order:
    """The order went to its supplier: from now on it counts as on order. Due when its slowest kind is, unless said."""
    person.require("buying")
    order = _locked(person, order_id)
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
    order = _locked(person, order_id)
    if order.state not in (OrderState.DRAFT, *DUE):
        raise _refuse(order, "cancelled", "Nothing more is due from it.")
    order.state, order.ended_at = OrderState.CANCELLED, timezone.now()
    order.save(update_fields=["state", "ended_at"])
    return order


def order_receive(
    *,
    person: Person,
    order_id: uuid.UUID,
    arrivals: Sequence[Arrival],
    confirm: bool = False,
    made_key: str | None = None,
) -> tuple[Order, Judged]:
    """Plates of this order come in, each measured, all of them or none; the order is through when nothing is to come.

    Raises NotOrdered for a kind that is not on it, OverDelivery for more than is due unless confirmed, WrongState,
    and what scanning in refuses.
    """
    if not person.may("stock"):
        person.require("buying")
    order = _locked(person, order_id)
    if order.state not in DUE:
        if order.state == OrderState.DRAFT:
            raise _refuse(order, "received", "Send it first.")
        raise _refuse(order, "received", "Scan the plates in without an order, or order them.")
    lines = {line.kind_id: line for line in order.lines.select_related("kind")}
    came = Counter(one.kind.pk for one in arrivals)
    for place, one in enumerate(arrivals):
        if one.kind.pk not in lines:
            raise NotOrdered(
                f"{one.kind.code} is not on order {order.number}. Scan it in without an order, or against its own.",
                [(f"/plates/{place}/kind", "not on this order")],
            )
    for kind_id, count in came.items():
        line = lines[kind_id]
        if count > line.to_come and not confirm:
            raise OverDelivery(
                f"{line.to_come} of {line.kind.code} are still due on order {order.number}, and {count} came. Count "
                "them; if that many came, confirm.",
                [("/plates", f"{count} of {line.kind.code}, {line.to_come} due")],
            )
        line.received += count
    judged = arrivals_judge(person=person, arrivals=arrivals, right="stock" if person.may("stock") else "buying")
    for plate in judged.plates:
        plate.order_line = lines[plate.kind_id]
    arrivals_book(person=person, judged=judged, made_key=made_key)
    OrderLine.objects.bulk_update([lines[kind_id] for kind_id in came], ["received"])
    through = all(line.to_come == 0 for line in lines.values())
    order.state = OrderState.RECEIVED if through else OrderState.PART
    order.ended_at = timezone.now() if through else None
    order.save(update_fields=["state", "ended_at"])
    return order, judged


def late(shop_id: uuid.UUID) -> list[Order]:
    """Sent orders that should have been through before today, the longest late first; one query."""
    rows = Order.objects.filter(shop_id=shop_id, state__in=DUE, due__lt=timezone.localdate())
    return list(rows.select_related("supplier").order_by("due", "number"))
