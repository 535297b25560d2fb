"""Residuals drawn in time order: each one with its limits, how far it is from the one before, their moving average."""

from collections.abc import Callable

from django.utils.safestring import SafeString

from plates import svg
from plates.bench.drawing import figure
from plates.bench.proof.residuals import Group
from plates.lengths import half_even, signed
from plates.measuring.charts import Chart, day

WIDE, TALL, LEFT, RIGHT, HEAD, GAP = 760, 170, 118, 12, 34, 30


def residual_chart(group: Group, unit: str) -> SafeString:
    """The three charts of a group that has :attr:`~Group.enough` points; the run that was found is shaded."""
    singles, smooth, found = group.singles, group.smooth, group.found
    began = next((row for row, point in enumerate(group.points) if found and point.at >= found.since), None)
    top = HEAD
    parts = _panel(singles, top, "Each residual", unit, began, joined=False)
    top += TALL + GAP + HEAD
    parts += _panel(group.moving, top, "From one to the next", unit, began, joined=True, first=1)
    low = top + TALL + GAP + HEAD
    parts += _panel(smooth, low, "Moving average, newest value one fifth", unit, began, joined=True)
    foot = low + TALL + 22
    parts.append(svg.text(LEFT, foot, day(group.points[0].at), "name"))
    parts.append(svg.text(WIDE - RIGHT, foot, day(group.points[-1].at), "name", "end"))
    return svg.picture(
        WIDE, foot + 10, f"Residuals of {group.name} in time order", _said(group, singles, smooth, unit), parts, "chart"
    )


def _said(group: Group, singles: Chart, smooth: Chart, unit: str) -> str:
    reach = figure(singles.high, unit)

    def beyond(chart: Chart) -> str:
        return f"{len(chart.outside) or 'none'} beyond"

    moving = group.moving
    steps = f"{figure(half_even(moving.centre), unit)} on average, limit {figure(half_even(moving.high), unit)}"
    parts = [
        f"{len(group.points)} final checks from {day(group.points[0].at)} to {day(group.points[-1].at)},",
        f"on average {signed(group.mean_nm, unit)} from what was predicted; limits {reach} to either side,",
        f"{beyond(singles)}; from one to the next {steps}, {beyond(moving)}.",
        f"Moving average now {signed(smooth.points[-1], unit)},",
        f"its limits {figure(smooth.high, unit)} to either side. {group.sentence(unit)}",
    ]
    return " ".join(parts).strip()


def _panel(
    chart: Chart, top: float, title: str, unit: str, began: int | None, *, joined: bool, first: int = 0
) -> list[SafeString]:
    """``first``: the final check that the first point belongs to. A chart whose low limit is zero shows sizes."""
    across, up = _scales(chart, top, first)
    sizes = chart.low == 0
    outside = set(chart.outside)
    parts = []
    if began is not None:
        left = across(began) - 6
        parts.append(svg.band(left, top, WIDE - RIGHT - left, TALL))
    parts += [
        svg.text(LEFT, top - 10, title, "name"),
        svg.line(LEFT, up(chart.centre), WIDE - RIGHT, up(chart.centre), "target"),
        svg.text(LEFT - 10, up(chart.centre) + 5, "on average" if sizes else "as predicted", "label", "end"),
    ]
    for limit in (chart.high, chart.low):
        said = "none" if not limit else figure(half_even(limit), unit) if sizes else signed(limit, unit)
        parts.append(svg.line(LEFT, up(limit), WIDE - RIGHT, up(limit), "limit"))
        parts.append(svg.text(LEFT - 10, up(limit) + 5, said, "label", "end"))
    places = [(across(row), up(value)) for row, value in enumerate(chart.points, start=first)]
    if joined:
        parts.append(svg.path(places, "run"))
    for row, (x, y) in enumerate(places):
        parts.append(svg.dot(x, y, 4, "dot main" if row in outside else "dot other"))
    return parts


def _scales(chart: Chart, top: float, first: int) -> tuple[Callable[[int], float], Callable[[float], float]]:
    """Where the nth point stands across, and a value up: limits and all points fit in, with some air."""
    most = max(abs(value) for value in (*chart.points, chart.low, chart.high)) * 1.08
    step = (WIDE - LEFT - RIGHT - 16) / max(1, first + len(chart.points) - 1)
    zero, high = (top + TALL, TALL) if chart.low == 0 else (top + TALL / 2, TALL / 2)
    return lambda row: LEFT + 8 + row * step, lambda value: zero - value / most * high

