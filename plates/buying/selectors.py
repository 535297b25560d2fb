"""Reads of the buying room."""

import uuid
from collections.abc import Collection

from django.db.models import F, QuerySet
from django.utils import timezone

from plates.buying.claim_models import Claim
from plates.buying.models import DUE, BuyRule, Order
from plates.stock.models import Plate, State


def orders(shop_id: uuid.UUID) -> QuerySet[Order]:
    """All orders with their lines and sets."""
    rows = Order.objects.filter(shop_id=shop_id).select_related("supplier", "person")
    return rows.prefetch_related("lines__kind", "sets__pieces__kind").order_by("number")


def rules(shop_id: uuid.UUID, fits: Collection[str] = ()) -> QuerySet[BuyRule]:
    """The rules of these fits (by code), or all; those of whole rows before those of their sizes."""
    rows = BuyRule.objects.filter(shop_id=shop_id).select_related("fit")
    rows = rows.filter(fit__code__in=fits) if fits else rows
    return rows.order_by("fit__code", "role", F("nominal_nm").asc(nulls_first=True))


def unclaimed(order: Order) -> QuerySet[Plate]:
    """What came with this order, was set aside since, and is not claimed on its supplier."""
    rows = Plate.objects.filter(shop_id=order.shop_id, order_line__order=order, state=State.QUARANTINED, claims=None)
    return rows.select_related("kind__fit").order_by("kind__code", "id")


def claims(shop_id: uuid.UUID) -> QuerySet[Claim]:
    """All claims, by supplier and order."""
    rows = Claim.objects.filter(shop_id=shop_id)
    rows = rows.select_related("plate__kind", "plate__order_line__order__supplier", "person")
    return rows.order_by("plate__order_line__order__supplier__name", "plate__order_line__order__number", "id")


def late(shop_id: uuid.UUID) -> QuerySet[Order]:
    """Sent orders that should have been through before today, the longest late first."""
    rows = orders(shop_id).filter(state__in=DUE, due__lt=timezone.localdate())
    return rows.order_by("due", "number")
