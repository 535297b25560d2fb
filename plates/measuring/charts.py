"""Control charts of single values in time order, and the finding that a group of readings drifts.

Formulas: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals and moving range) and 6.3.2.4 (EWMA).
Values are floats in any one unit; :func:`drift` takes nanometres.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from plates.lengths import INCH, both, half_even
from plates.measuring.constants import d2, d3

#: With fewer values no chart says anything.
FEWEST = 8
#: Scatter below the last place that is shown, 0.0001 in, is that of rounding alone: the floor of sigma.
ROUNDING_NM = INCH / 10_000 / math.sqrt(12)


@dataclass(frozen=True)
class Chart:
    """Points with their centre line and limits; ``outside`` are the rows of the points beyond a limit."""

    points: tuple[float, ...]
    centre: float
    low: float
    high: float

    @property
    def outside(self) -> tuple[int, ...]:
        return tuple(row for row, point in enumerate(self.points) if not self.low <= point <= self.high)


def ranges(values: Sequence[float]) -> tuple[float, ...]:
    """What each value differs from the one before. Raises ValueError for fewer than two values."""
    if len(values) < 2:
        raise ValueError("a moving range needs two values at least")
    return tuple(abs(after - before) for before, after in pairwise(values))


def sigma_of(values: Sequence[float]) -> float:
    """The scatter of single values: their mean moving range over d2(2). A step in between hardly adds to it."""
    moved = ranges(values)
    return math.fsum(moved) / len(moved) / d2(2)


def individuals(values: Sequence[float], *, centre: float | None = None, floor: float = 0.0) -> Chart:
    """Single values with limits three sigma from their mean, or from a given centre (e-Handbook 6.3.2.2); sigma is
    taken to be ``floor`` at least.
    """
    middle = math.fsum(values) / len(values) if centre is None else centre
    reach = 3 * max(sigma_of(values), floor)
    return Chart(tuple(values), middle, middle - reach, middle + reach)


def moving_range(values: Sequence[float], *, floor: float = 0.0) -> Chart:
    """The chart of the moving ranges: centre their mean, high limit (1 + 3 d3/d2) times that, low limit 0; sigma, their
    mean over d2, is taken to be ``floor`` at least.
    """
    sigma = max(sigma_of(values), floor)
    return Chart(ranges(values), d2(2) * sigma, 0.0, (d2(2) + 3 * d3(2)) * sigma)


def ewma(values: Sequence[float], *, weight: float, start: float, sigma: float, width: float = 3.0) -> Chart:
    """Exponentially weighted moving average, with its limits in the long run (e-Handbook 6.3.2.4).

    ``weight`` is the share of the newest value, above 0 and at most 1, else ValueError.
    """
    if not 0 < weight <= 1:
        raise ValueError("the weight of the newest value is above 0 and at most 1")
    points, last = [], start
    for value in values:
        last = weight * value + (1 - weight) * last
        points.append(last)
    reach = width * sigma * math.sqrt(weight / (2 - weight))
    return Chart(tuple(points), start, start - reach, start + reach)


def steadied(values: Sequence[float], *, weight: float, sigma: float) -> Chart:
    """The EWMA about zero of residuals, each held to three sigma: one pack built wrongly is no drift of a gauge, and
    stands out among the individuals; a drift goes on, and gets there all the same.
    """
    held = [min(max(value, -3 * sigma), 3 * sigma) for value in values]
    return ewma(held, weight=weight, start=0.0, sigma=sigma)


def capability(*, low: float, high: float, mean: float, sigma: float) -> tuple[float, float]:
    """(Cp, Cpk) of a process within two limits (e-Handbook 6.1.6).

    No page shows it: an option's probability says more of one pack. It is for whoever holds the final readings of a
    spec against its window.
    """
    return (high - low) / (6 * sigma), min(high - mean, mean - low) / (3 * sigma)


@dataclass(frozen=True)
class Drift:
    """Residuals that left zero: since when, their mean since then (above zero: they read high), and how many they are.
    One point alone: a single value out of line, no run.
    """

    since: datetime
    mean_nm: int
    points: int


def drift(points: Sequence[tuple[datetime, float]], *, weight: float = 0.2) -> Drift | None:
    """The plain finding of the residuals (when, nanometres) of one group, or None while they are in control.

    Centre zero, sigma from the moving range. A run is found when the EWMA (:func:`steadied`) went beyond its limits and
    has not come back over zero since; within it the change began where a step from zero is likeliest, (sum since)² /
    count being largest. Else the newest value alone is out of line when it lies beyond three sigma. Fewer than eight
    values: None.
    """
    if len(points) < FEWEST:
        return None
    dated = sorted(points, key=lambda point: point[0])
    values = [value for _, value in dated]
    sigma = max(sigma_of(values), ROUNDING_NM)
    smooth = steadied(values, weight=weight, sigma=sigma)
    first = len(values) - 1
    while first > 0 and smooth.points[first - 1] * smooth.points[-1] > 0:
        first -= 1
    if any(row >= first for row in smooth.outside):
        began = max(range(first, len(values)), key=lambda row: math.fsum(values[row:]) ** 2 / (len(values) - row))
        run = values[began:]
        return Drift(dated[began][0], half_even(math.fsum(run) / len(run)), len(run))
    if abs(values[-1]) > 3 * sigma:
        return Drift(dated[-1][0], half_even(values[-1]), 1)
    return None


def day(at: datetime) -> str:
    """A day as it is said and drawn: ``"3 March 2026"``."""
    return f"{at.day} {at:%B %Y}"


def drift_words(subject: str, found: Drift, unit_first: str = "in") -> str:
    """``"feeler readings run 0.0020 in (0.051 mm) low since 3 March 2026"``; ``subject``: ``"feeler readings"``."""
    size, way = both(abs(found.mean_nm), unit_first), "low" if found.mean_nm < 0 else "high"
    since = day(found.since)
    if found.points == 1:
        return f"the last of the {subject}, of {since}, is {size} {way}: out of line with those before"
    return f"{subject} run {size} {way} since {since}"
