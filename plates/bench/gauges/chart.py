"""The checks of a gauge drawn in time order: what each found, less the zero error in force, against the limits."""

from collections.abc import Sequence

from django.utils.safestring import SafeString

from plates import svg
from plates.lengths import signed
from plates.measuring.charts import day
from plates.measuring.models import Gauge, GaugeCheck

WIDE, TALL, LEFT, RIGHT, HEAD = 760, 170, 118, 16, 16
#: So many limits of error are drawn to scale; what lies farther off stands at the edge and says its figure, so that one
#: dropped gauge does not press everything else flat.
REACH = 4


def check_chart(gauge: Gauge, checks: Sequence[GaugeCheck], unit: str) -> SafeString:
    """``checks`` oldest first, at least one."""
    left_nm = [check.error_nm - check.zero_before_nm for check in checks]
    reach = min(REACH * gauge.limit_nm, max(gauge.limit_nm, *(abs(value) for value in left_nm)))
    most = reach * 1.15
    step = (WIDE - LEFT - RIGHT - 16) / max(1, len(checks) - 1)

    def up(value: float) -> float:
        return HEAD + TALL / 2 - value / most * TALL / 2

    high, low = up(gauge.limit_nm), up(-gauge.limit_nm)
    parts = [svg.band(LEFT, high, WIDE - RIGHT - LEFT, low - high)]
    for at, label in ((0, "right"), (gauge.limit_nm, ""), (-gauge.limit_nm, "")):
        parts.append(svg.line(LEFT, up(at), WIDE - RIGHT, up(at), "limit" if at else "target"))
        parts.append(svg.text(LEFT - 10, up(at) + 5, label or signed(at, unit, 2), "label", "end"))
    places = [(LEFT + 8 + row * step, up(max(-reach, min(reach, value)))) for row, value in enumerate(left_nm)]
    parts.append(svg.path(places, "run"))
    for (x, y), value in zip(places, left_nm, strict=True):
        if abs(value) > reach:
            near = x < WIDE / 2
            said = signed(value, unit, 2)
            parts.append(svg.text(x + 12 if near else x - 12, y + 5, said, "label", "start" if near else "end"))
    for (x, y), check in zip(places, checks, strict=True):
        parts.append(svg.dot(x, y, 5, "dot other" if check.passed else "dot main"))
    foot = HEAD + TALL + 24
    parts.append(svg.text(LEFT, foot, day(checks[0].at), "name"))
    if len(checks) > 1:
        parts.append(svg.text(WIDE - RIGHT, foot, day(checks[-1].at), "name", "end"))
    failed = sum(not check.passed for check in checks)
    said = (
        f"{len(checks)} check{'' if len(checks) == 1 else 's'}, {failed} outside the limit of error "
        f"{signed(gauge.limit_nm, unit, 2)} to either side; the last one {signed(left_nm[-1], unit, 2)}."
    )
    return svg.picture(WIDE, foot + 10, f"What the checks of {gauge.code} found", said, parts, "chart")
