"""The cover of a pack, drawn to scale on an axis of readings: a row for each number of changes."""

from collections.abc import Sequence

from django.utils.safestring import SafeString

from plates import svg
from plates.bench.drawing import Limits, dimension_across, figure
from plates.lengths import NM_PER, inch, mm
from plates.matching.cover import Segment

WIDE, LEFT, RIGHT, HEAD, ROW, BAR = 760, 118, 40, 44, 34, 22
#: A gap of one nanometre shows, too.
LEAST_WIDE = 1.5
MOST_TICKS = 7
#: Segments that the description names.
TOLD = 12


def changes_said(changes: int | None) -> str:
    if changes is None:
        return "not closed"
    return "as it is" if changes == 0 else "1 change" if changes == 1 else f"{changes} changes"


def cover_drawing(*, segments: Sequence[Segment], limits: Limits, unit: str, title: str) -> SafeString:
    """The window stands behind all rows, as far as the span holds it."""
    from_nm, to_nm = segments[0].from_nm, segments[-1].to_nm
    scale = (WIDE - LEFT - RIGHT) / (to_nm - from_nm + 1)

    def at(reading_nm: int) -> float:
        return LEFT + (reading_nm - from_nm) * scale

    found = {one.changes for one in segments}
    rows: list[int | None] = [*sorted(changes for changes in found if changes is not None)]
    rows += [None] if None in found else []
    foot = HEAD + ROW * len(rows)
    parts = _window(limits, at(max(from_nm, limits.low_nm)), at(min(to_nm, limits.high_nm)), foot, unit)
    for row, changes in enumerate(rows):
        y = HEAD + ROW * row
        parts.append(svg.text(LEFT - 12, y + BAR / 2 + 9, changes_said(changes), "label", "end"))
        parts.append(svg.line(LEFT, y + ROW, WIDE - RIGHT, y + ROW, "thin"))
        for one in segments:
            if one.changes == changes:
                wide = max(LEAST_WIDE, (one.to_nm - one.from_nm + 1) * scale)
                parts.append(svg.band(at(one.from_nm), y + 6, wide, BAR, "gap" if changes is None else "closed"))
    parts.append(svg.line(LEFT, foot, WIDE - RIGHT, foot, "thick"))
    ticks = _ticks(from_nm, to_nm, unit)
    for reading_nm, said in ticks:
        parts.append(svg.line(at(reading_nm), foot, at(reading_nm), foot + 8, "thin"))
        last = f" {unit}" if reading_nm == ticks[-1][0] else ""
        parts.append(svg.text(at(reading_nm), foot + 25, said + last, "label", "middle"))
    return svg.picture(WIDE, foot + 34, title, _told(segments, unit), parts, "cover")


def _window(limits: Limits, left: float, right: float, foot: float, unit: str) -> list[SafeString]:
    if left >= right:
        return []
    said = f"window {figure(limits.low_nm, unit)} to {figure(limits.high_nm, unit)}"
    return [
        svg.band(left, HEAD - 14, right - left, foot - HEAD + 14),
        svg.line(left, HEAD - 18, left, foot, "limit"),
        svg.line(right, HEAD - 18, right, foot, "limit"),
        dimension_across(left, right, HEAD - 12),
        svg.text(left, 16, said, "label") if left < WIDE / 2 else svg.text(right, 16, said, "label", "end"),
    ]


def _ticks(from_nm: int, to_nm: int, unit: str) -> list[tuple[int, str]]:
    """Round readings, no more than so many, each with its figure."""
    least = NM_PER[unit] // 10_000 if unit == "in" else NM_PER[unit] // 1_000
    steps = [times * 10**power for power in range(8) for times in (1, 2, 5)]
    step_nm = least * next((one for one in steps if (to_nm - from_nm) // (one * least) < MOST_TICKS), steps[-1])
    first = -(-from_nm // step_nm) * step_nm
    write = inch if unit == "in" else mm
    return [(reading_nm, write(reading_nm)) for reading_nm in range(first, to_nm + 1, step_nm)]


def _told(segments: Sequence[Segment], unit: str) -> str:
    parts = [
        f"{figure(one.from_nm, unit)} to {figure(one.to_nm, unit)}: {changes_said(one.changes)}"
        for one in segments[:TOLD]
    ]
    more = f"; and {len(segments) - TOLD} more" if len(segments) > TOLD else ""
    return "; ".join(parts) + more + "."
