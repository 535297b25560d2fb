"""From the counts of a row of sizes to what is bought of each: the figures, the reasons and the arithmetic in words."""

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from plates.buying import levels, lot_sizes
from plates.buying.demand import WEEKS, YEAR_WEEKS
from plates.buying.models import (
    FILL_WEEKS,
    LEAD_SD_WEEKS,
    LEAD_WEEKS,
    REVIEW_WEEKS,
    SAFETY_WEEKS,
    SERVICE,
    BuyRule,
    Method,
)
from plates.buying.one_size import Size, Step
from plates.catalogue.models import Kind


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
    order_cost: Decimal | None = None
    holding_share: float | None = None

    @classmethod
    def of(cls, rule: BuyRule | None, kind: Kind) -> "Terms":
        said = {one.name: getattr(rule, one.name) for one in dataclasses.fields(cls)} if rule else {}
        if said.get("lead_weeks") is None:
            said["lead_weeks"] = LEAD_WEEKS if kind.lead_days is None else kind.lead_days / 7
        return cls(**said)

    def costs(self, kind: Kind) -> lot_sizes.Costs | None:
        """What an economic quantity is made of, or None where one of its figures is not known."""
        if self.order_cost is None or self.holding_share is None or not kind.unit_cost or self.fill_to is not None:
            return None
        breaks = [lot_sizes.Price(one.from_count, float(one.unit_cost)) for one in kind.price_breaks.all()]
        prices = [lot_sizes.Price(1, float(kind.unit_cost)), *(one for one in breaks if one.unit_cost)]
        return lot_sizes.Costs(float(self.order_cost), self.holding_share, prices)


#: However cheap, no more is bought at once than is used in so long: what is asked for after that nobody knows
#: (our choice, no source).
MOST_YEARS = 2.0


def row_reckon(some: Sequence[Size]) -> None:
    """Set what is bought of the catalogued sizes of one row, each by its own ``rule``."""
    catalogued = [(size, size.kind) for size in some if size.kind]
    if not catalogued:
        return
    prior = levels.pooled([float(size.demand) for size, _ in catalogued], WEEKS)
    for size, kind in catalogued:
        _reckon(size, kind, Terms.of(size.rule, kind), prior)


def _reckon(size: Size, kind: Kind, terms: Terms, prior: levels.Rate) -> None:
    demand = float(size.demand)
    went = f"{size.taken} used and {_share(size.missed)} missed in {WEEKS} weeks"
    size.steps.append(Step("Used and missed", f"{_figure(demand)} plates", went))
    a_week = _by_weeks(size, terms, went) if terms.method == Method.WEEKS else _by_service(size, terms, prior, went)
    costs = terms.costs(kind) if demand else None
    if costs is None:
        _fill_weeks(size, kind, terms, a_week if demand else 0.0)
    else:
        _fill_economic(size, kind, terms, costs, a_week * YEAR_WEEKS)
    if size.buy:
        parts = [f"{size.on_shelf} on the shelf"]
        parts += [f"{size.held} of them held"] if size.held else []
        parts += [f"{size.on_order} on order"] if size.on_order else []
        parts += [f"{size.waiting} waited for"] if size.waiting else []
        short = f"below {size.buy_below}" if size.low else "none left of a size that is asked for"
        size.reasons.insert(0, f"free {size.free} ({', '.join(parts)}): {short}")


def _by_weeks(size: Size, terms: Terms, went: str) -> float:
    """Set buy_below by weeks of supply; what went a week."""
    supply = Fraction(str(terms.lead_weeks)) + Fraction(str(terms.safety_weeks))
    size.buy_below = levels.buy_below_by_weeks(size.demand, WEEKS, supply)
    a_week = float(size.demand) / WEEKS
    weeks = f"{_figure(float(supply))} weeks of supply (lead and safety)"
    size.reasons.append(f"{went}: {a_week:.2g} a week; {weeks} are {size.buy_below}")
    size.steps += [
        Step("Demand", f"{_figure(a_week)} plates a week", f"{_figure(float(size.demand))} / {WEEKS} weeks"),
        Step(
            "Weeks of supply",
            f"{_figure(float(supply))} weeks",
            f"lead {_figure(terms.lead_weeks)} + safety {terms.safety_weeks:g}",
        ),
        Step("Buy below", f"{size.buy_below} plates", f"{_figure(a_week)} × {_figure(float(supply))}, rounded up"),
    ]
    return a_week


