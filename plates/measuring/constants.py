"""Constants of control charts and gauge studies, by integration over the normal distribution."""

import math
from functools import lru_cache

import numpy as np


def c4(n: int) -> float:
    """Mean of the sample standard deviation of n normal values, over their standard deviation.

    Nothing divides by it: a repeatability counts from 20 residuals on, where it is 0.987, and the other estimates go by
    ranges. It is for whoever works out a scatter from a few readings.
    """
    return math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))


def _upper(z: float) -> float:
    """1 - Φ(z)."""
    return 0.5 * math.erfc(z / math.sqrt(2))


@lru_cache
def d2(n: int) -> float:
    """Mean range of n normal values over their standard deviation: the integral of 1 - F^n - (1 - F)^n.

    The trapezium rule, which for so smooth a function is exact to the last digits.
    """
    step, reach = 0.005, 9.0
    above = [_upper(row * step - reach) for row in range(int(2 * reach / step) + 1)]
    return step * math.fsum(1 - (1 - upper) ** n - upper**n for upper in above)


@lru_cache
def d3(n: int) -> float:
    """Standard deviation of the range of n normal values over theirs: E[R²] = 2 ∫ r · P(R > r) dr, less d2².

    P(R ≤ r) = n ∫ φ(x) (Φ(x + r) - Φ(x))^(n-1) dx by the trapezium rule, the integral over r by Gauss's.
    """
    step = 0.05
    axis = step * np.arange(-180, 181)
    nodes, weights = np.polynomial.legendre.leggauss(60)
    ranges = 7.0 * (nodes + 1)
    below = 1 - np.frompyfunc(_upper, 1, 1)(axis[None, :] + np.append(0.0, ranges)[:, None]).astype(float)
    density = np.exp(-(axis**2) / 2) / math.sqrt(2 * math.pi)
    within = n * step * (density * (below[1:] - below[0]) ** (n - 1)).sum(axis=1)
    return math.sqrt(14.0 * float((weights * ranges * (1 - within)).sum()) - d2(n) ** 2)
