"""Stacks and windows drawn to scale, as SVG: pure functions, figures in nanometres in, safe markup out.

Look comes from classes in the stylesheet alone. Whoever cannot see the drawing hears its title and description.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from plates import svg
from plates.lengths import half_even, inch, mm

WIDTH = 400
#: The stack of the first column and of the second one.
COLUMNS = (84, 226)
PLATE_WIDTH = 90
HEAD = 58
#: A plate is drawn high enough for its figure, and no higher than it takes to look like one.
LEAST_HIGH, MOST_HIGH, STACK_HIGH = 17.0, 34.0, 400.0
ROW = 48
MARGIN = 88


@dataclass(frozen=True)
class Layer:
    """One plate of a stack. ``thickness_nm`` None: nobody read it and the book is silent."""

    role: str
    thickness_nm: int | None
    change: str = ""  # "", "in" or "out"
    side: str = ""  # tooth side


@dataclass(frozen=True)
class Stack:
    """A stack from the bottom up, with its measured or predicted gap or height; None while nobody knows it."""

    title: str
    layers: Sequence[Layer]
    measure_nm: int | None


@dataclass(frozen=True)
class Mark:
    """A figure on the window's scale, with its standard uncertainty."""

    label: str
    at_nm: int
    u_nm: float
    main: bool = False


@dataclass(frozen=True)
class Limits:
    """A window, and the outer limits where the manual allows more in a pack that runs."""

    low_nm: int
    high_nm: int
    target_nm: int
    least_nm: int | None = None
    most_nm: int | None = None


def figure(length_nm: float, unit: str) -> str:
    whole_nm = half_even(length_nm)
    return f"{inch(whole_nm)} in" if unit == "in" else f"{mm(whole_nm)} mm"


def _head(x: float, y: float, dx: int, dy: int) -> SafeString:
    """An arrow head whose point lies at (x, y) and looks along (dx, dy)."""
    back_x, back_y = x - 9 * dx, y - 9 * dy
    points = [(x, y), (back_x - 3 * dy, back_y - 3 * dx), (back_x + 3 * dy, back_y + 3 * dx)]
    return format_html('<polygon class="head" points="{}"/>', svg.corners(points))


def _dimension_up(x: float, top: float, bottom: float) -> SafeString:
    """A dimension line from bottom to top; where there is no room between, the arrows point in from outside."""
    if bottom - top >= 24:
        parts = [svg.line(x, top, x, bottom, "thin"), _head(x, top, 0, -1), _head(x, bottom, 0, 1)]
    else:
        parts = [svg.line(x, top - 18, x, bottom + 18, "thin"), _head(x, top, 0, 1), _head(x, bottom, 0, -1)]
    return format_html_join("", "{}", ((part,) for part in parts))


def dimension_across(left: float, right: float, y: float) -> SafeString:
    if right - left >= 24:
        parts = [svg.line(left, y, right, y, "thin"), _head(left, y, -1, 0), _head(right, y, 1, 0)]
    else:
        parts = [svg.line(left - 18, y, right + 18, y, "thin"), _head(left, y, 1, 0), _head(right, y, -1, 0)]
    return format_html_join("", "{}", ((part,) for part in parts))


def scale_of(stacks: Sequence[Stack]) -> float:
    """Pixels a nanometre, one for all stacks of a drawing."""
    known = [layer.thickness_nm for stack in stacks for layer in stack.layers if layer.thickness_nm]
    if not known:
        return LEAST_HIGH / 2_000_000
    total = max(sum(layer.thickness_nm or 0 for layer in stack.layers) for stack in stacks)
    thinnest = max(min(known), total / 60)  # a shim does not blow up the whole drawing
    return min(MOST_HIGH / thinnest, max(LEAST_HIGH / thinnest, STACK_HIGH / total))


def stack_drawing(
    *, stacks: Sequence[Stack], measures: str, limits: Limits | None, unit: str, title: str, desc: str
) -> SafeString:
    """One or two stacks side by side on one scale, with the gap below the stop or the height above the base; plates
    alone where there is no window yet.

    The small ticks stand at the limits of the window: the stop (or the top of the stack) belongs between them.
    """
    scale = scale_of(stacks)
    known = [layer.thickness_nm for stack in stacks for layer in stack.layers if layer.thickness_nm]
    guess_nm = min(known, default=2_000_000)

    def high(stack: Stack) -> float:
        return sum(layer.thickness_nm or guess_nm for layer in stack.layers) * scale

    gap = measures == "gap"
    most = [max(stack.measure_nm or 0, limits.high_nm if limits else 0) * scale for stack in stacks]
    tops = [high(stack) + (reach if gap else 0) for stack, reach in zip(stacks, most, strict=True)]
    tops += [] if gap else most
    base = HEAD + max(tops) + 8
    parts = [svg.line(COLUMNS[0] - 12, base, COLUMNS[len(stacks) - 1] + PLATE_WIDTH + 12, base, "thick")]
    for column, stack in enumerate(stacks):
        x, level = COLUMNS[column], base
        middle = x + PLATE_WIDTH / 2
        parts.append(svg.text(middle, 20, stack.title, "name", "middle"))
        for layer in stack.layers:
            tall = (layer.thickness_nm or guess_nm) * scale
            level -= tall
            parts.append(_plate(x, level, tall, layer))
            parts.append(_label(column, x, level + tall / 2 + 5, layer, unit))
        if limits is None or stack.measure_nm is None:
            continue
        parts.append(svg.text(middle, 42, figure(stack.measure_nm, unit), "value", "middle"))
        foot = level if gap else base
        top = foot - stack.measure_nm * scale
        if gap:
            parts.append(svg.line(x - 12, top, x + PLATE_WIDTH + 12, top, "thick"))
        at = x + PLATE_WIDTH + 14 if column == 0 else x - 14
        low, high_limit = foot - limits.low_nm * scale, foot - limits.high_nm * scale
        parts.append(svg.band(at - 8, high_limit, 16, low - high_limit))
        parts += [svg.line(at - 8, tick, at + 8, tick, "tick") for tick in (low, high_limit)]
        parts.append(_dimension_up(at, top, foot))
    return svg.picture(WIDTH, base + 14, title, desc, parts, "stack")