def _by_service(size: Size, terms: Terms, prior: levels.Rate, went: str) -> float:
    """Set buy_below by the chance to miss none while an order is waited for; what is looked for a week."""
    wait = levels.Wait(terms.lead_weeks + terms.review_weeks, terms.lead_sd_weeks)
    # The prior is of the whole row, this size among it; what it showed itself then counts beside it.
    rate = prior.seen(float(size.demand), WEEKS)
    mean, spread = levels.demand(rate, wait)
    size.buy_below = levels.buy_below_by_service(rate, wait, terms.service)
    chance = f"{terms.service * 100:g} %"
    size.reasons.append(
        f"{went}, the row of its fit weighed in: {rate.a_week:.2g} a week; until an order is there (lead and review, "
        f"{_figure(wait.weeks)} weeks) {size.buy_below} are enough with {chance}"
    )
    size.steps += [
        Step(
            "Demand of any size of its row",
            f"{_figure(prior.a_week)} plates a week",
            f"before this one: {_gamma(prior)}",
        ),
        Step("Demand of this size", f"{_figure(rate.a_week)} plates a week", f"with what went of it: {_gamma(rate)}"),
        Step(
            "Wait for an order",
            f"{_figure(wait.weeks)} weeks",
            f"lead {_figure(terms.lead_weeks)} + review {terms.review_weeks:g}, standard deviation {wait.sd_weeks:g}",
        ),
        Step(
            "Demand while waiting",
            f"{_figure(mean)} plates",
            f"variance {_figure(spread)}: a standard deviation of {_figure(math.sqrt(spread))}",
        ),
        Step("Buy below", f"{size.buy_below} plates", f"the fewest that are enough with {chance}, negative binomial"),
    ]
    return rate.a_week


def _fill_weeks(size: Size, kind: Kind, terms: Terms, a_week: float) -> None:
    """Set what is bought: up to a figure set by hand, or to so many weeks of demand over buy_below."""
    weeks = a_week * terms.fill_weeks
    over = levels.at_most(weeks, weeks, 0.5)
    size.fill_to = size.buy_below + over if terms.fill_to is None else terms.fill_to
    size.buy = levels.to_buy(
        free=size.free,
        buy_below=size.buy_below,
        fill_to=size.fill_to,
        asked_for=size.demand > 0,
        pack_size=kind.pack_size,
        least=terms.least,
    )
    up_to = max(size.fill_to, size.buy_below, 1)
    how = f"{size.buy_below} + {terms.fill_weeks:g} weeks of demand, {over}" if terms.fill_to is None else "set by hand"
    size.steps.append(Step("Fill to", f"{up_to} plates", how))
    if size.buy:
        need = up_to - size.free
        least = f", {terms.least} at least" if terms.least > need else ""
        packs = f"{least}, in packs of {kind.pack_size}: {size.buy}" if size.buy != need else ""
        size.reasons.append(f"fill to {up_to}: {need}{packs}")
        size.steps.append(Step("Buy", f"{size.buy} plates", f"{up_to} - {size.free} free = {need}{packs}"))


def _fill_economic(size: Size, kind: Kind, terms: Terms, costs: lot_sizes.Costs, a_year: float) -> None:
    """Set what is bought: the cheapest quantity over the year, and no less than reaches buy_below."""
    lot = lot_sizes.cheapest(a_year, costs, pack_size=kind.pack_size, least=terms.least, years=MOST_YEARS)
    plain = costs.economic(a_year)
    keeping = _figure(costs.keeping(plain))
    size.fill_to = size.buy_below + lot
    size.steps += [
        Step(
            "Economic quantity",
            f"{_figure(plain)} plates",
            f"√(2 × {costs.order_cost:g} an order × {_figure(a_year)} a year / {keeping} to keep one)",
        ),
        Step(
            "At once",
            f"{lot} plates",
            f"the cheapest in packs of {kind.pack_size} that two years use up: {costs.a_year(lot, a_year):.2f} a year",
        ),
        Step("Fill to", f"{size.fill_to} plates", f"{size.buy_below} + {lot}"),
    ]
    if not levels.is_due(size.free, size.buy_below, size.demand > 0):
        return
    short = max(size.buy_below, 1) - size.free
    least = max(terms.least, short)
    size.buy = lot_sizes.cheapest(a_year, costs, pack_size=kind.pack_size, least=least, years=MOST_YEARS)
    why = f"economic quantity {plain:.0f}"
    if (falls := costs.price(size.buy).from_count) > plain:
        why += f", the price falls at {falls}"
    if least > plain:
        why += f", {short} are short" if short > terms.least else f", {terms.least} at least"
    why += f", in packs of {kind.pack_size}" if kind.pack_size > 1 else ""
    if size.buy < plain - kind.pack_size:
        why += ", no more than two years use up"
    lasts = size.buy / a_year * YEAR_WEEKS
    size.reasons.append(f"{size.buy} at once: {why}; they last {_figure(lasts)} weeks")
    size.steps.append(Step("Buy", f"{size.buy} plates", f"{why}; at {costs.price(size.buy).unit_cost:g} each"))


def _gamma(rate: levels.Rate) -> str:
    return f"gamma distribution, shape {_figure(rate.shape)}, rate {_figure(rate.rate)} weeks"


def _figure(value: float) -> str:
    """Three places that count, and all before the point."""
    if 0 < value < 0.001:
        return "under 0.001"
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}"


def _share(share: Fraction) -> str:
    return f"{float(share):.2g}" if share.denominator > 1 else str(share.numerator)
