"""Plates sent from one shop of ours to another: an out there and an in here, which share a key and nothing else.

No row of a shop names one of another, so the two sides meet only where somebody may look at all shops: here, for
``manage.py transfers``.
"""

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, Exists, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from plates.stock.ledger_models import Act, LedgerLine
from plates.stock.models import HandOut, Plate, Reason, State


@dataclass(frozen=True)
class Transfer:
    """``sent``: plates that left; ``gone``: those of them that are still away; ``came``: booked by name of the shop.
    What was sent from elsewhere has no ``at``.
    """

    key: uuid.UUID
    shop: str
    to: str
    at: datetime | None
    sent: int
    gone: int
    came: dict[str, int]

    @property
    def arrived(self) -> int:
        return sum(self.came.values())

    @property
    def under_way(self) -> int:
        """Below zero where more came than is away: a plate stands in two shops."""
        return self.gone - self.arrived


def _count(rows: QuerySet[Any]) -> Coalesce:
    return Coalesce(Subquery(rows.order_by().values("hand_out").annotate(count=Count("pk")).values("count")), 0)


def transfers() -> Iterator[Transfer]:
    """All transfers of all shops of this database, the oldest first; behind them what was sent from elsewhere."""
    came: dict[uuid.UUID, dict[str, int]] = {}
    undone = LedgerLine.objects.filter(shop_id=OuterRef("shop_id"), plate=OuterRef("pk"), act=Act.UNDONE)
    arrived = Plate.objects.filter(~Exists(undone), transfer__isnull=False).values("transfer", "shop__name")
    for row in arrived.annotate(plates=Count("id")).order_by("transfer", "shop__name"):
        key: Any = row["transfer"]
        came.setdefault(key, {})[row["shop__name"]] = row["plates"]
    there = {"shop_id": OuterRef("shop_id"), "hand_out": OuterRef("pk")}
    rows = HandOut.objects.filter(reason=Reason.TRANSFER).select_related("shop")
    rows = rows.annotate(
        sent=_count(LedgerLine.objects.filter(**there, act=Act.HANDED_OUT)),
        gone=_count(Plate.objects.filter(**there, state=State.HANDED_OUT)),
    )
    for made in rows.order_by("at", "id").iterator():
        yield Transfer(made.pk, made.shop.name, made.to, made.at, made.sent, made.gone, came.pop(made.pk, {}))
    for key, plates in came.items():
        yield Transfer(key, "", "", None, 0, 0, plates)
