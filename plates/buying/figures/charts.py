"""The figures that are drawn: what the shelf is worth by age, and what it closed the first time, step by step."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from plates import svg
from plates.buying.figures.packs import Asked
from plates.buying.figures.table import cents, percent, share
from plates.buying.figures.worth import STEP_WEEKS

TALL, HEAD, LINE, EDGE = 130, 26, 20, 6
WIDE_AGE, WIDE_STEP = 86, 64
#: From here on a figure over a bar is too wide with its cents.
WHOLE = 10_000


def worth_drawing(ages: Sequence[Mapping[str, Any]]) -> SafeString:
    """One bar an age, as high as its value; blank where no cost is known. ``ages`` are rows of
    :func:`~plates.buying.figures.worth.by_age`.
    """
    most = max((row["value"] or Decimal(0) for row in ages), default=Decimal(0))
    if not most:
        return SafeString("")
    columns, said = [], []
    for place, row in enumerate(ages):
        value = row["value"] or Decimal(0)
        figure = cents(value) if most < WHOLE else f"{value:.0f}"
        unit = "plate" if row["plates"] == 1 else "plates"
        below = (*row["age"].rsplit(" ", 1), str(row["plates"]), unit)
        columns += _column(place, WIDE_AGE, float(value / most), figure, below)
        said.append(f"{row['age']}: {cents(value)} in {row['plates']} {unit}")
    return _drawing(columns, len(ages) * WIDE_AGE, 4, "Value on the shelf by age", "; ".join(said) + ".")


def first_time_drawing(steps: Sequence[Asked], today: date) -> SafeString:
    """One bar a step of four weeks, the oldest first: the share of packs that the shelf closed the first time, out of
    the whole that is drawn behind it.
    """
    columns, said = [], []
    for place, asked in enumerate(steps):
        begun = today - timedelta(weeks=STEP_WEEKS * (len(steps) - place))
        day = f"{begun.day} {begun:%b}"
        part = share(asked.answered, asked.wanted)
        counts = f"{asked.answered} of {asked.wanted}" if asked.wanted else "none"
        figure = "" if part is None else percent(part)
        if part is not None:
            columns.append(svg.band(EDGE + place * WIDE_STEP + 7, HEAD, WIDE_STEP - 14, TALL, "whole"))
        columns += _column(place, WIDE_STEP, float(part or 0), figure, (counts, "from", day), above=part is not None)
        said.append(f"from {day}: {counts}")
    return _drawing(
        columns, len(steps) * WIDE_STEP, 3, "Packs closed from the shelf the first time", f"{'; '.join(said)}."
    )


def _column(
    place: int, wide: float, part: float, figure: str, below: Sequence[str], *, above: bool = False
) -> list[SafeString]:
    """A bar of so much of the height; its figure over it, or ``above`` them all."""
    left, foot = EDGE + place * wide, HEAD + TALL
    middle, tall = left + wide / 2, TALL * part
    parts = [svg.band(left + 7, foot - tall, wide - 14, tall, "free")] if part else []
    parts.append(svg.text(middle, (HEAD if above else foot - tall) - 7, figure, "label", "middle"))
    parts += [svg.text(middle, foot + LINE * row, text, "name", "middle") for row, text in enumerate(below, 1)]
    return parts


def _drawing(columns: Sequence[SafeString], wide: float, below: int, title: str, desc: str) -> SafeString:
    """One unit of the drawing is one pixel, as on the shelf; so many lines stand ``below`` the bars."""
    whole, foot = wide + 2 * EDGE, HEAD + TALL
    base = svg.line(EDGE, foot, EDGE + wide, foot, "thick")
    return format_html(
        '<svg class="drawing sizes" role="img" width="{0}" height="{1}" viewBox="0 0 {0} {1}" '
        'xmlns="http://www.w3.org/2000/svg"><title>{2}</title><desc>{3}</desc>{4}{5}</svg>',
        svg.number(whole),
        svg.number(foot + below * LINE + 8),
        title,
        desc,
        format_html_join("", "{}", ((one,) for one in columns)),
        base,
    )
