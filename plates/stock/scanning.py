"""*Scan in* at the counter: one press of the micrometer a plate, and its undo."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from plates.catalogue.selectors import kind_by_code, kinds_found
from plates.lengths import mean_nm
from plates.measuring.gauges import GaugeNotes, gauge_for_plates
from plates.stock import selectors
from plates.stock.batches import Batch, batch_key
from plates.stock.booking import Booking
from plates.stock.findings import NOTHING_FOUND, Tags
from plates.stock.forms import PlateForm
from plates.stock.life import plate_undo
from plates.stock.models import Act, Plate
from plates.stock.plausible import Implausible
from plates.stock.services import Received, plate_receive
from plates.stock.shown import kind_or_404, plate_or_404
from shop.errors import KeyReused, Refusal
from shop.forms import other_unit
from shop.once import Answer, Once
from shop.web import PageRequest, forbidden, key_new, once_of, page, shown

#: What is said of one plate beside its reading, and has to be said again when the form is offered in another way.
OF_ONE = ("cone", "warp", "hot_spot")


@require_GET
@page
def scan_start(request: PageRequest) -> HttpResponse:
    """Which kind the batch is of: a scanned label or a typed code, or a name picked from the list."""
    code = request.GET.get("code", "").strip()
    kind = kind_by_code(shop_id=request.user.shop_id, scan_code=code) if code else None
    if kind and "pick" not in request.GET:
        return redirect(Batch.of(kind, {}).address())
    found = kinds_found(request.user.shop_id, code)[:40]
    why = forbidden(request.user, "stock")
    return shown(request, "plates/scan_start.html", {"code": code, "kinds": found, "known": kind, "forbidden": why})


@require_http_methods(["GET", "POST"])
@page
def scan_in(request: PageRequest, code: str) -> HttpResponse:
    """One press of the micrometer a plate."""
    sent = request.POST if request.method == "POST" else request.GET
    batch = Batch.of(kind_or_404(request, code), sent)
    if batch_key(sent.get("batch", "")) is None:
        return redirect(batch.address())
    if request.method == "GET":
        return _scan_page(request, batch)
    form = PlateForm(request.POST, person=request.user, kind=batch.kind)
    if not form.is_valid():
        return _not_a_reading(request, batch, form)

    def effect(once: Once) -> Answer:
        return once.run(lambda: _receive(once, batch, form), lambda _: Answer(303, {"to": batch.address()}))

    try:
        once = once_of(request)
        answer = once.replay() or effect(once)
    except KeyReused:
        said = "The form before this one was sent already and has counted. Nothing was done twice."
        typed = {**request.POST.dict(), **batch.kept}
        return _scan_page(request, batch, _fresh(request, batch, typed), again=said)
    except Implausible as refusal:
        return _scan_page(request, batch, doubt=_doubt(request, batch, form, refusal))
    except Refusal as refusal:
        if not form.refuse(refusal):
            raise
        return _scan_page(request, batch, form)
    return redirect(answer.body["to"])


def _not_a_reading(request: PageRequest, batch: Batch, form: PlateForm) -> HttpResponse:
    """A label scanned into the reading field begins a batch of what it names; Enter after a gauge keeps the gauge."""
    typed = request.POST.get("reading", "").strip()
    other = kind_by_code(shop_id=request.user.shop_id, scan_code=typed) if typed else None
    if other:
        return redirect(Batch.of(other, {**batch.kept, "batch": ""}).address())
    if not typed and batch.gauge != request.POST.get("gauge_before", ""):
        return redirect(batch.address())
    return _scan_page(request, batch, form)


def _receive(once: Once, batch: Batch, form: PlateForm) -> Received:
    return plate_receive(
        person=once.person,
        kind=batch.kind,
        reading=form.said(),
        tags=Tags(condition=form.cleaned_data["condition"], gauge=batch.gauge, findings=form.findings()),
        confirm=form.cleaned_data["confirm"],
        made_key=once.made_key,
    )


def _doubt(request: PageRequest, batch: Batch, form: PlateForm, refusal: Implausible) -> dict[str, Any]:
    """What an implausible reading may have been meant as, as things to press."""
    texts = [said.text for said in form.cleaned_data["reading"]]
    would_be = refusal.more.get("would_be") or {}
    plausible = would_be.get("plausible", False)
    of_one = {name: request.POST[name] for name in OF_ONE if request.POST.get(name)}
    return {
        "detail": refusal.detail,
        "as_is": " ".join(texts),
        "typed": request.POST["reading"],
        "other": " ".join(other_unit(text) for text in texts) if plausible else "",
        "may_be": refusal.more.get("may_be", []),
        "kept": {**batch.kept, **of_one},
    }


def _fresh(request: PageRequest, batch: Batch, typed: dict[str, str] | None = None) -> PlateForm:
    return PlateForm(person=request.user, kind=batch.kind, initial=typed or batch.kept)


def _scan_page(request: PageRequest, batch: Batch, form: PlateForm | None = None, **more: Any) -> HttpResponse:
    person = request.user
    scanned = list(selectors.batch(person=person, batch_id=batch.key, since=batch.began))
    undone_id = request.GET.get("undone", "")
    undone = plate_or_404(request, undone_id) if undone_id else None
    last = None if undone or not scanned else scanned[0]
    gauge, withdrawn = gauge_for_plates(person.shop_id, batch.gauge)
    context = {
        "kind": batch.kind,
        "batch": batch,
        "form": form or _fresh(request, batch),
        "key": key_new(f"{batch.key}."),
        "undo_key": key_new(),
        "scanned": scanned,
        "mean_nm": mean_nm(plate.thickness_nm for plate in scanned) if scanned else None,
        "last": last,
        "warnings": _warnings(last, gauge) if last else [],
        "gauge": gauge,
        "withdrawn": withdrawn,
        "undone": undone,
        "forbidden": forbidden(person, "stock"),
        **more,
    }
    return shown(request, "plates/scan_in.html", context)


def _warnings(plate: Plate, gauge: GaugeNotes) -> list[dict[str, str]]:
    """What there is to know of the plate as it was booked; of its gauge, that stands beside the gauge."""
    found = plate.lines.filter(act=Act.RECEIVED).values_list("findings", flat=True)[0]
    booking = Booking(
        kind=plate.kind,
        condition=plate.condition,
        gauge=gauge,
        findings=NOTHING_FOUND.over(found),
        chosen_bin=plate.bin,
    )
    return booking.verdict(plate.thickness_nm, plate.spread_nm).warnings


@require_POST
@page
def scan_undo(request: PageRequest) -> HttpResponse:
    """Undo of the last scan: one key."""
    plate = plate_or_404(request, request.POST.get("plate", ""))
    batch = Batch.of(plate.kind, request.POST)
    to = batch.address(undone=str(plate.pk))

    def effect(once: Once) -> Answer:
        undo = lambda: plate_undo(person=once.person, plate_id=plate.pk)  # noqa: E731
        return once.run(undo, lambda _: Answer(303, {"to": to}))

    once = once_of(request)
    try:
        answer = once.replay() or effect(once)
    except Refusal as refusal:
        return _scan_page(request, batch, refused=refusal.detail)
    return redirect(answer.body["to"])
