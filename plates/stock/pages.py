"""The counter: *Scan in* and its undo, the bins and what lies in them, the life of one plate."""

import uuid
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from plates.catalogue.models import Kind
from plates.catalogue.selectors import kind_by_code, kinds_found
from plates.lengths import mean_nm
from plates.measuring.gauges import GaugeNotes
from plates.stock import selectors
from plates.stock.bins import bin_make
from plates.stock.booking import Booking
from plates.stock.findings import NOTHING_FOUND, Tags
from plates.stock.forms import BinForm, ScanForm, batch_began, batch_new, batch_of
from plates.stock.life import plate_undo
from plates.stock.models import Plate
from plates.stock.plausible import Implausible
from plates.stock.services import Received, plate_receive
from shop.errors import KeyReused, Refusal
from shop.forms import other_unit
from shop.once import Answer, Once
from shop.web import PageRequest, act, key_new, once_of, page, shown, why_not


@require_GET
@page
def scan_start(request: PageRequest) -> HttpResponse:
    """Which kind the batch is of: a scanned label or a typed code, or a name picked from the list."""
    code = request.GET.get("code", "").strip()
    kind = kind_by_code(shop_id=request.user.shop_id, scan_code=code) if code else None
    if kind and "pick" not in request.GET:
        return redirect(_batch_address(kind, batch_new()))
    found = kinds_found(request.user.shop_id, code)[:40]
    why = why_not(request.user, "stock")
    return shown(request, "plates/scan_start.html", {"code": code, "kinds": found, "known": kind, "why_not": why})


def _batch_address(kind: Kind, batch: uuid.UUID, **more: str) -> str:
    return f"{resolve_url('scan-in', kind.code)}?{urlencode({'batch': str(batch), **more})}"


def _kind(request: PageRequest, code: str) -> Kind:
    kind = kind_by_code(shop_id=request.user.shop_id, kind=code)
    if kind is None:
        raise Http404(f"No kind has the code {code!r}.")
    return kind


@require_http_methods(["GET", "POST"])
@page
def scan_in(request: PageRequest, code: str) -> HttpResponse:
    """One press of the micrometer a plate."""
    kind = _kind(request, code)
    sent = request.POST if request.method == "POST" else request.GET
    batch = batch_of(sent.get("batch", ""))
    if batch is None:
        return redirect(_batch_address(kind, batch_new()))
    if request.method == "GET":
        condition = request.GET.get("condition", "new")
        form = ScanForm(person=request.user, kind=kind, initial={"condition": condition})
        return _scan_page(request, kind, batch, form, condition=condition)
    form = ScanForm(request.POST, person=request.user, kind=kind)
    condition = request.POST.get("condition", "new")
    if not form.is_valid():
        # A label scanned into the reading field begins a batch of what it names.
        other = kind_by_code(shop_id=request.user.shop_id, scan_code=request.POST.get("reading", "").strip())
        if other:
            return redirect(_batch_address(other, batch_new(), condition=condition))
        return _scan_page(request, kind, batch, form, condition=condition)
    to = _batch_address(kind, batch, condition=condition)

    def effect(once: Once) -> Answer:
        return once.run(lambda: _receive(once, kind, form), lambda _: Answer(303, {"to": to}))

    try:
        once = once_of(request)
        answer = once.replay() or effect(once)
    except KeyReused:
        said = "The form before this one was sent already and has counted. Nothing was done twice."
        typed = {"reading": request.POST["reading"], "condition": condition}
        form = ScanForm(initial=typed, person=request.user, kind=kind)
        return _scan_page(request, kind, batch, form, condition=condition, again=said)
    except Implausible as refusal:
        texts = [said.text for said in form.cleaned_data["reading"]]
        fresh = ScanForm(person=request.user, kind=kind, initial={"condition": condition})
        doubt = _doubt(refusal, texts)
        return _scan_page(request, kind, batch, fresh, condition=condition, doubt=doubt)
    return redirect(answer.body["to"])


def _receive(once: Once, kind: Kind, form: ScanForm) -> Received:
    return plate_receive(
        person=once.person,
        kind=kind,
        reading=form.said(),
        tags=Tags(condition=form.cleaned_data["condition"]),
        confirm=form.cleaned_data["confirm"],
        made_key=once.made_key,
    )


def _doubt(refusal: Implausible, texts: list[str]) -> dict[str, Any]:
    """What an implausible reading may have been meant as, as things to press."""
    would_be = refusal.more.get("would_be") or {}
    plausible = would_be.get("plausible", False)
    return {
        "detail": refusal.detail,
        "as_is": " ".join(texts),
        "other": " ".join(other_unit(text) for text in texts) if plausible else "",
        "may_be": refusal.more.get("may_be", []),
    }


