"""The sizes of the shelf as the buyer sees them: what lies there, what went, what was missed, and what to buy."""

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache

from django.db.models import F, Sum

from plates.buying import levels
from plates.buying.demand import WEEKS, Counted, lying, misses, used
from plates.buying.missed import Rows, shared, wanted
from plates.buying.models import (
    DUE,
    FILL_WEEKS,
    LEAD_SD_WEEKS,
    LEAD_WEEKS,
    REVIEW_WEEKS,
    SAFETY_WEEKS,
    SERVICE,
    BuyRule,
    Method,
    OrderLine,
)
from plates.buying.selectors import rules
from plates.catalogue.models import Kind, Role
from plates.stock.shelf import Bought
from plates.stock.sizes import SizeRow
from shop.people.models import Shop

#: A row of sizes: code of the fit, and role.
Row = tuple[str, str]


@dataclass
class Size:
    """One step of a row, from_nm ≤ t < to_nm, with its counts in plates. ``kinds``: what is catalogued in it."""

    fit: str
    role: str
    number: int
    from_nm: int
    to_nm: int
    centre_nm: int
    kinds: list[Kind] = field(default_factory=list)
    on_shelf: int = 0
    held: int = 0
    on_order: int = 0
    waiting: int = 0
    taken: int = 0
    missed: Fraction = Fraction(0)
    buy_below: int = 0
    fill_to: int = 0
    buy: int = 0
    reasons: list[str] = field(default_factory=list)

    @property
    def free(self) -> int:
        """What nobody waits for; below zero where more is waited for than there is and comes."""
        return self.on_shelf - self.held + self.on_order - self.waiting

    @property
    def low(self) -> bool:
        return self.free < self.buy_below

    @property
    def demand(self) -> Fraction:
        return self.taken + self.missed

    @property
    def kind(self) -> Kind | None:
        """The kind to buy in this size: the cheapest a plate; without costs the first by code."""
        return min(self.kinds, key=lambda kind: (kind.unit_cost is None, kind.unit_cost or 0, kind.code), default=None)


@dataclass(frozen=True)
class Terms:
    """By what one size is bought: its rule, or what a shop begins with."""

    method: str = Method.SERVICE
    service: float = SERVICE
    lead_weeks: float = LEAD_WEEKS
    lead_sd_weeks: float = LEAD_SD_WEEKS
    safety_weeks: float = SAFETY_WEEKS
    review_weeks: float = REVIEW_WEEKS
    fill_to: int | None = None
    fill_weeks: float = FILL_WEEKS
    least: int = 0

    @classmethod
    def of(cls, rule: BuyRule | None, kind: Kind) -> "Terms":
        lead_weeks = LEAD_WEEKS if kind.lead_days is None else kind.lead_days / 7
        if rule is None:
            return cls(lead_weeks=lead_weeks)
        return cls(
            rule.method, rule.service, lead_weeks if rule.lead_weeks is None else rule.lead_weeks, rule.lead_sd_weeks,
            rule.safety_weeks, rule.review_weeks, rule.fill_to, rule.fill_weeks, rule.least,
        )  # fmt: skip


def sizes(shop: Shop, *, fits: Collection[str] = (), role: str = "") -> list[Size]:
    """Every size of the shop, or of some fits (by code) and one role: catalogued, or with something in it. By fit, role
    and thickness. As many queries for a large shop as for a small one.
    """
    kinds = Kind.objects.filter(shop_id=shop.pk).select_related("fit", "supplier").order_by("code")
    nominals: dict[Row, list[int]] = defaultdict(list)
    for kind in kinds:
        nominals[kind.fit.code, kind.role].append(kind.nominal_nm)

    @cache
    def row(fit: str, role: str) -> SizeRow:
        return SizeRow.of(nominals.get((fit, role)) or [0], shop.unit_first)

    found: dict[tuple[str, str, int], Size] = {}

    def at(fit: str, role: str, number: int) -> Size:
        if (fit, role, number) not in found:
            of = row(fit, role)
            found[fit, role, number] = Size(
                fit, role, number, of.from_nm(number), of.from_nm(number + 1), of.centre_nm(number)
            )
        return found[fit, role, number]

    def size_of(one: Counted) -> Size:
        return at(one.fit, one.role, row(one.fit, one.role).number(one.thickness_nm))

    def asked(fit: str, of_role: str) -> bool:
        return (not fits or fit in fits) and role in ("", of_role)

    owed = on_order(shop.pk)
    for kind in kinds:
        if asked(kind.fit.code, kind.role):
            size = at(kind.fit.code, kind.role, row(kind.fit.code, kind.role).number(kind.nominal_nm))
            size.kinds.append(kind)
            size.on_order += owed.get(kind.pk, 0)
    for one in lying(shop.pk, fits, role):
        size = size_of(one)
        size.on_shelf += one.plates
        size.held += one.held
    for one in used(shop.pk, fits, role):
        size_of(one).taken += one.plates
    for miss in misses(shop.pk):
        shares = shared(miss.ranges, nominals, row)
        for (of_fit, of_role, number), share in shares.items():
            if asked(of_fit, of_role):
                at(of_fit, of_role, number).missed += share
        if miss.waiting and (need := wanted(miss.ranges, nominals, row)):
            (of_fit, of_role, number), count = need
            if asked(of_fit, of_role):
                at(of_fit, of_role, number).waiting += count
    for size in found.values():
        size.taken = max(0, size.taken)
    _levels(found.values(), list(rules(shop.pk)), row)
    return sorted(found.values(), key=lambda size: (size.fit, list(Role.values).index(size.role), size.number))


