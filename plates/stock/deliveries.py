"""What scanning in asks of the room that keeps the orders.

That room lies above this one: the addresses hand it to the pages.
"""

import uuid
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from plates.catalogue.models import Kind
from plates.stock.arrivals import Arrival
from plates.stock.batches import Batch
from plates.stock.findings import Reading, Tags
from plates.stock.models import Bin, Plate
from plates.stock.services import Received
from shop.errors import Refusal
from shop.people.models import Person

#: So many lines of an order stand at the top of a page.
SHOWN = 12


class NotDue(Refusal):
    """What came does not count on the order that it is scanned in against. ``may_confirm``: unless a person says so."""

    may_confirm = False


class Orders(Protocol):
    """An order is known by its number, as it stays on the page; what :class:`NotDue` says has a way out there."""

    def orders_due(self, shop_id: uuid.UUID) -> Sequence[Any]:
        """What was sent and has not all come."""

    def order_named(self, shop_id: uuid.UUID, text: str) -> Any | None:
        """The order of a scanned label, or of "order" and its number; any other text names none."""

    def order_numbered(self, shop_id: uuid.UUID, number: str) -> Any | None:
        """The order of this number, with its lines and sets."""

    def kind_marked(self, shop_id: uuid.UUID, number: str, text: str) -> Kind | None:
        """The piece of a set on the order that "mark" and its mark name."""

    def plate_came(self, *, person: Person, number: str, arrival: Arrival, over: bool, made_key: str | None) -> Plate:
        """Scan in a plate of the order; ``over``: more may come than is due. Raises NotDue, and as a scan does."""

    def lot_came(
        self,
        *,
        person: Person,
        number: str,
        kind: Kind,
        count: int,
        readings: Sequence[Reading],
        tags: Tags,
        chosen_bin: Bin | None,
        confirm: bool,
        over: bool,
        made_key: str | None,
    ) -> Received:
        """Book a lot of the order, as :func:`lot_receive`; ``over`` as above. Raises NotDue besides."""

    def claimed(self, shop_id: uuid.UUID, plate_ids: Collection[uuid.UUID]) -> Mapping[uuid.UUID, str]:
        """Those of these plates that are claimed on their supplier, each with the reason."""

    def arrival_undo(self, *, person: Person, plate: Plate) -> None:
        """Undo the scan of a plate, or the whole lot it came with, and take it off its order. Raises WrongState."""


@dataclass(frozen=True)
class Came:
    """How far one line of an order is, and the address to scan in its kind."""

    line: Any
    to: str
    here: bool


def delivery(batch: Batch, orders: Orders) -> dict[str, Any]:
    """The order of a batch as its page shows it: its tally, the lines that are due first; {} without one."""
    if not batch.order:
        return {}
    order = orders.order_numbered(batch.kind.shop_id, batch.order)
    lines = list(order.lines.all()) if order else []
    rows = [Came(line, batch.of_kind(line.kind).address(), line.kind_id == batch.kind.pk) for line in lines]
    rows.sort(key=lambda row: (not row.here, row.line.to_come == 0))
    more = len(rows) - SHOWN
    return {
        "order": order,
        "came": rows[:SHOWN],
        "more_lines": max(0, more),
        "listed": any(row.here for row in rows),
        "without": batch.without_order().address(),
    }
