"""The few shapes that every drawing is made of: safe markup from figures. Look comes from the stylesheet alone."""

from collections.abc import Iterable, Sequence

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString


def number(value: float) -> str:
    """To a thousandth, in no more characters than that takes: a page may hold thousands of them."""
    return f"{value:.3f}".rstrip("0").rstrip(".")


def picture(wide: float, high: float, title: str, desc: str, parts: Sequence[SafeString], name: str) -> SafeString:
    """The whole drawing. Whoever cannot see it hears its title and description."""
    return format_html(
        '<svg class="drawing {}" role="img" viewBox="0 0 {} {}" xmlns="http://www.w3.org/2000/svg">'
        "<title>{}</title><desc>{}</desc>{}</svg>",
        name,
        wide,
        number(high),
        title,
        desc,
        format_html_join("", "{}", ((part,) for part in parts)),
    )


def line(x1: float, y1: float, x2: float, y2: float, name: str) -> SafeString:
    ends = [number(value) for value in (x1, y1, x2, y2)]
    return format_html('<line class="{}" x1="{}" y1="{}" x2="{}" y2="{}"/>', name, *ends)


def corners(points: Iterable[tuple[float, float]]) -> str:
    return " ".join(f"{number(x)},{number(y)}" for x, y in points)


def path(points: Iterable[tuple[float, float]], name: str) -> SafeString:
    """A line through all points."""
    return format_html('<polyline class="{}" points="{}"/>', name, corners(points))


def dot(x: float, y: float, radius: float, name: str) -> SafeString:
    return format_html('<circle class="{}" cx="{}" cy="{}" r="{}"/>', name, number(x), number(y), radius)


def text(x: float, y: float, said: str, name: str, anchor: str = "start") -> SafeString:
    return format_html(
        '<text class="{}" x="{}" y="{}" text-anchor="{}">{}</text>', name, number(x), number(y), anchor, said
    )


def band(x: float, y: float, wide: float, tall: float, name: str = "window") -> SafeString:
    numbers = [number(value) for value in (x, y, wide, tall)]
    return format_html('<rect class="{}" x="{}" y="{}" width="{}" height="{}"/>', name, *numbers)
