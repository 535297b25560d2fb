"""Constants of control charts and gauge studies, by integration over the normal distribution."""

import math
from functools import lru_cache

import numpy as np


def c4(n: int) -> float:
    """Mean of the sample standard deviation of n normal values, over their standard deviation."""
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
    """Standard deviation of the range of n normal values over theirs.

    From the joint distribution of least x and largest y: E[R²] = 2 ∫∫ (1 - F(y)^n - (1 - F(x))^n + (F(y) - F(x))^n)
    dx dy over x < y, less d2².
    """
    step, reach = 0.02, 8.0
    axis = np.arange(-reach, reach + step / 2, step)
    below = np.array([_upper(-x) for x in axis])
    gap = np.maximum(below[None, :] - below[:, None], 0.0)
    inside = 1 - below[None, :] ** n - (1 - below[:, None]) ** n + gap**n
    half = np.triu(np.ones_like(inside), 1) + np.eye(len(axis)) / 2
    return math.sqrt(2 * step * step * float((inside * half).sum()) - d2(n) ** 2)
