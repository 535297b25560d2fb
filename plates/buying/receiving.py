"""What comes of an order: plates and lots booked against its lines, and taken off them again when that is undone.

``received`` of a line, the state of its order and the claims of what is not as ordered change in the transaction that
books the plates.
"""

import uuid
from collections import Counter
from collections.abc import Sequence
from typing import Any

from django.utils import timezone

from plates.buying.claim_models import Claim
from plates.buying.claims import claims_drop, claims_open
from plates.buying.models import DUE, Order, OrderLine, OrderState
from plates.buying.orders import order_lock
from plates.catalogue.models import Kind
from plates.stock.arrivals import Arrival, Judged, arrivals_book, arrivals_judge
from plates.stock.booking import KindsAndBins
from plates.stock.deliveries import NotDue
from plates.stock.life import lot_undo, plate_undo
from plates.stock.models import Plate
from plates.stock.services import Received, lot_receive
from shop.errors import WrongState
from shop.people.models import Person


class OverDelivery(NotDue):
    code, title, may_confirm = "over_delivery", "More came than is due", True


class NotOrdered(NotDue):
    code, title = "not_ordered", "This was not ordered"


class NothingDue(NotDue, WrongState):
    """A draft, or cancelled."""


def order_receive(
    *,
    person: Person,
    order_id: uuid.UUID,
    arrivals: Sequence[Arrival],
    confirm: bool = False,
    made_key: str | None = None,
) -> tuple[Order, Judged, list[Claim]]:
    """Plates of this order come in, each measured, all of them or none; the order is through when nothing is to come.
    What is not as it was ordered is claimed on its supplier: the claims stand behind what was judged.

    Raises NotOrdered for a kind that is not on it, OverDelivery for more than is due unless confirmed, NothingDue,
    and what scanning in refuses.
    """
    right = "stock" if person.may("stock") else "buying"
    person.require(right)
    order, lines = _counted(person, order_id, [one.kind for one in arrivals], confirm)
    known = KindsAndBins(person.shop_id, {one.kind.fit_id for one in arrivals})
    judged = arrivals_judge(person=person, arrivals=arrivals, right=right, known=known)
    for plate in judged.plates:
        plate.order_line = lines[plate.kind_id]
    arrivals_book(person=person, judged=judged, made_key=made_key)
    claims = claims_open(shop_id=person.shop_id, plates=judged.plates, known=known)
    _keep(order, lines.values())
    return order, judged, claims


def order_receive_lot(
    *, person: Person, order_id: uuid.UUID, kind: Kind, count: int, over: bool = False, **lot: Any
) -> Received:
    """A lot of this order comes in; ``lot``: the rest of what :func:`lot_receive` takes. Raises as that does, and as
    :func:`order_receive`; ``over`` confirms more than is due.
    """
    order, lines = _counted(person, order_id, [kind] * count, over)
    received = lot_receive(person=person, kind=kind, count=count, order_line=lines[kind.pk].pk, **lot)
    claims_open(shop_id=person.shop_id, plates=received.plates)
    _keep(order, lines.values())
    return received


def arrival_undo(*, person: Person, plate: Plate) -> None:
    """Undo the scan of a plate, or the whole lot it came with, and take it off its order. Raises WrongState."""
    line_id = plate.order_line_id
    own = OrderLine.objects.filter(shop_id=person.shop_id)
    order = order_lock(person, own.values_list("order", flat=True).get(pk=line_id)) if line_id else None
    if order:
        of_lot = Plate.objects.filter(shop_id=person.shop_id, lot=plate.lot) if plate.lot else None
        booked = [plate.pk] if of_lot is None else of_lot.values_list("pk", flat=True)
        claims_drop(shop_id=person.shop_id, plates=booked)
    if plate.lot:
        lot_undo(person=person, lot_id=plate.lot.pk)
    else:
        plate_undo(person=person, plate_id=plate.pk)
    if order:
        lines = list(order.lines.all())
        line = next(one for one in lines if one.pk == line_id)
        line.received -= plate.lot.count if plate.lot else 1
        _keep(order, lines)


def _counted(
    person: Person, order_id: uuid.UUID, came: Sequence[Kind], over: bool
) -> tuple[Order, dict[uuid.UUID, OrderLine]]:
    """The locked order and its lines by kind, with what came counted on them; nothing of it is written yet."""
    order = order_lock(person, order_id)
    if order.state not in (*DUE, OrderState.RECEIVED):
        way_out = "Send it first." if order.state == OrderState.DRAFT else "Scan the plates in without it."
        raise NothingDue(f"Order {order.number} is {order.get_state_display()}: nothing is due from it. {way_out}")
    lines = {line.kind_id: line for line in order.lines.select_related("kind")}
    for place, kind in enumerate(came):
        if kind.pk not in lines:
            raise NotOrdered(
                f"{kind.code} is not on order {order.number}. Scan it in without an order, or against its own.",
                [(f"/plates/{place}/kind", "not on this order")],
            )
    for kind_id, count in Counter(kind.pk for kind in came).items():
        line = lines[kind_id]
        if count > line.to_come and not over:
            raise OverDelivery(
                f"{line.to_come} of {line.kind.code} are still due on order {order.number}, and {count} came. Count "
                "them; if that many came, confirm.",
                [("/plates", f"{count} of {line.kind.code}, {line.to_come} due")],
            )
        line.received += count
    return order, lines


def _keep(order: Order, lines: Any) -> None:
    """Write what came so far, and the state that this makes of the order; a cancelled one stays cancelled."""
    OrderLine.objects.filter(shop_id=order.shop_id).bulk_update(lines, ["received"])
    if order.state == OrderState.CANCELLED:
        return
    if all(line.to_come == 0 for line in lines):
        order.state, order.ended_at = OrderState.RECEIVED, order.ended_at or timezone.now()
    else:
        order.state = OrderState.PART if any(line.received for line in lines) else OrderState.SENT
        order.ended_at = None
    order.save(update_fields=["state", "ended_at"])
