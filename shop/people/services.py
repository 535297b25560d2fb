"""Writes of the people room."""

import uuid

from django.db import connection, transaction

from shop.people.models import Person, Role, Shop
from shop.rows import uuid7


def shop_open(*, name: str, owner: str, password: str | None, is_demo: bool = False, unit_first: str = "in") -> Person:
    """A new shop and its owner, nothing else. Without a password the owner cannot sign in on pages."""
    with transaction.atomic():
        shop = Shop.objects.create(name=name, is_demo=is_demo, unit_first=unit_first)
        return Person.objects.create_person(shop=shop, username=owner, password=password, role=Role.OWNER)


def number_next(*, shop_id: uuid.UUID, name: str) -> int:
    """The next short number; its row stays locked until the transaction ends, so it comes last in the lock order."""
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO shop_counter (id, shop_id, name, value) VALUES (%s, %s, %s, 1)"
            " ON CONFLICT (shop_id, name) DO UPDATE SET value = shop_counter.value + 1 RETURNING value",
            [uuid7(), shop_id, name],
        )
        return cursor.fetchone()[0]
