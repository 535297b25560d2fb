"""What a reading has to know of the gauge that it was taken with."""

import math
import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from plates.lengths import both
from plates.measuring.models import Gauge, GaugeType
from plates.measuring.selectors import GaugeState, gauges
from shop.errors import Refusal

#: Which gauges serve for what: a plate's thickness, or a pack reading by its method. What is not named takes any.
SERVES: dict[str, tuple[str, ...]] = {
    "plate": (GaugeType.MICROMETER, GaugeType.INDICATOR),
    "feeler": (GaugeType.FEELER,),
    "indicator": (GaugeType.INDICATOR,),
    "depth": (GaugeType.DEPTH,),
}


class GaugeWithdrawn(Refusal):
    code, title = "gauge_withdrawn", "This gauge is withdrawn"


@dataclass(frozen=True)
class GaugeNotes:
    """The gauge of a reading, if it is registered, and what has to be said of it.

    ``zero_nm`` is to be taken off what a micrometer shows: length = shown - zero. A clearance by indicator or depth is
    the difference of two readings of one gauge, so there it cancels, and a feeler blade has no zero. ``shared_u_nm`` is
    the standard uncertainty that all readings with this gauge share, its limit of error / sqrt(3) (rectangular, JCGM
    100:2008, 4.3.7); None for a gauge that is not registered.
    """

    code: str
    gauge: Gauge | None = None
    warnings: list[dict[str, str]] = field(default_factory=list)
    zero_nm: int = 0
    shared_u_nm: float | None = None
    #: When its next check is due; None when never, or when nobody knows.
    due_at: datetime | None = None


def gauge_notes(shop_id: uuid.UUID, code: str, *, act: str = "") -> GaugeNotes:
    """Look up the gauge that somebody books a reading with; one query, none for a blank code.

    ``act`` is ``plate`` for a thickness, or the method of a pack reading; then a gauge of another type is warned about.
    Warnings: gauge_unknown, gauge_unchecked, gauge_failed, gauge_overdue, gauge_type. Raises GaugeWithdrawn.
    """
    code = code.strip()
    if not code:
        return GaugeNotes(code)
    gauge = gauges(shop_id).filter(code=code).first()
    if gauge is None:
        text = f"No gauge {code} is registered, so nobody knows when it was last checked. Register it under Gauges."
        return GaugeNotes(code, warnings=[{"code": "gauge_unknown", "text": text}])
    warnings = _warnings(gauge, act)
    zero_nm = gauge.zero_nm if gauge.type == GaugeType.MICROMETER else 0
    return GaugeNotes(code, gauge, warnings, zero_nm, shared_error_nm(gauge.limit_nm), gauge.due_at)


def gauge_for_plates(shop_id: uuid.UUID, code: str) -> tuple[GaugeNotes, str]:
    """For a page on which plates are read: their gauge, and why not where it is withdrawn."""
    try:
        return gauge_notes(shop_id, code, act="plate"), ""
    except GaugeWithdrawn as refusal:
        return GaugeNotes(code), refusal.detail


def shared_error_nm(limit_nm: int) -> float:
    """Standard uncertainty, in nm, of the error that all readings with a gauge of this limit share."""
    return limit_nm / math.sqrt(3)


def shared_errors(shop_id: uuid.UUID, codes: Iterable[str]) -> dict[str, float]:
    """Code → standard uncertainty of the shared error, in nm, for those codes that are registered; one query."""
    wanted = {code for code in codes if code}
    if not wanted:
        return {}
    found = Gauge.objects.filter(shop_id=shop_id, code__in=wanted).values_list("code", "limit_nm")
    return {code: shared_error_nm(limit_nm) for code, limit_nm in found}


def _warnings(gauge: Any, act: str) -> list[dict[str, str]]:
    said: list[tuple[str, str]] = []
    state = gauge.state_now
    if state == GaugeState.WITHDRAWN:
        why = f": {gauge.withdrawn_why}" if gauge.withdrawn_why else ""
        raise GaugeWithdrawn(
            f"Gauge {gauge.code} is withdrawn{why}. Read with another gauge, or take this one back into use first.",
            [("/gauge", "read with another gauge")],
        )
    if state == GaugeState.UNCHECKED:
        said.append(("gauge_unchecked", f"Gauge {gauge.code} was never checked against a standard."))
    elif state == GaugeState.FAILED:
        error = both(abs(gauge.error_nm))
        side = "high" if gauge.error_nm > 0 else "low"
        text = f"Gauge {gauge.code} failed its last check, {error} {side}: set it right and check it again."
        said.append(("gauge_failed", text))
    elif state == GaugeState.DUE:
        text = f"Gauge {gauge.code} was due for its check on {gauge.due_at.date()}: check it today."
        said.append(("gauge_overdue", text))
    if act in SERVES and gauge.type not in SERVES[act]:
        what = "a plate's thickness" if act == "plate" else f"a reading by {act}"
        text = f"Gauge {gauge.code} is of type {gauge.get_type_display()}, which is unusual for {what}."
        said.append(("gauge_type", text))
    return [{"code": code, "text": text} for code, text in said]
