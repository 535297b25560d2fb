"""How well the people of this shop read a pack, by what their own final checks say."""

import math
import uuid
from dataclasses import dataclass

from django.db.models import Avg, Count, F, StdDev

from plates.bench.selectors import LOOK, final_checks
from plates.measuring.uncertainty import READING_U_NM

#: From so many final checks on, the measured figure replaces the default of its method.
FEWEST = 20
#: Plates and rounding make a reading never better than this share of its method's default.
FLOOR = 0.1


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


def repeatability(shop_id: uuid.UUID) -> list[Repeatability]:
    """Every method with its measured repeatability, finest default first; one query, over the latest final checks.

    Only packs read by one method before and after tell it, and neither soaked ones nor comebacks. A residual is final
    less predicted, and the prediction is the first reading with the plates moved: two readings of one method and the
    moves, independent, so var(residual) = 2 u² + u_moves² (JCGM 100:2008, 5.1.2), with the variance as a type A
    estimate about the mean of the residuals (JCGM 100:2008, 4.2): u = √((s² - mean of u_moves²) / 2). An offset that
    lasts is not scatter; the charts look for that. What single readings and wave plates add to the scatter stays in
    it, so that the figure errs to the wide side.
    """
    told = final_checks(shop_id, LOOK).filter(apart="", method=F("asked_method")).order_by()
    found = told.values("method").annotate(
        checks=Count("pk"), s=StdDev("residual_nm", sample=True), moves=Avg(F("u_moves_nm") * F("u_moves_nm"))
    )
    rows = {row["method"]: row for row in found}

    def of(method: str, default_nm: float) -> Repeatability:
        row = rows.get(method)
        if row is None or row["checks"] < FEWEST:
            return Repeatability(method, row["checks"] if row else 0, default_nm, None)
        square = (float(row["s"]) ** 2 - row["moves"]) / 2
        return Repeatability(method, row["checks"], default_nm, math.sqrt(max(square, (FLOOR * default_nm) ** 2)))

    return [of(*pair) for pair in sorted(READING_U_NM.items(), key=lambda pair: (pair[1], pair[0]))]


def method_u_nm(shop_id: uuid.UUID) -> dict[str, float]:
    """Method → measured u of one reading of a pack in nm, for those with enough final checks; one query."""
    return {row.method: row.measured_nm for row in repeatability(shop_id) if row.measured_nm is not None}