def _scan_page(
    request: PageRequest, kind: Kind, batch: uuid.UUID, form: ScanForm, *, condition: str, **more: Any
) -> HttpResponse:
    person = request.user
    scanned = list(selectors.batch(person=person, batch_id=batch, since=batch_began(batch)))
    undone = _undone(request)
    last = None if undone or not scanned else scanned[0]
    context = {
        "kind": kind,
        "batch": batch,
        "form": form,
        "condition": condition,
        "key": key_new(f"{batch}."),
        "undo_key": key_new(),
        "scanned": scanned,
        "mean_nm": mean_nm(plate.thickness_nm for plate in scanned) if scanned else None,
        "last": last,
        "warnings": _warnings(last) if last else [],
        "undone": undone,
        "why_not": why_not(person, "stock"),
        **more,
    }
    return shown(request, "plates/scan_in.html", context)


def _undone(request: PageRequest) -> Plate | None:
    text = request.GET.get("undone", "")
    return _plate(request, text) if text else None


def _warnings(plate: Plate) -> list[dict[str, str]]:
    booking = Booking(
        kind=plate.kind, condition=plate.condition, gauge=GaugeNotes(""), findings=NOTHING_FOUND, chosen_bin=plate.bin
    )
    return booking.verdict(plate.thickness_nm, plate.spread_nm).warnings


@require_POST
@page
def scan_undo(request: PageRequest) -> HttpResponse:
    """Undo of the last scan: one key."""
    plate = _plate(request, request.POST.get("plate", ""))
    batch = batch_of(request.POST.get("batch", "")) or batch_new()
    condition = request.POST.get("condition", "new")
    to = _batch_address(plate.kind, batch, condition=condition, undone=str(plate.pk))

    def effect(once: Once) -> Answer:
        undo = lambda: plate_undo(person=once.person, plate_id=plate.pk)  # noqa: E731
        return once.run(undo, lambda _: Answer(303, {"to": to}))

    once = once_of(request)
    try:
        answer = once.replay() or effect(once)
    except Refusal as refusal:
        fresh = ScanForm(person=request.user, kind=plate.kind, initial={"condition": condition})
        return _scan_page(request, plate.kind, batch, fresh, condition=condition, refused=refusal.detail)
    return redirect(answer.body["to"])


def _plate(request: PageRequest, text: str) -> Plate:
    try:
        key = uuid.UUID(text)
    except ValueError:
        raise Http404("That is not the id of a plate.") from None
    plate = selectors.plates(request.user.shop_id).filter(pk=key).first()
    if plate is None:
        raise Http404("No plate has this id.")
    return plate


@require_GET
@page
def bins(request: PageRequest) -> HttpResponse:
    shop_id = request.user.shop_id
    context = {"bins": selectors.bins_with_contents(shop_id), "unsorted": selectors.unsorted(shop_id)[:200]}
    return shown(request, "plates/bins.html", context)


@require_GET
@page
def one_bin(request: PageRequest, code: str) -> HttpResponse:
    found = selectors.bins_with_contents(request.user.shop_id).filter(code=code).first()
    if found is None:
        raise Http404(f"No bin has the code {code!r}.")
    lying = selectors.plates(request.user.shop_id).filter(bin=found, state__in=["on_shelf", "held"])
    rows = Paginator(lying.order_by("thickness_nm", "id"), 100).get_page(request.GET.get("page"))
    return shown(request, "plates/bin.html", {"bin": found, "plates": rows})


@require_GET
@page
def one_plate(request: PageRequest, pk: str) -> HttpResponse:
    """The life of one plate, out of the ledger."""
    plate = _plate(request, pk)
    lines = selectors.ledger(request.user.shop_id).filter(plate=plate)
    return shown(request, "plates/plate.html", {"plate": plate, "lines": lines})


@require_http_methods(["GET", "POST"])
@page
def add_bin(request: PageRequest) -> HttpResponse:
    form = BinForm(request.POST or None, person=request.user, initial=request.GET.dict())
    if request.method == "POST" and form.is_valid():
        try:
            return act(request, lambda once: once.run(lambda: _make_bin(once, form), _to_bins))
        except Refusal as refusal:
            form.add_error(None, refusal.detail)
    context = {"form": form, "key": key_new(), "title": "Add a bin", "why_not": why_not(request.user, "stock")}
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
