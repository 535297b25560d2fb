"""The arithmetic of buying, beside scipy's distributions and published examples."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from plates.buying import levels
from plates.buying.levels import Rate, Wait

means = st.floats(0.01, 200)


@given(means, st.floats(1.001, 20), st.floats(0.5, 0.9999))
def test_at_most_is_the_quantile_of_the_negative_binomial(mean: float, over: float, service: float) -> None:
    spread = mean * over
    law = stats.nbinom(mean**2 / (spread - mean), mean / spread)
    least = levels.at_most(mean, spread, service)
    assert law.cdf(least) >= service - 1e-9
    assert least == 0 or law.cdf(least - 1) < service + 1e-9


@given(means, st.floats(0.5, 0.9999))
def test_at_most_is_the_quantile_of_poisson_where_rates_do_not_vary(mean: float, service: float) -> None:
    least = levels.at_most(mean, mean, service)
    assert stats.poisson(mean).cdf(least) >= service - 1e-9
    assert least == 0 or stats.poisson(mean).cdf(least - 1) < service + 1e-9


@pytest.mark.parametrize("weeks", [0.0, 5e-324, 1e-300, 1e-12])
@pytest.mark.parametrize("sd_weeks", [0.0, 0.5, 52.0])
def test_an_order_that_is_there_at_once_needs_nothing_in_stock(weeks: float, sd_weeks: float) -> None:
    assert levels.buy_below_by_service(Rate(2.0, 4.0), Wait(weeks, sd_weeks), 0.95) == 0


@pytest.mark.parametrize(("service", "least"), [(0.864464, 13), (0.864465, 14), (0.90, 14), (0.92, 15)])
def test_a_lead_time_demand_of_ten(service: float, least: int) -> None:
    """Factory Physics, 2.4.2: base stock, Poisson with mean 10; G(13) 0.864464, G(14) 0.916542, G(15) 0.951260.

    G(r) = P(demand ≤ r), and the fill rate S(r) there is G(r): of r + 1 plates in stock or on order the last is still
    there for whoever comes when r are asked for before. Here s stands where r does: with s free and none ordered yet,
    as many as s are asked for before the next order is there, and none is missed.
    """
    assert levels.at_most(10, 10, service) == least


def test_the_published_newsvendor() -> None:
    """Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., the newsvendor with Poisson demand of mean 50: one
    left over costs 0.18, one short 0.70; 56 are best, at 1.797235. The service that costs the least is short / (short +
    over), and the level is its quantile.
    """
    over, short, law = 0.18, 0.70, stats.poisson(50)

    def cost(level: int) -> float:
        left: float = sum((level - count) * law.pmf(count) for count in range(level))
        return over * left + short * (left + 50 - level)

    best = levels.at_most(50, 50, short / (short + over))
    assert best == 56 and cost(best) == pytest.approx(1.797235, abs=1e-6)
    assert cost(best) < min(cost(best - 1), cost(best + 1))


def test_a_known_rate_and_a_fixed_wait_are_poisson() -> None:
    sure = Rate(shape=5e9, rate=1e9)
    mean, spread = levels.demand(sure, Wait(2))
    assert (mean, spread) == (10, pytest.approx(10, rel=1e-6))
    assert levels.buy_below_by_service(sure, Wait(2), 0.90) == 14


@given(st.floats(0.1, 10), st.floats(0.1, 30), st.floats(0.1, 20))
def test_with_a_fixed_wait_demand_is_gamma_mixed_with_poisson(shape: float, rate: float, weeks: float) -> None:
    """Gelman et al., Bayesian Data Analysis, 3rd ed., 2.6: the predictive of a gamma-Poisson model is negative binomial
    with shape a and rate b / weeks.
    """
    law = stats.nbinom(shape, rate / (rate + weeks))
    assert levels.demand(Rate(shape, rate), Wait(weeks)) == pytest.approx((law.mean(), law.var()))


def test_a_wait_that_varies_spreads_demand_as_drawn() -> None:
    rate, wait = Rate(2.0, 4.0), Wait(3.0, 1.5)
    draw = stats.gamma(rate.shape, scale=1 / rate.rate).rvs(400_000, random_state=7)
    weeks = stats.gamma((3 / 1.5) ** 2, scale=1.5**2 / 3).rvs(400_000, random_state=8)
    drawn = stats.poisson(draw * weeks).rvs(random_state=9)
    assert levels.demand(rate, wait) == pytest.approx((drawn.mean(), drawn.var()), rel=0.02)


def test_a_row_whose_sizes_differ_weighs_less() -> None:
    even, uneven = levels.pooled([4, 5, 3, 4], 13), levels.pooled([0, 0, 0, 16], 13)
    assert even.a_week == pytest.approx(4 / 13) and uneven.a_week == pytest.approx(4 / 13)
    assert even.shape == levels.SHAPES[1] and uneven.shape < 0.5
    assert even.seen(16, 13).a_week < uneven.seen(16, 13).a_week < 16 / 13


def test_a_row_that_was_never_asked_for_is_hardly_bought() -> None:
    never = levels.pooled([0, 0, 0, 0], 13)
    assert 0 < never.a_week < 0.02
    assert levels.buy_below_by_service(never.seen(0, 13), Wait(3), 0.95) == 0


@given(
    st.integers(-20, 20), st.integers(0, 20), st.integers(0, 40), st.booleans(), st.integers(1, 12), st.integers(0, 30)
)
def test_what_is_bought_is_whole_packs_that_reach(
    free: int, buy_below: int, fill_to: int, asked_for: bool, pack_size: int, least: int
) -> None:
    buy = levels.to_buy(
        free=free, buy_below=buy_below, fill_to=fill_to, asked_for=asked_for, pack_size=pack_size, least=least
    )
    assert buy % pack_size == 0
    assert (buy == 0) == (free >= buy_below and not (free <= 0 and asked_for))
    if buy:
        assert free + buy >= max(fill_to, buy_below, 1) and buy >= least
        assert buy < max(max(fill_to, buy_below, 1) - free, least) + pack_size


def test_weeks_of_supply_are_exact() -> None:
    assert levels.buy_below_by_weeks(Fraction(26), 13, Fraction(3)) == 6
    assert levels.buy_below_by_weeks(Fraction(26) + Fraction(1, 24), 13, Fraction(3)) == 7
    assert math.ceil(0.1 * 3 * 10) == 4 and levels.buy_below_by_weeks(Fraction(1), 13, Fraction("39.0")) == 3
