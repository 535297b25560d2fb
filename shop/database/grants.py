"""What the application's role may do: read and write rows, and never rewrite the ledger or the audit."""

from __future__ import annotations

from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

#: These tables only grow.
GROWING = ("plates_ledgerline", "shop_auditline")


def grant(connection: BaseDatabaseWrapper) -> None:
    """Give the application's role its rights; called after migrations on the owner's connection.

    The role is the user of the `default` database. Where one role does both, nothing is to give: an owner
    has every right, and only the triggers of those tables stand.
    """
    role = connections["default"].settings_dict["USER"]
    if not role or role == connection.settings_dict["USER"]:
        return
    quote = connection.ops.quote_name
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        cursor.execute("SELECT current_schema()")
        schema = quote(cursor.fetchone()[0])
        cursor.execute(f"GRANT USAGE ON SCHEMA {schema} TO {quote(role)}")
        cursor.execute(
            f"GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA {schema} TO {quote(role)}"
        )
        cursor.execute(f"GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA {schema} TO {quote(role)}")
        for table in GROWING:
            cursor.execute("SELECT to_regclass(%s) IS NOT NULL", [table])
            if cursor.fetchone()[0]:
                cursor.execute(f"REVOKE UPDATE, DELETE, TRUNCATE ON {quote(table)} FROM {quote(role)}")


def grant_after_migrate(*, using: str, **_: object) -> None:
    """Receiver for Django's post_migrate: grants when the owner has migrated."""
    if using == "owner":
        grant(connections[using])
