"""How the demo shop buys: its rules, and an order that should have been there by now."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial
from typing import Any

from plates.buying.models import Order
from plates.buying.orders import Wanted, order_make, order_send
from plates.buying.rules import rule_set
from shop.demo.catalogue import Catalogue
from shop.demo.crew import Crew


def rules_make(crew: Crew, stock: Catalogue, rows: list[dict[str, Any]]) -> None:
    for row in rows:
        given = row | {"fit": stock.fits[row["fit"]], "order_cost": Decimal(row["order_cost"])}
        rule_set(person=crew.buyer, **given)


def orders(
    crew: Crew, stock: Catalogue, now: datetime, rows: list[dict[str, Any]]
) -> Iterator[tuple[datetime, Callable[[], object]]]:
    """Every order on its day: made, and sent at once."""
    for row in rows:
        at = now - timedelta(days=row["days_ago"])
        yield at, partial(_order, crew, stock, row, at)


def _order(crew: Crew, stock: Catalogue, row: dict[str, Any], at: datetime) -> None:
    lines = [Wanted(stock.kinds[code], count) for code, count in row["lines"]]
    due = (at + timedelta(days=row["days_due"])).date()
    order = order_make(person=crew.buyer, supplier=row["supplier"], lines=lines, due=due)
    order_send(person=crew.buyer, order_id=order.pk)
    # An order is dated by the clock; this one is told as of its day.
    Order.objects.filter(shop_id=crew.buyer.shop_id, pk=order.pk).update(made_at=at, sent_at=at)
