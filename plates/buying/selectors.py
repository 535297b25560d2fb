"""Reads of the buying room."""

import uuid

from django.db.models import F, QuerySet
from django.utils import timezone

from plates.buying.models import DUE, BuyRule, Order
from plates.stock.models import Plate, State


def orders(shop_id: uuid.UUID) -> QuerySet[Order]:
    """All orders with their lines."""
    rows = Order.objects.filter(shop_id=shop_id).select_related("supplier", "person")
    return rows.prefetch_related("lines__kind").order_by("number")


def rules(shop_id: uuid.UUID) -> QuerySet[BuyRule]:
    """All rules, those of whole rows before those of their sizes."""
    rows = BuyRule.objects.filter(shop_id=shop_id).select_related("fit")
    return rows.order_by("fit__code", "role", F("nominal_nm").asc(nulls_first=True))


def quarantined_of(order: Order) -> QuerySet[Plate]:
    """What came with this order and was set aside: to be claimed on its supplier."""
    rows = Plate.objects.filter(shop_id=order.shop_id, order_line__order=order, state=State.QUARANTINED)
    return rows.select_related("kind").order_by("kind__code", "id")


def late(shop_id: uuid.UUID) -> QuerySet[Order]:
    """Sent orders that should have been through before today, the longest late first."""
    rows = Order.objects.filter(shop_id=shop_id, state__in=DUE, due__lt=timezone.localdate())
    return rows.select_related("supplier").order_by("due", "number")
