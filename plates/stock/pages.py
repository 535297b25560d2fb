"""The shelf at the counter: all bins, the life of one plate and what may be done with it."""

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import resolve_url
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from plates.stock import life, selectors
from plates.stock.bins import bin_make
from plates.stock.forms import BinForm, ReadAgainForm, ScrapForm
from plates.stock.ledger_models import Act
from plates.stock.models import Condition, Plate, State
from plates.stock.plausible import Implausible
from plates.stock.shown import plate_or_404
from shop.errors import Refusal
from shop.once import Answer, Once
from shop.web import PageRequest, act, forbidden, key_new, page, shown

BINS_ON_A_PAGE = 50
#: From where a plate comes back by a fresh reading.
AWAY = (State.TAKEN, State.HANDED_OUT, State.QUARANTINED)


@require_GET
@page
def bins(request: PageRequest) -> HttpResponse:
    shop_id = request.user.shop_id
    context = {
        "bins": Paginator(selectors.bins_with_contents(shop_id), BINS_ON_A_PAGE).get_page(request.GET.get("page")),
        "unsorted": selectors.unsorted(shop_id)[:200],
        "quarantined": selectors.quarantined(shop_id)[:200],
    }
    return shown(request, "plates/bins.html", context)


@require_GET
@page
def one_plate(request: PageRequest, pk: str) -> HttpResponse:
    """The life of one plate, out of the ledger."""
    return _plate_page(request, plate_or_404(request, pk))


def _plate_page(
    request: PageRequest, plate: Plate, again: ReadAgainForm | None = None, scrap: ScrapForm | None = None
) -> HttpResponse:
    lines = list(selectors.ledger(request.user.shop_id).filter(plate=plate))
    doing = not forbidden(request.user, "stock")
    if doing and again is None and plate.state in AWAY:
        again = ReadAgainForm(person=request.user, kind=plate.kind, initial={"condition": _comes_back(plate)})
    if doing and scrap is None and plate.state in (*AWAY, State.ON_SHELF):
        scrap = ScrapForm(person=request.user)
    context = {
        "plate": plate,
        "lines": lines,
        "why": next((line.reason for line in reversed(lines) if line.act in (Act.RECEIVED, Act.PUT_BACK)), ""),
        "again": again,
        "scrap": scrap,
        "key": key_new(),
        "scrap_key": key_new(),
    }
    return shown(request, "plates/plate.html", context)


def _comes_back(plate: Plate) -> str:
    """The condition in which it comes back: what was built and closed has run."""
    return Condition.USED if plate.match and plate.match.closed_at else plate.condition


@require_POST
@page
def read_again(request: PageRequest, pk: str) -> HttpResponse:
    """A plate that was away is read again and goes back, to a bin or to the quarantined ones."""
    plate = plate_or_404(request, pk)
    form = ReadAgainForm(request.POST, person=request.user, kind=plate.kind)
    if form.is_valid():
        try:
            return act(request, lambda once: once.run(lambda: _put_back(once, plate, form), lambda _: _to_plate(plate)))
        except Implausible as refusal:
            form.add_error("confirm", f"{refusal.detail} Tick this to book it.")
        except Refusal as refusal:
            if not form.refuse(refusal):
                form.add_error(None, refusal.detail)
    return _plate_page(request, plate_or_404(request, pk), again=form)


def _put_back(once: Once, plate: Plate, form: ReadAgainForm) -> object:
    said = form.cleaned_data
    return life.plate_put_back(
        person=once.person,
        plate_id=plate.pk,
        reading=form.said(),
        condition=said["condition"],
        gauge=said["gauge"],
        findings=form.findings(),
        confirm=said["confirm"],
    )


@require_POST
@page
def scrap(request: PageRequest, pk: str) -> HttpResponse:
    plate = plate_or_404(request, pk)
    form = ScrapForm(request.POST, person=request.user)
    if form.is_valid():
        try:
            return act(request, lambda once: once.run(lambda: _scrap(once, plate, form), lambda _: _to_plate(plate)))
        except Refusal as refusal:
            form.add_error(None, refusal.detail)
    return _plate_page(request, plate_or_404(request, pk), scrap=form)


def _scrap(once: Once, plate: Plate, form: ScrapForm) -> object:
    return life.plate_scrap(person=once.person, plate_id=plate.pk, reason=form.cleaned_data["reason"])


def _to_plate(plate: Plate) -> Answer:
    return Answer(303, {"to": resolve_url("plate", plate.pk)})


@require_http_methods(["GET", "POST"])
@page
def add_bin(request: PageRequest) -> HttpResponse:
    form = BinForm(request.POST or None, person=request.user, initial=request.GET.dict())
    if request.method == "POST" and form.is_valid():
        try:
            return act(request, lambda once: once.run(lambda: _make_bin(once, form), _to_bins))
        except Refusal as refusal:
            form.add_error(None, refusal.detail)
    context = {"form": form, "key": key_new(), "title": "Add a bin", "forbidden": forbidden(request.user, "stock")}
    return shown(request, "plates/add.html", context)


def _make_bin(once: Once, form: BinForm) -> object:
    said = form.cleaned_data
    return bin_make(
        person=once.person,
        code=said["code"],
        fit=said["fit"],
        role=said["role"],
        from_nm=said["from_"].nm,
        to_nm=said["to"].nm,
    )


def _to_bins(_: object) -> Answer:
    return Answer(303, {"to": resolve_url("bins")})
