"""The catalogue at the counter: what fits and kinds there are, adding to them, and what a clearance does."""

from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import resolve_url
from django.views.decorators.http import require_GET, require_http_methods

from plates.catalogue import selectors, services
from plates.catalogue.bodies import KIND_LENGTHS
from plates.catalogue.forms import FitForm, KindForm, PriceForm
from plates.catalogue.hydraulics_form import EstimateForm
from plates.catalogue.kinds import KindData, kind_make, kind_price
from plates.catalogue.models import Fit, Kind
from plates.catalogue.spec_pages import spec_coded
from plates.templatetags.lengths import money
from shop.errors import Refusal
from shop.once import Answer, Once
from shop.web import PageRequest, act, forbidden, key_new, page, shown


@require_GET
@page
def fits(request: PageRequest) -> HttpResponse:
    return shown(request, "plates/fits.html", {"fits": selectors.fits(request.user.shop_id)})


@require_GET
@page
def kinds(request: PageRequest) -> HttpResponse:
    text = request.GET.get("find", "")
    rows = Paginator(selectors.kinds_found(request.user.shop_id, text), 100).get_page(request.GET.get("page"))
    return shown(request, "plates/kinds.html", {"kinds": rows, "find": text})


@require_http_methods(["GET", "POST"])
@page
def add_fit(request: PageRequest) -> HttpResponse:
    form = FitForm(request.POST or None, person=request.user)
    if request.method == "POST" and form.is_valid():
        try:
            return act(request, lambda once: once.run(lambda: _make_fit(once, form), lambda _: _to("fits")))
        except Refusal as refusal:
            form.add_error(None, refusal.detail)
    context = {"form": form, "key": key_new(), "title": "Add a fit", "forbidden": forbidden(request.user, "catalogue")}
    return shown(request, "plates/add.html", context)


def _to(name: str) -> Answer:
    return Answer(303, {"to": resolve_url(name)})


def _make_fit(once: Once, form: FitForm) -> Fit:
    said = {name: value for name, value in form.cleaned_data.items() if name not in ("outer", "inner")}
    outer_nm, inner_nm = form.cleaned_data["outer"].nm, form.cleaned_data["inner"].nm
    return services.fit_make(person=once.person, outer_nm=outer_nm, inner_nm=inner_nm, **said)


@require_http_methods(["GET", "POST"])
@page
def add_kind(request: PageRequest) -> HttpResponse:
    form = KindForm(request.POST or None, person=request.user)
    if request.method == "POST" and form.is_valid():
        try:
            return act(request, lambda once: once.run(lambda: _make_kind(once, form), lambda _: _to("kinds")))
        except Refusal as refusal:
            form.add_error(None, refusal.detail)
    context = {"form": form, "key": key_new(), "title": "Add a kind", "forbidden": forbidden(request.user, "catalogue")}
    return shown(request, "plates/add.html", context)


def _make_kind(once: Once, form: KindForm) -> Kind:
    said = form.cleaned_data
    lengths: dict[str, Any] = {f"{name}_nm": form.length(name) for name in KIND_LENGTHS}
    kind = KindData(
        **lengths,
        scan_codes=said["scan_codes"].split(),
        **{name: said[name] for name in ("code", "fit", "role", "lined_faces", "mark", "material", "facing")},
    )
    return kind_make(person=once.person, kind=kind)


@require_http_methods(["GET", "POST"])
@page
def kind_prices(request: PageRequest, code: str) -> HttpResponse:
    """What a kind costs, and from how many on it is cheaper."""
    kind = selectors.kinds(request.user.shop_id).filter(code=code).first()
    if kind is None:
        raise Http404(f"No kind has the code {code!r}.")
    breaks = "\n".join(f"{one.from_count}: {money(one.unit_cost)}" for one in kind.price_breaks.all())
    standing = {"unit_cost": kind.unit_cost, "price_breaks": breaks}
    form = PriceForm(request.POST or None, person=request.user, initial=standing)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            return act(
                request,
                lambda once: once.run(
                    lambda: kind_price(person=once.person, kind=kind, **given),
                    lambda _: Answer(303, {"to": resolve_url("kind", code)}),
                ),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.detail)
    title = f"What kind {code} costs"
    context = {"form": form, "key": key_new(), "title": title, "forbidden": forbidden(request.user, "catalogue")}
    return shown(request, "plates/add.html", context | {"press": "Save"})


@require_GET
@page
def estimates(request: PageRequest, code: str) -> HttpResponse:
    """What any clearance would do to this pack."""
    spec = spec_coded(request, code)
    form = EstimateForm(request.GET if "clearance" in request.GET else None, person=request.user)
    context: dict[str, object] = {"spec": spec, "form": form}
    if form.is_valid():
        learned = form.cleaned_data["learned"]
        context |= {"clearance_nm": form.length("clearance"), "learned_m3": float(learned.si) if learned else None}
    return shown(request, "plates/what_it_does.html", context)
