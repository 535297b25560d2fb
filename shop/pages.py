"""Home, how the day goes, and the echo of what was typed in both units."""

import re

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.templatetags.static import static
from django.views.decorators.http import require_GET

from plates.bench.proof.residuals import sentences
from plates.bench.selectors import matches
from plates.lengths import LengthError
from shop.forms import understood
from shop.web import PageRequest, page, shown


@require_GET
def favicon(request: HttpRequest) -> HttpResponse:
    """For browsers that ask at the old address."""
    return redirect(static("shop/favicon.svg"), permanent=True)


@require_GET
@page
def home(request: PageRequest) -> HttpResponse:
    rows = matches(request.user.shop_id).prefetch_related("final_checks").order_by("-number")
    busy = list(rows.filter(state__in=["open", "held", "taken"])[:12])
    context = {
        "matches": busy,
        "closed": rows.filter(state="closed")[:5],
        "drifting": sentences(request.user.shop_id, request.user.shop.unit_first),
    }
    return shown(request, "shop/home.html", context)


@require_GET
@page
def how(request: PageRequest) -> HttpResponse:
    """How the day goes, by role; the README says the same."""
    return shown(request, "shop/how.html", {})


@require_GET
@page
def echo(request: PageRequest) -> HttpResponse:
    """A fragment: the figures of one field in both units, before they count. ``longest``: of that field, in nm."""
    fields = request.GET.copy()
    longest = fields.pop("longest", [""])[-1]
    longest_nm = int(longest) if re.fullmatch("[0-9]{1,12}", longest) else None
    text = str(next(iter(fields.values()), ""))
    try:
        lengths = understood(text, request.user.shop.unit_first, longest_nm)
        return shown(request, "shop/echo.html", {"lengths": lengths})
    except LengthError as error:
        return shown(request, "shop/echo.html", {"error": str(error)})
