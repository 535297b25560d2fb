"""How the figures read the database: rows by the names of their columns."""

from typing import Any

from django.db import connection


def rows_of(statement: str, **values: Any) -> list[dict[str, Any]]:
    """The rows of one statement."""
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        names = [column.name for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
