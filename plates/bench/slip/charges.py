"""What a match took from the shelf, as lines to charge its job with."""

from collections import Counter
from dataclasses import dataclass
from decimal import Decimal

from plates.bench.models import Match
from plates.bench.slip.agreement import named_rows
from plates.catalogue.models import Kind


@dataclass(frozen=True)
class ChargeLine:
    """``quantity`` plates of one kind. ``unit_cost``: what the shop paid for one, where the kind says so; no price."""

    quantity: int
    kind: str
    unit_cost: Decimal | None

    @property
    def cost(self) -> Decimal | None:
        return None if self.unit_cost is None else self.unit_cost * self.quantity


def charge_lines(match: Match) -> list[ChargeLine]:
    """The plates of the slip that came off the shelf, kind by kind; what lay on a bench is not charged. One query."""
    counts = Counter(row["kind"] for row in named_rows(match).values())
    if not counts:
        return []
    kinds = Kind.objects.filter(shop_id=match.shop_id, code__in=counts)
    costs = dict(kinds.values_list("code", "unit_cost"))
    return [ChargeLine(count, kind, costs.get(kind)) for kind, count in sorted(counts.items())]
