"""A shop out of one database into another at the same migrations: its rows of every table, the linked ones first.

Nothing of the product: that it can be done so simply shows that a shop hangs on nothing outside itself.
"""

from graphlib import TopologicalSorter
from typing import TYPE_CHECKING
from uuid import UUID

import psycopg
from psycopg import sql

if TYPE_CHECKING:
    from tests.conftest import Urls

_COLUMNS = """
SELECT c.relname, array_agg(a.attname ORDER BY a.attnum)
  FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
 WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r' AND a.attgenerated = '' GROUP BY 1
"""
_LINKS = """
SELECT conrelid::regclass::text, confrelid::regclass::text FROM pg_constraint
 WHERE contype = 'f' AND connamespace = 'public'::regnamespace AND conrelid <> confrelid
"""


def shop_tables(connection: psycopg.Connection) -> dict[str, list[str]]:
    """Each table of a shop, the shop's own first, with its columns: what a row links to stands before it."""
    columns: dict[str, list[str]] = dict(connection.execute(_COLUMNS).fetchall())
    order: TopologicalSorter[str] = TopologicalSorter(dict.fromkeys(columns, ()))
    for table, to in connection.execute(_LINKS):
        order.add(table, to)
    return {name: columns[name] for name in order.static_order() if name == "shop_shop" or "shop_id" in columns[name]}


def shop_rows(table: str, columns: list[str], shop: UUID | None) -> sql.Composed:
    """The query for the rows of one shop in a table, or of all."""
    names = sql.SQL(", ").join(map(sql.Identifier, columns))
    query = sql.SQL("SELECT {} FROM {}").format(names, sql.Identifier(table))
    if shop is None:
        return query
    whose = sql.Identifier("id" if table == "shop_shop" else "shop_id")
    return sql.SQL("{} WHERE {} = {}").format(query, whose, sql.Literal(str(shop)))


def shop_move(shop: UUID, *, out: "Urls", into: "Urls") -> int:
    """Write the shop's rows into the other database, all or none; returns how many. Those here stay as they are."""
    rows = 0
    with psycopg.connect(out.app) as source, psycopg.connect(into.app) as target:
        source.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        for table, columns in shop_tables(source).items():
            names = sql.SQL(", ").join(map(sql.Identifier, columns))
            reads = sql.SQL("COPY ({}) TO STDOUT").format(shop_rows(table, columns, shop))
            writes = sql.SQL("COPY {} ({}) FROM STDIN").format(sql.Identifier(table), names)
            with source.cursor() as read, target.cursor() as written:
                with read.copy(reads) as lines, written.copy(writes) as there:
                    for part in lines:
                        there.write(part)
                rows += written.rowcount
    return rows
