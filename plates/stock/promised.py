"""What of a bin is promised: plates that lie there, held for a pack of somebody."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, F, OuterRef, Subquery
from django.db.models.functions import Now
from django.utils import timezone

from plates.stock.ledger_models import Act, LedgerLine
from plates.stock.models import Bin, Plate, State


@dataclass(frozen=True)
class Promise:
    """``count`` plates of one bin held for one match. ``job`` is blank for a pack without one."""

    count: int
    number: int
    job: str
    person: str
    until: datetime

    @property
    def today(self) -> bool:
        """Whether it runs out on this day, on the wall of the shop."""
        return timezone.localdate(self.until) == timezone.localdate()


def promises(found: Bin) -> list[Promise]:
    """The holds that stand on plates of this bin, the first to run out first; one query."""
    held = LedgerLine.objects.filter(shop_id=found.shop_id, plate=OuterRef("pk"), act=Act.HELD).order_by("-seq")
    rows = (
        Plate.objects.filter(shop_id=found.shop_id, bin=found, state=State.HELD, held_until__gt=Now())
        .annotate(holder=Subquery(held.values("person__username")[:1]))
        .values(number=F("match__number"), code=F("job__code"), by=F("holder"), until=F("held_until"))
        .annotate(plates=Count("pk"))
        .order_by("until", "number")
    )
    return [Promise(row["plates"], row["number"], row["code"] or "", row["by"], row["until"]) for row in rows]
