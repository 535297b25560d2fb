"""The shelf at the counter: how many there are of each size, and which plates these are."""

from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.views.decorators.http import require_GET

from plates.catalogue.models import Role
from plates.catalogue.selectors import fits
from plates.lengths import LengthError, length_parse
from plates.stock.drawing import histogram_drawing, size_figure
from plates.stock.shelf import BoughtOf, Histogram, Size, histograms, plates_between, rows_kept
from shop.web import PageRequest, page, shown

#: So many fits and roles stand on one page, however many the shop has.
ON_A_PAGE = 5


@require_GET
@page
def shelf(request: PageRequest, *, bought_of: BoughtOf) -> HttpResponse:
    """Histograms by fit and role; ``bought_of`` knows what of them is on order, and what is low."""
    shop = request.user.shop
    fit, role = request.GET.get("fit", "").strip(), request.GET.get("role", "")
    rows = Paginator(rows_kept(shop.pk, fit=fit, role=role if role in Role.values else ""), ON_A_PAGE).get_page(
        request.GET.get("page")
    )
    unit = shop.unit_first
    found = histograms(shop.pk, rows, unit)
    bought = bought_of(shop, {one.fit.code for one in found}) if found else {}
    context = {
        "rows": rows,
        "charts": [_chart(one.with_bought(bought), unit) for one in found],
        "fit": fit,
        "role": role,
        "roles": Role.choices,
    }
    return shown(request, "plates/shelf.html", context)


def _chart(one: Histogram, unit: str) -> dict[str, object]:
    name = f"{Role(one.role).label}, fit {one.fit.code}"
    links = [_size_address(one, size) for size in one.sizes]
    return {
        "of": one,
        "role": Role(one.role).label,
        "drawing": histogram_drawing(one.sizes, unit=unit, title=f"Sizes of {name}", links=links),
        "sizes": list(zip(one.sizes, links, strict=True)),
    }


def _size_address(one: Histogram, size: Size) -> str:
    span = {"from": _exact(size.from_nm), "to": _exact(size.to_nm)}
    return f"{resolve_url('shelf-size', one.fit.code, one.role)}?{urlencode(span)}"


def _exact(length_nm: int) -> str:
    return f"{max(length_nm, 0) // 1000}.{max(length_nm, 0) % 1000:03d} um"


@require_GET
@page
def size(request: PageRequest, code: str, role: str) -> HttpResponse:
    """The single plates of one fit and role within a range of thickness."""
    fit = fits(request.user.shop_id).filter(code=code).first()
    if fit is None or role not in Role.values:
        raise Http404(f"There is no fit {code!r} with the role {role!r}.")
    if "from" not in request.GET:
        return redirect(f"{resolve_url('shelf')}?{urlencode({'fit': code, 'role': role})}")
    try:
        from_nm, to_nm = (length_parse(request.GET.get(end, "")) for end in ("from", "to"))
    except LengthError as error:
        raise Http404(f"The range cannot be read: {error}") from None
    found = plates_between(request.user.shop_id, fit, role, from_nm, to_nm)
    context = {
        "fit": fit,
        "role": Role(role).label,
        "from_nm": from_nm,
        "to_nm": to_nm,
        "centre": size_figure((from_nm + to_nm) // 2, request.user.shop.unit_first),
        "plates": Paginator(found, 100).get_page(request.GET.get("page")),
    }
    return shown(request, "plates/shelf_size.html", context)
