"""The owner's figures at the desk, and each of their tables as a file."""

from collections.abc import Callable

from django.http import Http404, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_GET

from plates.buying.figures.charts import first_time_drawing, worth_drawing
from plates.buying.figures.counts import count_differences
from plates.buying.figures.packs import comebacks, first_asks, overrides
from plates.buying.figures.table import Table
from plates.buying.figures.worth import by_age, ledger_young, not_moved, turns
from plates.buying.pages import csv_file
from shop.people.models import Shop
from shop.web import PageRequest, page, shown

#: Name of a table → how it is made for its file.
FILES: dict[str, Callable[[Shop], Table]] = {
    "worth-by-age": lambda shop: by_age(shop)[0],
    "worth": lambda shop: by_age(shop)[1],
    "turns": turns,
    "not-moved": not_moved,
    "first-time": lambda shop: first_asks(shop)[0],
    "comebacks-by-person": lambda shop: comebacks(shop)[0],
    "comebacks-by-spec": lambda shop: comebacks(shop)[1],
    "counts": count_differences,
    "overrides": overrides,
}


@require_GET
@page
def figures(request: PageRequest) -> HttpResponse:
    """What the shelf is worth and does, as tables and two drawings; for who buys, and the owner."""
    request.user.require("buying")
    shop = request.user.shop
    ages, rows = by_age(shop)
    first, steps = first_asks(shop)
    parts: list[tuple[Table, str]] = [
        (ages, worth_drawing(ages.rows)),
        (rows, ""),
        (turns(shop), ""),
        (not_moved(shop), ""),
        (first, first_time_drawing(steps, timezone.localdate()) if first.rows else ""),
        *((table, "") for table in comebacks(shop)),
        (count_differences(shop), ""),
        (overrides(shop), ""),
    ]
    context = {"parts": parts, "young": ledger_young(shop), "today": timezone.localdate()}
    return shown(request, "plates/figures.html", context)


@require_GET
@page
def figures_csv(request: PageRequest, name: str) -> HttpResponse:
    """One table, whole, as a file."""
    request.user.require("buying")
    if name not in FILES:
        raise Http404(f"There is no table {name!r} among the figures.")
    return csv_file(f"{name}.csv", FILES[name](request.user.shop).file())
