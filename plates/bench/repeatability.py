"""How well the people of this shop read a pack, by what their own final checks say."""

import math
import uuid
from dataclasses import dataclass
from statistics import fmean, median, variance
from typing import Any

from django.db.models import F, QuerySet

from plates.bench.selectors import LOOK, final_checks
from plates.measuring.uncertainty import TO_BEGIN_WITH, Figures
from shop.compiled import compiled

#: From so many final checks on, the measured figure replaces the default of its method.
FEWEST = 20
#: Plates and rounding make a reading never better than this share of its method's default.
FLOOR = 0.1
#: So many sigma from the median a residual tells of a mistake, not of scatter.
FAR = 5


@dataclass(frozen=True)
class Repeatability:
    """What the final checks of one method say: how many there are, and u of one reading in nm once they suffice."""

    method: str
    checks: int
    default_nm: float
    measured_nm: float | None

    @property
    def missing(self) -> int:
        return max(0, FEWEST - self.checks)


def repeatability(shop_id: uuid.UUID, figures: Figures = TO_BEGIN_WITH) -> list[Repeatability]:
    """Every method with its measured repeatability, finest default first; one query, over the latest final checks.

    Only packs read by one method before and after tell it: no soaked ones, comebacks, nor built from an empty drum. A
    residual is final less predicted, and the prediction is the first reading with the plates moved: two readings of one
    method and the moves, independent, so var(residual) = 2 u² + u_moves² (JCGM 100:2008, 5.1.2), with the variance as a
    type A estimate about the mean of the residuals (JCGM 100:2008, 4.2): u = √((s² - mean of u_moves²) / 2). An offset
    that lasts is not scatter; the charts look for that. What single readings and wave plates add to the scatter stays
    in it, so that the figure errs to the wide side. A pack that was built wrongly or a figure in the wrong unit is no
    scatter either: what lies far from the middle of the others is left out.
    """
    found: dict[str, list[tuple[int, float]]] = {method: [] for method in figures.reading_nm}
    for method, residual_nm, u_moves_nm in _told(shop_id):
        found[method].append((residual_nm, u_moves_nm))

    def of(method: str, default_nm: float) -> Repeatability:
        rows = _without_far_ones(found[method], default_nm)
        if len(rows) < FEWEST:
            return Repeatability(method, len(rows), default_nm, None)
        moves = fmean(u_nm**2 for _, u_nm in rows)
        square = (variance(float(residual_nm) for residual_nm, _ in rows) - moves) / 2
        return Repeatability(method, len(rows), default_nm, math.sqrt(max(square, (FLOOR * default_nm) ** 2)))

    return [of(*pair) for pair in sorted(figures.reading_nm.items(), key=lambda pair: (pair[1], pair[0]))]


@compiled
def _told(shop_id: uuid.UUID) -> QuerySet[Any, tuple[str, int, float]]:
    told = final_checks(shop_id, LOOK).filter(apart="", method=F("asked_method")).order_by()
    return told.values_list("method", "residual_nm", "u_moves_nm")


def _without_far_ones(rows: list[tuple[int, float]], default_nm: float) -> list[tuple[int, float]]:
    """Rows within five sigma of the median; sigma by the median absolute deviation, 1.4826 of it for normal values (the
    usual factor, from memory), and not below the method's default.
    """
    if not rows:
        return rows
    middle = median(residual_nm for residual_nm, _ in rows)
    sigma = 1.4826 * median(abs(residual_nm - middle) for residual_nm, _ in rows)
    return [row for row in rows if abs(row[0] - middle) <= FAR * max(sigma, default_nm)]


def method_u_nm(shop_id: uuid.UUID, figures: Figures = TO_BEGIN_WITH) -> dict[str, float]:
    """Method → measured u of one reading of a pack in nm, for those with enough final checks; one query."""
    return {row.method: row.measured_nm for row in repeatability(shop_id, figures) if row.measured_nm is not None}
