"""d2, d3 and c4 against scipy's integration."""

import math

import pytest
from scipy import integrate, stats

from plates.measuring.constants import c4, d2, d3

SIZES = (2, 3, 4, 5, 6, 7, 8, 9, 10)


@pytest.mark.parametrize(
    ("n", "range_mean", "deviation_mean"),
    [
        (2, 1.12838, 0.797885),
        (3, 1.69257, 0.886227),
        (4, 2.05875, 0.921318),
        (5, 2.32593, 0.939986),
        (10, 3.07751, 0.972659),
    ],
)
def test_the_usual_constants(n: int, range_mean: float, deviation_mean: float) -> None:
    """By integration (C)."""
    assert d2(n) == pytest.approx(range_mean, abs=5e-6)
    assert c4(n) == pytest.approx(deviation_mean, abs=5e-7)


@pytest.mark.parametrize("n", SIZES)
def test_scipy_integrates_to_the_same(n: int) -> None:
    """Mean and spread of the range from its own distribution, n ∫ φ(x) (Φ(x + r) - Φ(x))^(n-1) dx up to r."""

    def above(r: float) -> float:
        """P(range > r)."""
        inner = integrate.quad(
            lambda x: n * stats.norm.pdf(x) * (stats.norm.cdf(x + r) - stats.norm.cdf(x)) ** (n - 1), -9, 9
        )[0]
        return 1 - inner

    mean = integrate.quad(above, 0, 14, limit=200)[0]
    square = integrate.quad(lambda r: 2 * r * above(r), 0, 14, limit=200)[0]
    assert d2(n) == pytest.approx(mean, abs=1e-6)
    assert d3(n) == pytest.approx(math.sqrt(square - mean**2), abs=1e-5)
    deviation = integrate.quad(lambda s: math.sqrt(s / (n - 1)) * stats.chi2.pdf(s, n - 1), 0, math.inf)[0]
    assert c4(n) == pytest.approx(deviation, abs=1e-6)


@pytest.mark.parametrize("n", [11, 20, 100, 2_000])
def test_the_range_of_many(n: int) -> None:
    """A lot may be read whole, all 2 000 of it: the mean range is ∫ 1 - Φ^n - (1 - Φ)^n, by scipy."""
    mean = integrate.quad(lambda x: 1 - stats.norm.cdf(x) ** n - stats.norm.sf(x) ** n, -9, 9, limit=200)[0]
    assert d2(n) == pytest.approx(mean, abs=1e-9)
