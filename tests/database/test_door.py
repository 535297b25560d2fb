"""The door to a PostgreSQL that spreads shops over machines stays open: a row belongs to one shop, each of its keys and
indexes begins with it, and no link leads to another one.

What such a database asks for: unique and foreign keys hold the column by which the tables are spread.
"""

from typing import Any

import pytest
from django.db import connection

pytestmark = pytest.mark.django_db

#: Tables that are there once, not once a shop: the shops themselves, Django's own, and the tries of passwords that
#: django-axes counts, before anybody knows whose they are.
ONCE = {"shop_shop", "django_migrations", "django_content_type", "django_session", "auth_permission", "auth_group",
        "auth_group_permissions", "axes_accessattempt", "axes_accessattemptexpiration", "axes_accessfailurelog",
        "axes_accesslog"}  # fmt: skip


#: What somebody is known by before it is known of which shop he is: such a database keeps these in one place for all.
BEFORE_THE_SHOP = {
    "shop_person_badge_sha256_key",
    "shop_person_username_key",
    "shop_terminal_sha256_key",
    "shop_token_sha256_key",
}


def rows(statement: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return cursor.fetchall()


def tables() -> set[str]:
    return {name for (name,) in rows("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")}


def test_every_row_says_whose_it_is() -> None:
    with_shop = {
        name
        for (name,) in rows(
            "SELECT table_name FROM information_schema.columns "
            "WHERE table_schema = 'public' AND column_name = 'shop_id'"
        )
    }
    assert tables() - ONCE - with_shop == set()


def test_every_unique_key_but_the_one_of_the_row_begins_with_the_shop() -> None:
    found = rows(
        """
        SELECT c.relname, i.relname, a.attname FROM pg_index x
          JOIN pg_class c ON c.oid = x.indrelid JOIN pg_class i ON i.oid = x.indexrelid
          LEFT JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = x.indkey[0]
         WHERE c.relnamespace = 'public'::regnamespace AND x.indisunique AND NOT x.indisprimary
        """
    )
    assert len(found) > 50
    elsewhere = {index for table, index, first in found if table not in ONCE and first != "shop_id"}
    assert elsewhere == BEFORE_THE_SHOP


def test_every_link_stays_within_its_shop() -> None:
    found = rows(
        """
        SELECT c.conname, t.relname, f.relname,
               (SELECT array_agg(a.attname ORDER BY n) FROM unnest(c.conkey) WITH ORDINALITY k(att, n)
                  JOIN pg_attribute a ON a.attrelid = c.conrelid AND a.attnum = k.att),
               (SELECT array_agg(a.attname ORDER BY n) FROM unnest(c.confkey) WITH ORDINALITY k(att, n)
                  JOIN pg_attribute a ON a.attrelid = c.confrelid AND a.attnum = k.att)
          FROM pg_constraint c JOIN pg_class t ON t.oid = c.conrelid JOIN pg_class f ON f.oid = c.confrelid
         WHERE c.contype = 'f' AND t.relnamespace = 'public'::regnamespace
        """
    )
    assert len(found) > 50
    crossing = [
        name
        for name, table, to, columns, target in found
        if table not in ONCE and to not in ONCE and ("shop_id", "shop_id") not in zip(columns, target, strict=True)
    ]
    assert crossing == []
