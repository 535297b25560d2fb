"""When to buy a size, and up to how many: the arithmetic alone. Counts are whole plates, times are weeks."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from statistics import fmean, variance

#: A level above so many plates comes of a mistake in a figure: the search for it ends here.
MOST = 100_000


@dataclass(frozen=True)
class Wait:
    """How long an order takes, in weeks: mean and standard deviation. The review period is part of the mean: what is
    not ordered this week waits for the next.
    """

    weeks: float
    sd_weeks: float = 0.0


@dataclass(frozen=True)
class Rate:
    """What is known of the weekly demand of one size: a gamma distribution of this shape and rate (per week)."""

    shape: float
    rate: float

    @property
    def a_week(self) -> float:
        return self.shape / self.rate

    def seen(self, count: float, weeks: float) -> "Rate":
        """What is known after ``count`` more plates in ``weeks`` more weeks (gamma prior, Poisson demand)."""
        return Rate(self.shape + count, self.rate + weeks)


#: How far the sizes of one row are let differ: a coefficient of variation between a third and two. With the first a
#: size has to show much before it leaves the mean of its row, with the second little. No source: our choice.
SHAPES = (0.25, 9.0)


def pooled(counts: Sequence[float], weeks: float) -> Rate:
    """The gamma prior of a row of sizes, each with its count over the same ``weeks``, by the method of moments.

    Poisson counts of rates that vary have the variance mean + weeks² · var(rate): what is over the mean tells how far
    the rates differ. Where nothing was ever used, half a plate of the whole row.
    """
    mean = fmean(counts) or 0.5 / len(counts)
    over = max(0.0, variance(counts) - mean) if len(counts) > 1 else mean**2
    shape = min(max(mean**2 / over, SHAPES[0]), SHAPES[1]) if over else SHAPES[1]
    return Rate(shape, shape * weeks / mean)


def demand(rate: Rate, wait: Wait) -> tuple[float, float]:
    """Mean and variance of the demand while an order is waited for.

    With a fixed wait it is gamma mixed with Poisson: negative binomial. With one that varies, independent of the rate,
    the product of both has the mean E(r)E(w) and the variance E(r²)E(w²) - (E(r)E(w))²; Poisson adds its mean.
    """
    mean = rate.a_week * wait.weeks
    square = (rate.a_week**2 + rate.shape / rate.rate**2) * (wait.weeks**2 + wait.sd_weeks**2)
    return mean, mean + square - mean**2


def at_most(mean: float, spread: float, service: float) -> int:
    """The least s with P(demand ≤ s) ≥ service, for the negative binomial with this mean and variance (``spread``);
    Poisson where the variance is not above the mean.
    """
    if mean <= 0:  # nothing is asked for at once: a wait of no weeks, whatever it varies by
        return 0
    over = spread - mean
    if over <= 1e-12 * max(mean, 1.0):
        log_p, step = -mean, (lambda k: mean / k)
    else:
        r, q = mean**2 / over, over / spread  # q: the share of the variance that is over the mean
        # P(0) = (1 - q)^r, and 1 - q is mean / spread: from q itself nothing is left of it where the mean is tiny.
        log_p, step = r * (math.log(mean) - math.log(spread)), (lambda k: (k - 1 + r) / k * q)
    least, total, log_scale = 0, math.exp(log_p), log_p
    while total < service and least < MOST:
        least += 1
        log_scale += math.log(step(least))
        total += math.exp(log_scale)
    return least


def buy_below_by_service(rate: Rate, wait: Wait, service: float) -> int:
    """Buy when fewer are free: with so many free as this, and an order sent, the chance that none is missed before it
    arrives is ``service`` at least.
    """
    return at_most(*demand(rate, wait), service)


def buy_below_by_weeks(used: Fraction, weeks: int, supply_weeks: Fraction) -> int:
    """As many as the shop used in so many weeks of supply (lead and safety), rounded up; exact."""
    return math.ceil(used / weeks * supply_weeks)


def in_packs(need: int, pack_size: int, least: int = 0) -> int:
    """Whole packs that cover the need and the least quantity of an order; 0 for no need."""
    return 0 if need <= 0 else -(-max(need, least) // pack_size) * pack_size


def is_due(free: int, buy_below: int, asked_for: bool) -> bool:
    """Whether to buy. ``asked_for``: some were taken or missed lately, so that an empty size is bought again even where
    buy_below is 0.
    """
    return free < buy_below or (free <= 0 and asked_for)


def to_buy(*, free: int, buy_below: int, fill_to: int, asked_for: bool, pack_size: int, least: int = 0) -> int:
    """How many plates to buy now, in whole packs."""
    if not is_due(free, buy_below, asked_for):
        return 0
    return in_packs(max(fill_to, buy_below, 1) - free, pack_size, least)
