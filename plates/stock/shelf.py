"""What lies on the shelf, size by size: a histogram for each fit and role, and one for a bin."""

import uuid
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from django.db import connection
from django.db.models import Count, F, Q, QuerySet
from django.db.models.functions import Now

from plates.catalogue.models import Fit, Kind
from plates.lengths import NM_PER
from plates.stock.models import LYING, Bin, Plate, State
from plates.stock.selectors import plates
from plates.stock.sizes import SizeRow
from shop.people.models import Shop


class Bought(NamedTuple):
    """Plates on order, and whether what is free has fallen below ``buy_below``."""

    on_order: int
    low: bool
    buy_below: int


NOT_BOUGHT = Bought(0, False, 0)
#: Who knows it lies above: (fit, role, centre_nm) → of the sizes of these fits.
BoughtOf = Callable[[Shop, Collection[str]], Mapping[tuple[str, str, int], Bought]]


@dataclass(frozen=True)
class Size:
    """One bar: plates of from_nm ≤ t < to_nm; ``lying`` counts ``held`` ones too. ``nominal``: a kind has this size;
    ``bought``: how it stands with the buyer, where that is known.
    """

    centre_nm: int
    from_nm: int
    to_nm: int
    lying: int
    held: int
    nominal: bool = False
    bought: Bought = NOT_BOUGHT


@dataclass(frozen=True)
class Histogram:
    """The sizes of one fit and role, ascending: those catalogued and those that lie there."""

    fit: Fit
    role: str
    sizes: list[Size]

    @property
    def lying(self) -> int:
        return sum(size.lying for size in self.sizes)

    @property
    def held(self) -> int:
        return sum(size.held for size in self.sizes)

    @property
    def on_order(self) -> int:
        return sum(size.bought.on_order for size in self.sizes)

    @property
    def low(self) -> int:
        """How many sizes are low."""
        return sum(size.bought.low for size in self.sizes)

    def with_bought(self, bought: Mapping[tuple[str, str, int], Bought]) -> "Histogram":
        known = (bought.get((self.fit.code, self.role, size.centre_nm), NOT_BOUGHT) for size in self.sizes)
        return replace(self, sizes=[replace(size, bought=one) for size, one in zip(self.sizes, known, strict=True)])


def rows_kept(shop_id: uuid.UUID, *, fit: str = "", role: str = "") -> QuerySet[Kind, tuple[uuid.UUID, str]]:
    """(fit, role) of everything that is catalogued, by the code of the fit; of fits whose code holds ``fit``."""
    kinds = Kind.objects.filter(shop_id=shop_id, fit__code__icontains=fit)
    if role:
        kinds = kinds.filter(role=role)
    return kinds.order_by("fit__code", "role").values_list("fit", "role").distinct()


# Free ones are counted off the index of the shelf, held ones off that of the holds: no row of a table is read for a
# plate that lies elsewhere. A hold that has run out counts as free. Integer division of PostgreSQL cuts towards zero,
# so all sizes are counted from one below zero.
_COUNTED = """
SELECT w.place, s.number, sum(s.lying)::bigint, sum(s.held)::bigint
  FROM unnest(%(place)s::int[], %(fit)s::uuid[], %(role)s::text[], %(least)s::bigint[]) AS w(place, fit, role, least)
 CROSS JOIN LATERAL (
   SELECT (thickness_nm - w.least) / %(step)s AS number, count(*) AS lying, 0 AS held
     FROM plates_plate
    WHERE shop_id = %(shop)s AND fit_id = w.fit AND role = w.role AND state = 'on_shelf'
    GROUP BY 1
   UNION ALL
   SELECT (thickness_nm - w.least) / %(step)s, count(*), count(*) FILTER (WHERE held_until > now())
     FROM plates_plate
    WHERE shop_id = %(shop)s AND fit_id = w.fit AND role = w.role AND state = 'held'
    GROUP BY 1) s
 GROUP BY 1, 2
"""


