"""The orders as *Scan in* asks for them: :class:`plates.stock.deliveries.Orders`."""

import re
import uuid
from collections.abc import Collection
from typing import Any

from django.db.models import QuerySet

from plates.buying import selectors
from plates.buying.models import DUE, Order
from plates.buying.receiving import NothingDue, arrival_undo, order_receive, order_receive_lot
from plates.catalogue.models import Kind
from plates.scan_codes import scan_parse
from plates.stock.arrivals import Arrival
from plates.stock.models import Plate
from plates.stock.services import Received
from shop.people.models import Person

__all__ = [
    "arrival_undo",
    "claimed",
    "kind_marked",
    "lot_came",
    "order_named",
    "order_numbered",
    "orders_due",
    "plate_came",
]

_MARKED = re.compile(r"mark\s+(\S.{0,199})", re.IGNORECASE)
_TYPED = re.compile(r"order\s*(\d{1,15})", re.ASCII | re.IGNORECASE)


def orders_due(shop_id: uuid.UUID) -> list[Order]:
    """The oldest first."""
    return list(selectors.orders(shop_id).filter(state__in=DUE)[:40])


def order_named(shop_id: uuid.UUID, text: str) -> Order | None:
    label, typed = scan_parse(text), _TYPED.fullmatch(text.strip())
    if label and label.sort == "order":
        return order_numbered(shop_id, label.code)
    return order_numbered(shop_id, typed[1]) if typed else None


def order_numbered(shop_id: uuid.UUID, number: str) -> Order | None:
    return _numbered(shop_id, number).first()


def kind_marked(shop_id: uuid.UUID, number: str, text: str) -> Kind | None:
    """None, too, where pieces of several sets bear this mark."""
    typed, order = _MARKED.fullmatch(text.strip()), order_numbered(shop_id, number)
    if not typed or not order:
        return None
    found = [line.kind for line in order.lines.all() if line.of_set_id and line.kind.mark == typed[1]]
    return found[0] if len(found) == 1 else None


def _numbered(shop_id: uuid.UUID, number: str) -> QuerySet[Order]:
    rows = selectors.orders(shop_id)
    return rows.filter(number=int(number)) if re.fullmatch(r"[0-9]{1,15}", number) else rows.none()


def claimed(shop_id: uuid.UUID, plate_ids: Collection[uuid.UUID]) -> dict[uuid.UUID, str]:
    rows = selectors.claims(shop_id).filter(plate__in=plate_ids)
    return dict(rows.values_list("plate", "why"))


def plate_came(*, person: Person, number: str, arrival: Arrival, over: bool, made_key: str | None) -> Plate:
    _, judged, _ = order_receive(
        person=person, order_id=_id_of(person, number), arrivals=[arrival], confirm=over, made_key=made_key
    )
    return judged.plates[0]


def lot_came(*, person: Person, number: str, **lot: Any) -> Received:
    return order_receive_lot(person=person, order_id=_id_of(person, number), **lot)


def _id_of(person: Person, number: str) -> uuid.UUID:
    found = _numbered(person.shop_id, number).values_list("pk", flat=True).first()
    if found is None:
        raise NothingDue(f"There is no order {number}. Scan the plates in without it.")
    return found
