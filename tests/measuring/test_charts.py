"""Control charts: the published examples, and what must hold for any values."""

import math

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plates.measuring.charts import capability, ewma, individuals, moving_range, sigma_of
from plates.measuring.constants import d2

VALUES = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
SMOOTHED = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *VALUES]
calm = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
numbers = st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=40)


def test_individuals_and_moving_range_as_published() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2 (S, C); it works with d2 cut to 1.128."""
    chart = individuals(VALUES)
    assert chart.centre == pytest.approx(50.81, abs=1e-9)
    assert sigma_of(VALUES) * d2(2) == pytest.approx(1.8778, abs=5e-5)
    reach = (chart.high - chart.centre) * d2(2) / 1.128
    assert (chart.centre + reach, chart.centre - reach) == pytest.approx((55.8041, 45.8159), abs=5e-5)
    assert chart.outside == ()
    assert moving_range(VALUES).centre == pytest.approx(1.8778, abs=5e-5)


def test_ewma_as_published() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.4 (S, C): weight 0.3, start 50, s 2.0539."""
    chart = ewma(SMOOTHED, weight=0.3, start=50, sigma=2.0539)
    assert chart.points[-1] == pytest.approx(51.99, abs=0.005)
    assert (chart.high, chart.low) == pytest.approx((52.5884, 47.4115), abs=1e-4)
    assert chart.outside == ()


def test_capability_as_published() -> None:
    """NIST/SEMATECH e-Handbook 6.1.6 (S, C)."""
    assert capability(low=8, high=20, mean=16, sigma=2) == pytest.approx((1.0, 0.6667), abs=5e-5)


def test_the_chart_of_ranges_has_its_usual_factor() -> None:
    """D4 of ranges of two is 3.267: the table of every handbook of control charts, from memory."""
    chart = moving_range(VALUES)
    assert chart.high / chart.centre == pytest.approx(3.267, abs=1e-3)


def test_scatter_is_never_taken_for_less_than_its_floor() -> None:
    single, moved = individuals([5.0] * 9, centre=4.0, floor=2.0), moving_range([5.0] * 9, floor=2.0)
    assert (single.low, single.centre, single.high) == (-2.0, 4.0, 10.0)
    assert moved.centre == pytest.approx(2 * 1.12838, abs=1e-5)
    assert moved.high / moved.centre == pytest.approx(3.267, abs=1e-3)
    for chart in (individuals, moving_range):
        assert chart(VALUES, floor=1e-3) == chart(VALUES)


def test_a_point_beyond_a_limit_is_found() -> None:
    assert individuals([*[0.0, 1.0] * 10, 40.0]).outside == (20,)


@calm
@given(numbers, st.floats(-1e5, 1e5), st.floats(0.01, 100))
def test_charts_follow_shift_and_scale(values: list[float], shift: float, scale: float) -> None:
    chart, moved = individuals(values), individuals([scale * value + shift for value in values])
    slack = 1e-6 * scale * (1 + abs(shift) / scale + max(map(abs, values)))
    for before, after in ((chart.centre, moved.centre), (chart.low, moved.low), (chart.high, moved.high)):
        assert after == pytest.approx(scale * before + shift, abs=slack)
    assert sigma_of([-value for value in values]) == pytest.approx(sigma_of(values))


@calm
@given(numbers, st.floats(0.01, 1))
def test_the_ewma_is_the_weighted_mean_that_it_says(values: list[float], weight: float) -> None:
    """Written out: the newest weighs λ, each one before (1 - λ) times the one after, the start what is left."""
    chart = ewma(values, weight=weight, start=7.0, sigma=1.0)
    shares = [weight * (1 - weight) ** age for age in range(len(values))]
    direct = math.fsum(share * value for share, value in zip(shares, reversed(values), strict=True))
    direct += 7.0 * (1 - weight) ** len(values)
    assert chart.points[-1] == pytest.approx(direct, abs=1e-6 * (1 + max(map(abs, values))))


@pytest.mark.parametrize("values", [[], [1.0]])
def test_one_value_has_no_range(values: list[float]) -> None:
    with pytest.raises(ValueError, match="two values"):
        sigma_of(values)


@pytest.mark.parametrize("weight", [0.0, -0.1, 1.1, math.nan])
def test_a_weight_is_a_share(weight: float) -> None:
    with pytest.raises(ValueError, match="weight"):
        ewma([1.0], weight=weight, start=0.0, sigma=1.0)
