"""The buyer's week in words: what to buy, what was missed, what is late, claims, gauges that are due, loans."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from fractions import Fraction
from typing import Any

from django.utils import timezone

from plates.bench import selectors as bench
from plates.bench.short.telephone import lines_of
from plates.buying.claim_models import ClaimState
from plates.buying.demand import WEEKS
from plates.buying.models import Order, OrderSet
from plates.buying.one_size import Size
from plates.buying.selectors import claims, late
from plates.buying.sizes import sizes
from plates.catalogue.models import Role
from plates.lengths import both
from plates.measuring import selectors as measuring
from plates.stock.models import Reason
from plates.stock.selectors import still_out
from shop.people.models import Shop

#: What was missed is looked for so far back, what falls due so far ahead.
WEEK = timedelta(days=7)


MOST_MISSED = (
    f"Sizes that would have helped most in {WEEKS} weeks, each missed pack shared over those that close it"
)


@dataclass(frozen=True)
class Part:
    """One part of the sheet: its lines, or what is said where there are none."""

    title: str
    nothing: str
    lines: list[str] = field(default_factory=list)


def week(shop: Shop) -> list[Part]:
    """The whole sheet."""
    found, unit = sizes(shop), shop.unit_first
    return [
        Part(
            "To buy",
            "Nothing: every size that is asked for has enough.",
            [_buy(one, unit) for one in found if one.buy],
        ),
        Part("Missed in the last week", "Nothing.", list(_missed(shop))),
        Part(MOST_MISSED, "None was missed.", _most_missed(found, unit)),
        Part("Orders that are late", "None.", [_late(order) for order in late(shop.pk)]),
        Part("Open claims", "None.", list(_claims(shop))),
        Part("Gauges due within a week", "None.", list(_gauges(shop))),
        Part("Lent and overdue", "Nothing.", list(_lent(shop))),
    ]


def _buy(size: Size, unit: str) -> str:
    kind = size.kind
    assert kind is not None
    of = f" from {kind.supplier}" if kind.supplier else ""
    name = f"{kind.code} ({Role(size.role).label} {both(kind.nominal_nm, unit)})"
    return f"{size.buy} of {name}{of}: {'; '.join(size.reasons)}"


def _missed(shop: Shop) -> Iterator[str]:
    for row in bench.missed(shop.pk).filter(at__gt=timezone.now() - WEEK):
        said = "; ".join(lines_of(row.ranges, row.spec, shop.unit_first)) or "neither one plate nor two equal ones"
        job = f", job {row.job.code}" if row.job else ""
        yield f"{row.day}, {row.spec.code}{job}, match {row.match.number}: {said}"


def _most_missed(found: list[Size], unit: str) -> list[str]:
    rows = sorted((size for size in found if size.missed), key=lambda size: (-size.missed, size.fit, size.number))
    return [
        f"{Role(size.role).label} {both(size.centre_nm, unit)}, fit {size.fit}: {_packs(size.missed)}"
        + ("" if size.kind else ", not catalogued")
        for size in rows[:5]
    ]


def _packs(share: Fraction) -> str:
    """A share of the missed packs, as far as a person would say it."""
    if share < Fraction(1, 20):
        return "less than 0.1 pack"
    said = f"{float(share):.1f}".removesuffix(".0")
    return f"{said} pack" if float(said) <= 1 else f"{said} packs"


def _late(order: Order) -> str:
    begun = [_begun(one) for one in order.sets.all() if one.to_come]
    return "; ".join([f"order {order.number} to {order.supplier}, due {order.due}", *begun])


def _begun(one: OrderSet) -> str:
    came = one.count
    missing = f", {', '.join(kind.code for kind in came.missing)} to come" if came.there else ""
    return f"{one.code}, {one.progress}{missing}"


def _claims(shop: Shop) -> Iterator[str]:
    for claim in claims(shop.pk).filter(state=ClaimState.OPEN):
        line = claim.plate.order_line
        assert line is not None
        read = both(claim.thickness_nm, shop.unit_first)
        yield f"on {line.order.supplier}, order {line.order.number}: {claim.plate.kind.code} {read}. {claim.why}"


def _gauges(shop: Shop) -> Iterator[str]:
    until = timezone.now() + WEEK
    for gauge in measuring.gauges(shop.pk):
        if gauge.due_at is not None and gauge.due_at <= until and gauge.withdrawn_at is None:
            yield f"{gauge.code}, due {timezone.localtime(gauge.due_at).date()}"


def _lent(shop: Shop) -> Iterator[str]:
    rows: Any = still_out(shop.pk, Reason.LENT)
    for row in rows:
        if row.due and row.due < timezone.localdate():
            plates = ", ".join(f"{one.kind.code} {both(one.thickness_nm, shop.unit_first)}" for one in row.away)
            yield f"to {row.to or 'nobody named'}, due {row.due}: {plates}"