def histograms(shop_id: uuid.UUID, rows: Iterable[tuple[uuid.UUID, str]], unit: str) -> list[Histogram]:
    """The histogram of each (fit, role) given; three queries, one of them for all bars. What is not catalogued is left
    out.
    """
    wanted = list(rows)
    fit_ids = {fit_id for fit_id, _ in wanted}
    fits = Fit.objects.filter(shop_id=shop_id).in_bulk(fit_ids)
    nominals: dict[tuple[uuid.UUID, str], list[int]] = {}
    for fit_id, role, nominal_nm in Kind.objects.filter(shop_id=shop_id, fit__in=fit_ids).values_list(
        "fit", "role", "nominal_nm"
    ):
        nominals.setdefault((fit_id, role), []).append(nominal_nm)
    known = [(row, SizeRow.of(nominals[row], unit)) for row in wanted if row in nominals]
    if not known:
        return []
    below = [sizes.number(0) for _, sizes in known]
    counted: list[dict[int, tuple[int, int]]] = [{} for _ in known]
    with connection.cursor() as cursor:
        cursor.execute(
            _COUNTED,
            {
                "shop": shop_id,
                "place": list(range(len(known))),
                "fit": [fit_id for (fit_id, _), _ in known],
                "role": [role for (_, role), _ in known],
                "least": [sizes.from_nm(first) for (_, sizes), first in zip(known, below, strict=True)],
                "step": known[0][1].step_nm,
            },
        )
        for place, number, lying, held in cursor.fetchall():
            counted[place][below[place] + number] = lying, held
    return [
        Histogram(fits[row[0]], row[1], _sizes(sizes, bars, nominals[row]))
        for (row, sizes), bars in zip(known, counted, strict=True)
    ]


def _sizes(row: SizeRow, bars: dict[int, tuple[int, int]], nominals_nm: Sequence[int]) -> list[Size]:
    catalogued = {row.number(nominal) for nominal in nominals_nm}
    return [
        Size(
            row.centre_nm(number),
            row.from_nm(number),
            row.from_nm(number + 1),
            *bars.get(number, (0, 0)),
            number in catalogued,
        )
        for number in sorted(catalogued | set(bars))
    ]


def plates_between(shop_id: uuid.UUID, fit: Fit, role: str, from_nm: int, to_nm: int) -> QuerySet[Plate]:
    """What lies on the shelf of this fit and role from from_nm to below to_nm, held ones too, the thinnest first."""
    lying = Q(state=State.ON_SHELF) | Q(state=State.HELD)  # each arm has its index
    span = {"thickness_nm__gte": from_nm, "thickness_nm__lt": to_nm}
    return plates(shop_id).filter(lying, fit=fit, role=role, **span).order_by("thickness_nm", "id")


#: A bin is drawn in bars of one of these steps, the finest with which it has no more than so many bars.
FINE_NM = {
    "in": [NM_PER["in"] // 10_000 * times for times in (1, 2, 5, 10, 20, 50, 100, 1_000)],
    "mm": [NM_PER["mm"] // 1_000 * times for times in (2, 5, 10, 20, 50, 100, 200, 2_000)],
}
MOST_FINE = 25


def bin_histogram(found: Bin, unit: str) -> list[Size]:
    """The bars of what lies in a bin, from its thinnest to its thickest, empty ones between included; one query."""
    lying = Plate.objects.filter(shop_id=found.shop_id, bin=found, state__in=LYING)
    held = Q(state=State.HELD, held_until__gt=Now())
    rows = list(
        lying.values_list("thickness_nm")
        .annotate(lying=Count("pk"), held=Count("pk", filter=held))
        .order_by(F("thickness_nm"))
    )
    if not rows:
        return []
    span_nm = rows[-1][0] - rows[0][0]
    step_nm = next((step for step in FINE_NM[unit] if span_nm // step < MOST_FINE), FINE_NM[unit][-1])
    row = SizeRow(0, step_nm)
    bars = dict.fromkeys(range(row.number(rows[0][0]), row.number(rows[-1][0]) + 1), (0, 0))
    for thickness_nm, count, held_count in rows:
        before = bars[row.number(thickness_nm)]
        bars[row.number(thickness_nm)] = before[0] + count, before[1] + held_count
    return _sizes(row, bars, [])