def bought(shop: Shop, fits: Collection[str]) -> dict[tuple[str, str, int], Bought]:
    """What the shelf shows of the sizes of these fits, by fit, role and centre; as many queries for many as for few."""
    return {
        (one.fit, one.role, one.centre_nm): Bought(one.on_order, one.low, one.buy_below)
        for one in sizes(shop, fits=fits)
    }


def on_order(shop_id: uuid.UUID) -> dict[uuid.UUID, int]:
    """Kind → plates that sent orders still owe; one query."""
    lines = OrderLine.objects.filter(shop_id=shop_id, order__state__in=DUE, quantity__gt=F("received"))
    return dict(lines.values_list("kind").annotate(owed=Sum(F("quantity") - F("received"))).order_by())


def _levels(found: Iterable[Size], set_by: Sequence[BuyRule], row: Rows) -> None:
    """Set buy_below, fill_to and buy of every catalogued size, each with its reasons."""
    rows: dict[Row, list[Size]] = defaultdict(list)
    for size in found:
        rows[size.fit, size.role].append(size)
    of_row = {(rule.fit.code, rule.role): rule for rule in set_by if rule.nominal_nm is None}
    of_size: dict[tuple[str, str, int], BuyRule] = {}
    for rule in set_by:
        if rule.nominal_nm is not None:
            number = row(rule.fit.code, rule.role).number(rule.nominal_nm)
            of_size.setdefault((rule.fit.code, rule.role, number), rule)
    for (fit, role), some in rows.items():
        catalogued = [size for size in some if size.kind]
        if not catalogued:
            continue
        prior = levels.pooled([float(size.demand) for size in catalogued], WEEKS)
        for size in catalogued:
            own = of_size.get((fit, role, size.number))
            kind = size.kind
            assert kind is not None
            _level(size, kind, Terms.of(own or of_row.get((fit, role)), kind), prior)


def _level(size: Size, kind: Kind, terms: Terms, prior: levels.Rate) -> None:
    demand = float(size.demand)
    went = f"{size.taken} used and {_share(size.missed)} missed in {WEEKS} weeks"
    if terms.method == Method.WEEKS:
        supply = Fraction(str(terms.lead_weeks)) + Fraction(str(terms.safety_weeks))
        size.buy_below = levels.buy_below_by_weeks(size.demand, WEEKS, supply)
        a_week = demand / WEEKS
        size.reasons.append(
            f"{went}: {a_week:.2g} a week; {float(supply):g} weeks of supply (lead and safety) are {size.buy_below}"
        )
    else:
        wait = levels.Wait(terms.lead_weeks + terms.review_weeks, terms.lead_sd_weeks)
        # The prior is of the whole row, this size among it; what it showed itself then counts beside it.
        rate = prior.seen(demand, WEEKS)
        size.buy_below = levels.buy_below_by_service(rate, wait, terms.service)
        a_week = rate.a_week
        size.reasons.append(
            f"{went}, the row of its fit weighed in: {a_week:.2g} a week; until an order is there (lead and review, "
            f"{wait.weeks:g} weeks) {size.buy_below} are enough with {terms.service:.0%}"
        )
    over = levels.at_most(a_week * terms.fill_weeks, a_week * terms.fill_weeks, 0.5) if demand else 0
    size.fill_to = size.buy_below + over if terms.fill_to is None else terms.fill_to
    size.buy = levels.to_buy(
        free=size.free,
        buy_below=size.buy_below,
        fill_to=size.fill_to,
        asked_for=demand > 0,
        pack_size=kind.pack_size,
        least=terms.least,
    )
    if size.buy:
        parts = [f"{size.on_shelf} on the shelf"]
        parts += [f"{size.held} of them held"] if size.held else []
        parts += [f"{size.on_order} on order"] if size.on_order else []
        parts += [f"{size.waiting} waited for"] if size.waiting else []
        short = f"below {size.buy_below}" if size.low else "none left of a size that is asked for"
        need = max(size.fill_to, size.buy_below, 1) - size.free
        packs = f", in packs of {kind.pack_size}: {size.buy}" if size.buy != need else ""
        size.reasons.insert(0, f"free {size.free} ({', '.join(parts)}): {short}")
        size.reasons.append(f"fill to {max(size.fill_to, size.buy_below, 1)}: {need}{packs}")


def _share(share: Fraction) -> str:
    return f"{float(share):.2g}" if share.denominator > 1 else str(share.numerator)
