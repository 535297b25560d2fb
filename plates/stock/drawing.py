"""Sizes as bars: what is free of each, held, and on order; what is low, and what is catalogued and not there."""

from collections.abc import Sequence

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from plates import svg
from plates.lengths import NM_PER, inch, mm
from plates.stock.shelf import Size

#: A bar is a place to press, too, so the drawing keeps its size: one unit of it is one pixel.
COLUMN, TALL, HEAD, FOOT, EDGE, BREAK = 60, 120, 24, 48, 6, 18


def size_figure(length_nm: int, unit: str) -> str:
    """As short as it stays exact in the places that are shown: ``0.077``, ``0.0775``, ``1.96``."""
    write, places = (inch, 4) if unit == "in" else (mm, 3)
    step = NM_PER[unit] // 10 ** (places - 1)
    return write(length_nm, places if length_nm % step else places - 1)


def size_said(size: Size, unit: str) -> str:
    """``0.077 in: 12 on the shelf, 2 of them held, 5 on order, low``."""
    held = f", {size.held} of them held" if size.held else ""
    order = f", {size.bought.on_order} on order" if size.bought.on_order else ""
    low = ", low" if size.bought.low else ""
    return f"{size_figure(size.centre_nm, unit)} {unit}: {size.lying or 'none'} on the shelf{held}{order}{low}"


def histogram_drawing(sizes: Sequence[Size], *, unit: str, title: str, links: Sequence[str] = ()) -> SafeString:
    """One bar a size (one at least), all to one scale; with ``links`` each column leads to its plates. Where sizes in
    between are left out, the base line is broken.
    """
    most = max(1, *(size.lying + size.bought.on_order for size in sizes))
    foot = HEAD + TALL
    step_nm = sizes[0].to_nm - sizes[0].from_nm
    left, columns, began = EDGE, [], EDGE
    lines = []
    for place, size in enumerate(sizes):
        if place and size.from_nm - sizes[place - 1].from_nm > step_nm:
            lines.append(svg.line(began, foot, left, foot, "thick"))
            left += BREAK
            began = left
        column = _column(size, left, foot, TALL / most, unit)
        if links:
            column = format_html('<a href="{}" aria-label="{}">{}</a>', links[place], size_said(size, unit), column)
        columns.append(column)
        left += COLUMN
    lines.append(svg.line(began, foot, left, foot, "thick"))
    wide, high = left + EDGE, foot + FOOT
    # With links, each says its own size.
    desc = "" if links else "; ".join(size_said(size, unit) for size in sizes) + "."
    return format_html(
        '<svg class="drawing sizes" role="{}" width="{}" height="{}" viewBox="0 0 {} {}" '
        'xmlns="http://www.w3.org/2000/svg"><title>{}</title>{}{}{}</svg>',
        "group" if links else "img",
        wide,
        high,
        wide,
        high,
        title,
        format_html("<desc>{}</desc>", desc) if desc else "",
        format_html_join("", "{}", ((one,) for one in columns)),
        format_html_join("", "{}", ((one,) for one in lines)),
    )


def _column(size: Size, left: float, foot: float, scale: float, unit: str) -> SafeString:
    middle = left + COLUMN / 2
    free, held = (size.lying - size.held) * scale, size.held * scale
    name = "label" if size.lying else "label none"
    parts = [svg.band(left, 0, COLUMN, foot + FOOT, "press")]
    if free:
        parts.append(svg.band(left + 7, foot - free, COLUMN - 14, free, "free"))
    if held:
        parts.append(svg.band(left + 7, foot - free - held, COLUMN - 14, held, "held"))
    ordered, count = size.bought.on_order * scale, str(size.lying)
    if ordered:
        parts.append(svg.band(left + 7, foot - free - held - ordered, COLUMN - 14, ordered, "on-order"))
        count += f" +{size.bought.on_order}"
    parts.append(svg.text(middle, foot - free - held - ordered - 7, count, name, "middle"))
    parts.append(svg.text(middle, foot + 21, size_figure(size.centre_nm, unit), name, "middle"))
    if size.bought.low:
        parts.append(svg.text(middle, foot + 40, "▾ low", "label low", "middle"))
    return format_html_join("", "{}", ((part,) for part in parts))
