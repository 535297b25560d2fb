"""The catalogue at the counter: what fits, kinds and pack specs there are, and adding to them."""

from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import resolve_url
from django.views.decorators.http import require_GET, require_http_methods

from plates.catalogue import selectors, services, specs
from plates.catalogue.bodies import KIND_LENGTHS
from plates.catalogue.forms import FIRST_ROWS, MOST_ROWS, FitForm, KindForm, SlotForm, SpecForm
from plates.catalogue.hydraulics_form import EstimateForm, HydraulicsForm
from plates.catalogue.models import Fit, Kind, Spec
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
    return services.kind_make(
        person=once.person,
        **lengths,
        scan_codes=said["scan_codes"].split(),
        **{name: said[name] for name in ("code", "fit", "role", "lined_faces", "mark", "material", "facing")},
    )


@require_http_methods(["GET", "POST"])
@page
def add_spec(request: PageRequest) -> HttpResponse:
    """A pack spec and its slots, a row each; blank rows are left out, and *one more row* keeps what is typed."""
    # One more row is no attempt to save: what was typed stays, and nothing is judged yet.
    more = "more" in request.POST
    posted = None if more else request.POST or None
    form = SpecForm(posted, person=request.user, initial=request.POST.dict() if more else None)
    hydraulics = HydraulicsForm(posted, person=request.user, initial=_typed(request, HydraulicsForm.prefix))
    asked = request.POST.get("rows", "")
    count = min(int(asked), MOST_ROWS) if asked.isascii() and asked.isdigit() else FIRST_ROWS
    fit_rows = list(selectors.fits(request.user.shop_id))
    rows = [
        SlotForm(posted, person=request.user, fit_rows=fit_rows, prefix=prefix, initial=_typed(request, prefix))
        for prefix in (f"slot{row}" for row in range(count + more))
    ]
    if request.method == "POST" and not more:
        filled = [row for row in rows if not row.blank]
        if not filled:
            form.add_error(None, "A pack has at least one slot.")
        if all([form.is_valid(), hydraulics.is_valid(), *(row.is_valid() for row in filled)]):
            try:
                return act(request, lambda once: once.run(lambda: _make_spec(once, form, filled, hydraulics), _to_spec))
            except Refusal as refusal:
                form.add_error(None, refusal.detail)
    context = {
        "form": form,
        "rows": rows,
        "hydraulics": hydraulics,
        "key": key_new(),
        "forbidden": forbidden(request.user, "catalogue"),
    }
    return shown(request, "plates/add_spec.html", context)


def _typed(request: PageRequest, prefix: str) -> dict[str, object]:
    """What stands in the fields with this prefix: in one row of slots, say."""
    head = f"{prefix}-"
    return {name.removeprefix(head): value for name, value in request.POST.items() if name.startswith(head)}


def _make_spec(once: Once, form: SpecForm, rows: list[SlotForm], hydraulics: HydraulicsForm) -> Spec:
    said, slots = form.cleaned_data, [row.slot() for row in rows]
    return specs.spec_make(
        person=once.person,
        code=said["code"],
        title=said["title"],
        measures=said["measures"],
        window=form.window(slots),
        slots=slots,
        wave_nm=form.wave_nm,
        reads=form.reads(),
        limits=form.limits(),
        limit_low_nm=form.length("limit_low"),
        limit_high_nm=form.length("limit_high"),
        hydraulics=hydraulics.hydraulics(),
        adjustable=not said["fixed"],
        set_only=said["set_only"],
    )


def _to_spec(spec: Spec) -> Answer:
    return Answer(303, {"to": resolve_url("spec", spec.code)})


@require_GET
@page
def estimates(request: PageRequest, code: str) -> HttpResponse:
    """What any clearance would do to this pack."""
    spec = selectors.specs(request.user.shop_id).filter(code=code).first()
    if spec is None:
        raise Http404(f"No pack spec has the code {code!r}.")
    form = EstimateForm(request.GET if "clearance" in request.GET else None, person=request.user)
    context: dict[str, object] = {"spec": spec, "form": form}
    if form.is_valid():
        learned = form.cleaned_data["learned"]
        context |= {"clearance_nm": form.length("clearance"), "learned_m3": float(learned.si) if learned else None}
    return shown(request, "plates/what_it_does.html", context)
