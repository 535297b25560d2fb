"""Gauge studies: how much of what a gauge shows is the gauge and the people, and how much the plates.

Crossed study: every person reads every plate in every trial. Average-and-range and analysis of variance follow AIAG,
*Measurement Systems Analysis*, 4th edition, chapter III. Values are floats in any one unit.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plates.measuring.constants import d2, d3

#: Readings as [person][trial][plate].
Readings = Sequence[Sequence[Sequence[float]]]


@dataclass(frozen=True)
class Study:
    """Standard deviations: repeatability (equipment), reproducibility (people), both, plates, total."""

    equipment: float
    appraiser: float
    gauge: float
    part: float
    total: float

    @property
    def categories(self) -> int | None:
        """How many sorts of plates the gauge can tell apart: 1.41 × plates / gauge, cut to whole, 1 at least; None
        where the gauge shows no spread at all, so that its resolution hides what it does.
        """
        return max(int(1.41 * self.part / self.gauge), 1) if self.gauge else None

    @property
    def share(self) -> float:
        """The gauge's part of the total spread, 0 to 1."""
        return self.gauge / self.total if self.total else 0.0


def _study(equipment: float, appraiser: float, part: float) -> Study:
    gauge = math.hypot(equipment, appraiser)
    return Study(equipment, appraiser, gauge, part, math.hypot(gauge, part))


def _array(readings: Readings) -> NDArray[np.float64]:
    """Raises ValueError where the study is not whole; numpy itself refuses ragged rows so."""
    data = np.asarray(readings, dtype=np.float64)
    if data.ndim != 3 or min(data.shape) < 2 or not np.isfinite(data).all():
        raise ValueError("a study needs two people, trials and plates at least, each plate read by each in every trial")
    return data


def _single(n: int) -> float:
    """d2* for one range of n values: the root mean square of the range, in standard deviations."""
    return math.hypot(d2(n), d3(n))


def average_and_range(readings: Readings) -> Study:
    """Ranges over trials, people and plates, each divided by its control-chart constant. Raises ValueError."""
    data = _array(readings)
    people, trials, parts = data.shape
    equipment = float(np.ptp(data, axis=1).mean()) / d2(trials)
    between = float(np.ptp(data.mean(axis=(1, 2)))) / _single(people)
    appraiser = math.sqrt(max(between**2 - equipment**2 / (parts * trials), 0.0))
    return _study(equipment, appraiser, float(np.ptp(data.mean(axis=(0, 1)))) / _single(parts))


def analysis_of_variance(readings: Readings) -> Study:
    """Two-way crossed analysis of variance. The interaction of people and plates is pooled: who reads some plates
    unlike the others shows in the repeatability. Raises ValueError.
    """
    data = _array(readings)
    people, trials, parts = data.shape
    off = data - data.mean()
    by_part, by_person = off.mean(axis=(0, 1)), off.mean(axis=(1, 2))
    rest = off - by_part[None, None, :] - by_person[:, None, None]
    rest_square = float((rest**2).sum()) / (data.size - parts - people + 1)
    part_square = people * trials * float((by_part**2).sum()) / (parts - 1)
    people_square = parts * trials * float((by_person**2).sum()) / (people - 1)
    return _study(
        math.sqrt(rest_square),
        math.sqrt(max((people_square - rest_square) / (parts * trials), 0.0)),
        math.sqrt(max((part_square - rest_square) / (people * trials), 0.0)),
    )
