"""Buying for cover at the desk: what to buy so that the most packs close from the shelf, and what could go."""

from dataclasses import asdict
from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpResponse
from django.views.decorators.http import require_GET

from plates.buying.asked import LEAST_ASKED
from plates.buying.cover import PERIOD_WEEKS, TARGET, CoverPlan, Idle, cover_idle, cover_plan
from plates.buying.demand import YEAR_WEEKS
from plates.buying.figures.table import SHOWN, plates_worth
from plates.buying.pages import by_supplier, csv_of
from shop.errors import Malformed
from shop.forms import IntegerField, PageForm
from shop.web import PageRequest, forbidden, page, shown

IDLE_COLUMNS = ("kind", "bin", "count", "of", "worth")


class CoverForm(PageForm):
    """Every field has what a shop begins with."""

    focus = "weeks"
    weeks = IntegerField(
        label="The shelf has to last for, in weeks",
        min_value=1,
        max_value=26,
        help_text="Until what is ordered now is there: the lead of an order and the time from one buying to the next.",
    )
    target = IntegerField(
        label="Packs to close from the shelf, in %",
        min_value=1,
        max_value=100,
        help_text="Of those that needed plates.",
    )
    budget = forms.RegexField(
        r"\A[0-9]{1,9}(\.[0-9]{1,2})?\Z",
        label="Spend no more than",
        required=False,
        error_messages={"invalid": "Give an amount in digits, with a point before the cents, like 250.00."},
    )
    assume = forms.BooleanField(
        label=f"Assume packs for a spec that was asked less than {LEAST_ASKED} times in the year", required=False
    )


@require_GET
@page
def buying_cover(request: PageRequest) -> HttpResponse:
    """Worked out when it is asked for: in a large shop it takes some seconds."""
    begins = {"weeks": int(PERIOD_WEEKS), "target": round(TARGET * 100), "assume": True}
    form = CoverForm(request.GET or None, person=request.user, initial=begins)
    if form.is_bound:
        del form.fields["weeks"].widget.attrs["autofocus"]  # the answer stands above it
    context: dict[str, Any] = {"form": form, "year": YEAR_WEEKS, "forbidden": forbidden(request.user, "buying")}
    if form.is_valid():
        said = form.cleaned_data
        found = cover_plan(
            shop=request.user.shop,
            weeks=said["weeks"],
            target=said["target"] / 100,
            budget=Decimal(said["budget"]) if said["budget"] else None,
            assume=said["assume"],
        )
        context |= {
            "found": found,
            "groups": by_supplier(found.order.items(), lambda line: line[0]),
            "share": _shares(found),
            "last_closed": found.buys[-1].closed if found.buys else found.closed,
            "idle": found.idle[:SHOWN],
            "left_off": len(found.idle[SHOWN:]),
            "rest": _together(found.idle[SHOWN:]),
            "unpriced": found.unpriced[:SHOWN],
            "query": request.GET.urlencode(),
        }
    return shown(request, "plates/buying_cover.html", context)


@require_GET
@page
def buying_cover_idle_csv(request: PageRequest) -> HttpResponse:
    """All that could go, for the same address as the page."""
    form = CoverForm(request.GET, person=request.user)
    if not form.is_valid():
        raise Malformed("This address asks for no such list. Work it out first, then take the file from the page.")
    rows = cover_idle(shop=request.user.shop, weeks=form.cleaned_data["weeks"], assume=form.cleaned_data["assume"])
    return csv_of("could-go.csv", IDLE_COLUMNS, (asdict(row) for row in rows))


def _together(idle: list[Idle]) -> str:
    """How many plates these are, and what they are worth."""
    known = [one for one in idle if one.worth is not None]
    count = sum(one.count for one in idle)
    worth = sum((one.worth or Decimal(0) for one in known), Decimal(0))
    return plates_worth(count, worth, count - sum(one.count for one in known))


def _shares(found: CoverPlan) -> dict[str, str]:
    """Each count as a share of the packs, in words that round nothing up to all."""

    def of(closed: int) -> str:
        if closed == found.packs:
            return "all"
        return f"{min(closed / found.packs, 0.999):.1%}" if found.packs else ""

    return {
        "alone": of(found.alone),
        "closed": of(found.closed),
        "then": of(found.closed_then),
        "by_sizes": of(found.by_sizes.closed),
    }
