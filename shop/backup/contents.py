"""What a database holds: its tables counted and digested, its migrations."""

from typing import NamedTuple

from django.db.backends.base.base import BaseDatabaseWrapper

#: Relations that a person or a program made; those of an extension come and go with it.
_OURS = """
 FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
WHERE n.nspname !~ '^pg_' AND n.nspname <> 'information_schema'
  AND NOT EXISTS (SELECT 1 FROM pg_depend d WHERE d.classid = 'pg_class'::regclass AND d.objid = c.oid
                                              AND d.deptype = 'e')
"""
_TABLES = f"SELECT n.nspname, c.relname {_OURS} AND c.relkind = 'r' ORDER BY 1, 2"
_RELATIONS = f"SELECT c.relname {_OURS} AND c.relkind IN ('r', 'p', 'v', 'm', 'S', 'f') ORDER BY c.relname LIMIT 3"

# A row as text depends on these, and a server may set them otherwise.
_SAME_TEXT = (
    "SELECT set_config(name, value, true) FROM (VALUES ('TimeZone', 'UTC'), ('DateStyle', 'ISO, YMD'), "
    "('IntervalStyle', 'postgres'), ('extra_float_digits', '1'), ('bytea_output', 'hex')) AS v(name, value)"
)
# A sum of half an MD5 of each row: the order of the rows does not matter, and every server reckons the same.
_DIGEST = "SELECT count(*), coalesce(sum(('x' || left(md5(t::text), 16))::bit(64)::bigint), 0)::text FROM {} t"


class Table(NamedTuple):
    """One table: its number of rows, and the sum of their digests."""

    rows: int
    digest: str


def tables_read(connection: BaseDatabaseWrapper) -> dict[str, Table]:
    """Every table by its name with its schema. To be called within a transaction: settings change until its end."""
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        cursor.execute(_SAME_TEXT)
        cursor.execute(_TABLES)
        found = {}
        for schema, name in cursor.fetchall():
            cursor.execute(_DIGEST.format(f"{quote(schema)}.{quote(name)}"))
            found[f"{schema}.{name}"] = Table(*cursor.fetchone())
    return found


def relations(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of up to three relations; none in an empty database."""
    with connection.cursor() as cursor:
        cursor.execute(_RELATIONS)
        return [name for (name,) in cursor.fetchall()]


def migrations_read(connection: BaseDatabaseWrapper) -> list[str]:
    """The migrations that the database has had, as `app.name`; none where it was never migrated."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT to_regclass('django_migrations') IS NOT NULL")
        if not cursor.fetchone()[0]:
            return []
        cursor.execute("SELECT app || '.' || name FROM django_migrations ORDER BY id")
        return [name for (name,) in cursor.fetchall()]