def _plate(x: float, y: float, tall: float, layer: Layer) -> SafeString:
    """Teeth outside reach out to one side, teeth inside to the other, as in a section through the pack."""
    left = x + (10 if layer.side == "internal" else 0)
    wide = PLATE_WIDTH - (10 if layer.side in ("internal", "external") else 0)
    name = f"plate {layer.role} {layer.change}" + ("" if layer.thickness_nm else " unread")
    return format_html(
        '<rect class="{}" x="{}" y="{}" width="{}" height="{}"/>',
        name.strip(),
        svg.number(left),
        svg.number(y),
        svg.number(wide),
        svg.number(tall),
    )


def _label(column: int, x: float, y: float, layer: Layer, unit: str) -> SafeString:
    text = figure(layer.thickness_nm, unit) if layer.thickness_nm else "not read"
    sign = {"in": "+ ", "out": "× "}.get(layer.change, "")
    name = f"label {layer.change}".strip()
    if column == 0:
        return svg.text(x - 16, y, sign + text, name, "end")
    return svg.text(x + PLATE_WIDTH + 16, y, sign + text, name)


def _outer(limits: Limits) -> list[tuple[int, int]]:
    """The bands beyond the window that are allowed, not to build to."""
    bands = [(limits.least_nm, limits.low_nm), (limits.high_nm, limits.most_nm)]
    return [(one, other) for one, other in bands if one is not None and other is not None and one < other]


def window_drawing(*, limits: Limits, marks: Sequence[Mark], unit: str, title: str, desc: str) -> SafeString:
    """The window as two limits with its target, and each figure with a bar of twice its u to either side."""
    ends = [limits.low_nm, limits.high_nm, *(nm for outer in _outer(limits) for nm in outer)]
    for mark in marks:
        ends += [half_even(mark.at_nm - 2 * mark.u_nm), half_even(mark.at_nm + 2 * mark.u_nm)]
    low, high = min(ends), max(ends)
    scale = (WIDTH - 2 * MARGIN) / (high - low)

    def at(length_nm: float) -> float:
        return MARGIN + (length_nm - low) * scale

    foot = 40 + ROW * len(marks) + 6
    left, right, target = at(limits.low_nm), at(limits.high_nm), at(limits.target_nm)
    parts = [
        *(svg.band(at(one), 24, at(other) - at(one), foot - 24, "allowed") for one, other in _outer(limits)),
        svg.band(left, 24, right - left, foot - 24),
        svg.line(left, 8, left, foot, "limit"),
        svg.line(right, 8, right, foot, "limit"),
        svg.line(target, 24, target, foot, "target"),
        dimension_across(left, right, 16),
        svg.text(left - 22, 21, figure(limits.low_nm, unit), "label", "end"),
        svg.text(right + 22, 21, figure(limits.high_nm, unit), "label"),
    ]
    for row, mark in enumerate(marks):
        y = 40 + ROW * row + 28
        x, reach = at(mark.at_nm), 2 * mark.u_nm * scale
        name = "main" if mark.main else "other"
        said = f"{mark.label}  {figure(mark.at_nm, unit)} ± {figure(2 * mark.u_nm, unit)}"
        text_x, anchor = (x - 10, "start") if x < WIDTH / 2 else (x + 10, "end")
        text_x = min(max(text_x, 4), WIDTH - 4)
        parts += [
            svg.text(text_x, y - 11, said, f"label {name}", anchor),
            svg.line(x - reach, y, x + reach, y, f"bar {name}"),
            svg.line(x - reach, y - 5, x - reach, y + 5, f"bar {name}"),
            svg.line(x + reach, y - 5, x + reach, y + 5, f"bar {name}"),
            svg.dot(x, y, 5, f"dot {name}"),
        ]
    return svg.picture(WIDTH, foot + 8, title, desc, parts, "scale")
