"""What final checks say in time order: by method, gauge or person, do the readings still come out as predicted?"""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise

from django.utils import timezone

from plates.bench.selectors import LOOK, final_checks
from plates.lengths import mean_nm
from plates.measuring.charts import (
    FEWEST,
    ROUNDING_NM,
    Chart,
    Drift,
    drift,
    drift_words,
    individuals,
    moving_range,
    sigma_of,
    steadied,
)

#: So many final checks of one group are drawn.
SHOWN = 100
#: Share of the newest value in the moving average.
WEIGHT = 0.2

BY = ("method", "gauge", "person")
_SUBJECT = {"method": "final readings by {}", "gauge": "final readings with gauge {}", "person": "final readings of {}"}
_ADVICE = {
    "method": "check the gauge and how it is held",
    "gauge": "check this gauge against a standard",
    "person": "read a pack together, and compare how each of you holds the gauge",
}
APART = {"soaked": "soaked", "comeback": "came back", "room": "from an empty drum"}


@dataclass(frozen=True)
class Point:
    """One final check, its time as on the wall of the shop. ``apart``: why it stands on no chart, or blank.
    ``moved_nm``: how far its residual is from the one before it on the chart; None for the first, and apart.
    """

    at: datetime
    match: int
    method: str
    gauge: str
    person: str
    predicted_nm: int
    measured_nm: int
    residual_nm: int
    apart: str
    moved_nm: int | None = None

    @property
    def why_apart(self) -> str:
        return APART.get(self.apart, "")


@dataclass(frozen=True)
class Group:
    """The final checks of one method, gauge or person, oldest first; those that stand ``apart`` are on no chart."""

    by: str
    name: str
    points: list[Point]
    apart: list[Point]

    @property
    def enough(self) -> bool:
        """Whether there are enough values for limits."""
        return len(self.points) >= FEWEST

    @property
    def missing(self) -> int:
        return max(0, FEWEST - len(self.points))

    @property
    def values(self) -> list[float]:
        return [float(point.residual_nm) for point in self.points]

    @property
    def mean_nm(self) -> int:
        return mean_nm(point.residual_nm for point in self.points) if self.points else 0

    @property
    def singles(self) -> Chart:
        """Single values about zero, which is what a residual should be; limits from the moving range."""
        return individuals(self.values, centre=0.0, floor=ROUNDING_NM)

    @property
    def moving(self) -> Chart:
        """How far each value is from the one before it: scatter that grows shows here."""
        return moving_range(self.values, floor=ROUNDING_NM)

    @property
    def smooth(self) -> Chart:
        """Their moving average, with its limits about zero."""
        return steadied(self.values, weight=WEIGHT, sigma=max(sigma_of(self.values), ROUNDING_NM))

    @property
    def found(self) -> Drift | None:
        return drift([(point.at, float(point.residual_nm)) for point in self.points], weight=WEIGHT)

    def sentence(self, unit_first: str) -> str:
        """What is out of control, in plain words with what to do; blank while nothing is."""
        found = self.found
        if found is None:
            return ""
        words = drift_words(_SUBJECT[self.by].format(self.name), found, unit_first)
        return f"{words[0].upper()}{words[1:]}, against what was predicted: {_ADVICE[self.by]}."


def points_of(shop_id: uuid.UUID) -> list[Point]:
    """The latest final checks of the shop, oldest first; one query."""
    columns = ("at", "match__number", "method", "gauge", "person__username")
    figures = ("predicted_nm", "clearance_nm", "residual_nm", "apart")
    rows = final_checks(shop_id, LOOK).values_list(*columns, *figures)
    return [Point(timezone.localtime(at), *rest) for at, *rest in rows]


def groups_of(points: Sequence[Point], by: str) -> list[Group]:
    """The points by method, gauge or person, in the order of their names. Who named no gauge is in no gauge's group."""
    found: dict[str, list[Point]] = {}
    for point in points:
        if name := getattr(point, by):
            found.setdefault(name, []).append(point)
    return [
        Group(
            by,
            name,
            _stepped([point for point in rows if not point.apart][-SHOWN:]),
            [point for point in rows if point.apart][-SHOWN:],
        )
        for name, rows in sorted(found.items())
    ]


def _stepped(points: list[Point]) -> list[Point]:
    """The points, each with its distance from the one before."""
    after = [replace(two, moved_nm=abs(two.residual_nm - one.residual_nm)) for one, two in pairwise(points)]
    return [*points[:1], *after]


def sentences(shop_id: uuid.UUID, unit_first: str) -> list[str]:
    """Everything that is out of control in this shop, in plain words; one query."""
    points = points_of(shop_id)
    return [said for by in BY for group in groups_of(points, by) if (said := group.sentence(unit_first))]
