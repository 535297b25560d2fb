"""What every row of a shop has: a key made here, a shop that comes first, and links that cannot leave it."""

import os
import time
import uuid
from collections.abc import Callable, Sequence
from typing import Any

from django.db import connection, models, transaction
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.backends.ddl_references import Statement, Table

from shop.errors import Busy, Refusal, Unavailable, refusals


def uuid7() -> uuid.UUID:
    """A time-ordered key: RFC 9562 version 7, with the fraction of the millisecond in its first twelve free bits."""
    milliseconds, rest = divmod(time.time_ns(), 1_000_000)
    value = int.from_bytes(os.urandom(8), "big") & ((1 << 62) - 1)
    value |= (milliseconds & ((1 << 48) - 1)) << 80 | 7 << 76 | (rest * 4096 // 1_000_000) << 64 | 2 << 62
    return uuid.UUID(int=value)


def id_of(text: str) -> uuid.UUID | None:
    """The key that a text names, or None."""
    try:
        return uuid.UUID(text)
    except ValueError:
        return None


class SameShop(models.BaseConstraint):
    """A link that keeps shops apart: FOREIGN KEY (shop, link) REFERENCES target (shop, id).

    Django has no composite foreign keys, so the field itself carries ``db_constraint=False`` and this stands in.
    ``at_commit``: looked at only then, for a row that names one which is written after it.
    """

    def __init__(self, *, field: str, name: str, at_commit: bool = False) -> None:
        super().__init__(name=name)
        self.field, self.at_commit = field, at_commit

    def _clause(self, model: type[models.Model], editor: BaseDatabaseSchemaEditor) -> str:
        field: Any = model._meta.get_field(self.field)
        shop: Any = model._meta.get_field("shop")
        target = field.remote_field.model
        columns = [editor.quote_name(column) for column in (shop.column, field.column)]
        target_columns = [editor.quote_name(target._meta.get_field(name).column) for name in ("shop", "id")]
        return (
            f"CONSTRAINT {editor.quote_name(self.name)} FOREIGN KEY ({', '.join(columns)}) "
            f"REFERENCES {editor.quote_name(target._meta.db_table)} ({', '.join(target_columns)})"
            f"{' DEFERRABLE INITIALLY DEFERRED' if self.at_commit else ''}"
        )

    def constraint_sql(self, model: Any, schema_editor: Any) -> str:
        return self._clause(model, schema_editor)

    def create_sql(self, model: Any, schema_editor: Any) -> Any:
        table = Table(model._meta.db_table, schema_editor.quote_name)
        return Statement(f"ALTER TABLE %(table)s ADD {self._clause(model, schema_editor)}", table=table)

    def remove_sql(self, model: Any, schema_editor: Any) -> Any:
        table = Table(model._meta.db_table, schema_editor.quote_name)
        return Statement(f"ALTER TABLE %(table)s DROP CONSTRAINT {schema_editor.quote_name(self.name)}", table=table)

    def validate(self, model: Any, instance: Any, exclude: Any = None, using: str = "default") -> None:
        """Nothing to ask beforehand: the database decides, and its refusal is a fault of ours, not of the user."""

    def deconstruct(self) -> Any:
        path, args, kwargs = super().deconstruct()
        return path, args, {**kwargs, "field": self.field, **({"at_commit": True} if self.at_commit else {})}

    def __eq__(self, other: object) -> bool:
        return isinstance(other, SameShop) and self.deconstruct() == other.deconstruct()

    def __hash__(self) -> int:
        return hash((self.name, self.field))


class ShopRow(models.Model):
    """A row of one shop. The shop comes first in every key and index, so that a shop can be moved as a whole."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    shop = models.ForeignKey("shop.Shop", on_delete=models.PROTECT, db_index=False, related_name="+")

    class Meta:
        abstract = True
        constraints = [models.UniqueConstraint(fields=["shop", "id"], name="%(class)s_shop_id")]

    def _do_update(self, base_qs: Any, *values: Any) -> Any:
        """Django's own UPDATE of ``save`` names the row by its key alone; see `shop.links`."""
        return super()._do_update(base_qs.filter(shop_id=self.shop_id), *values)

    def refresh_from_db(self, using: str | None = None, fields: Any = None, from_queryset: Any = None) -> None:
        rows = type(self)._base_manager.all() if from_queryset is None else from_queryset
        known = self.__dict__.get("shop_id")  # a row that was read without it asks for just that
        super().refresh_from_db(using, fields, rows.filter(shop_id=known) if known else rows)


#: From so many rows on it is dearer to go by a plan for a small table than to make a new one.
MANY_ROWS = 200


def plans_renew(rows: int) -> None:
    """Between rows and those that link to them, when there are many: let the links be looked up by the index.

    A connection keeps its plan for the check of a foreign key. Made when the table was nearly empty it reads the whole
    table for each row, and nothing ends it before the next ANALYZE, which does not see what is not committed.
    """
    if rows >= MANY_ROWS:
        with connection.cursor() as cursor:
            cursor.execute("DISCARD PLANS")


def rows_write(places: Sequence[int], write: Callable[[Sequence[int]], object]) -> dict[int, Refusal]:
    """Write rows at once; what a named constraint refuses is looked for by halves, and its place told with the reason.

    All other rows are written, the earlier one of two that are in each other's way. Raises Busy, Unavailable, which are
    the fault of no row.
    """
    try:
        with refusals(), transaction.atomic():
            write(places)
    except (Busy, Unavailable):
        raise
    except Refusal as refusal:
        if len(places) == 1:
            return {places[0]: refusal}
        half = len(places) // 2
        return rows_write(places[:half], write) | rows_write(places[half:], write)
    return {}
