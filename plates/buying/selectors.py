"""Reads of the buying room."""

import uuid

from django.db.models import F, QuerySet

from plates.buying.models import BuyRule, Order


def orders(shop_id: uuid.UUID) -> QuerySet[Order]:
    """All orders with their lines."""
    rows = Order.objects.filter(shop_id=shop_id).select_related("supplier", "person")
    return rows.prefetch_related("lines__kind").order_by("number")


def rules(shop_id: uuid.UUID) -> QuerySet[BuyRule]:
    """All rules, those of whole rows before those of their sizes."""
    rows = BuyRule.objects.filter(shop_id=shop_id).select_related("fit")
    return rows.order_by("fit__code", "role", F("nominal_nm").asc(nulls_first=True))
