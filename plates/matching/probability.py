"""The probability that a predicted clearance lands in its window.

JCGM 106:2012, clause 7: with a normal state of knowledge about the true value, centred at the prediction y
with standard uncertainty u, P = Φ((high - y)/u) - Φ((low - y)/u).
"""

import math
from collections.abc import Iterable

_ROOT_2 = math.sqrt(2.0)


def _upper_tail(z: float) -> float:
    """1 - Φ(z), accurate far out in the tail where 1 - Φ would cancel."""
    return 0.5 * math.erfc(z / _ROOT_2)


def conformance(y: float, u: float, low: float, high: float) -> float:
    """P(low ≤ true value ≤ high) for the prediction ``y`` ± ``u``; any one unit of length, limits may be
    infinite.

    Without uncertainty the answer is 1 or 0, limits included. Raises ValueError for a negative ``u``.
    """
    if u < 0:
        raise ValueError("a standard uncertainty is never negative")
    if u == 0:
        return 1.0 if low <= y <= high else 0.0
    below, above = (low - y) / u, (high - y) / u
    if below > 0:
        return _upper_tail(below) - _upper_tail(above)
    if above < 0:
        return _upper_tail(-above) - _upper_tail(-below)
    return 1.0 - _upper_tail(-below) - _upper_tail(above)


def combined(variances: Iterable[float]) -> float:
    """The root of the sum of squares (JCGM 100:2008, 5.1.2); the order of the terms never matters."""
    return math.sqrt(math.fsum(variances))


def sure_span(u: float, low_nm: int, high_nm: int, sure: float) -> tuple[int, int] | None:
    """The predictions (inclusive, whole nm) in the window that are sure with ``u``; None when not even its
    middle is.

    P falls off evenly on both sides of the middle of the window, so the span is found by halving.
    """
    inner = (low_nm + high_nm) // 2
    if conformance(inner, u, low_nm, high_nm) < sure:
        return None
    bad, good = low_nm - 1, inner
    while good - bad > 1:
        middle = (good + bad) // 2
        if conformance(middle, u, low_nm, high_nm) >= sure:
            good = middle
        else:
            bad = middle
    return good, low_nm + high_nm - good
