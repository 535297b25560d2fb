"""*Scan in* at the counter: one press of the micrometer a plate, and its undo."""

from dataclasses import replace
from typing import Any

from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, resolve_url
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from plates.catalogue.selectors import kind_by_code, kinds_found
from plates.lengths import both, mean_nm
from plates.measuring.gauges import GaugeNotes, gauge_for_plates
from plates.scan_codes import scan_parse
from plates.stock import selectors
from plates.stock.batches import Batch, batch_key
from plates.stock.bins import WrongBin
from plates.stock.booking import Booking
from plates.stock.findings import NOTHING_FOUND, Tags
from plates.stock.forms import ScanForm
from plates.stock.life import lot_undo, plate_undo
from plates.stock.models import Act, Bin, Plate
from plates.stock.plausible import Implausible
from plates.stock.services import Received, plate_receive
from plates.stock.shown import kind_or_404, plate_or_404
from plates.stock.tally import apart_with, lies_in, tally, unsorted
from shop.errors import KeyReused, Refusal
from shop.forms import other_unit
from shop.once import Answer, Once
from shop.web import PageRequest, forbidden, key_new, once_of, page, shown

#: What is said of one plate beside its reading, and has to be said again when the form is offered in another way.
OF_ONE = ("cone", "warp", "hot_spot")


class OtherPerson(Refusal):
    status, code, title = 409, "other_person", "Another person's scan"


@require_GET
@page
def scan_start(request: PageRequest) -> HttpResponse:
    """Which kind the batch is of: a scanned label or a typed code, or a name picked from the list."""
    code = request.GET.get("code", "").strip()
    kind = kind_by_code(shop_id=request.user.shop_id, scan_code=code) if code else None
    if kind and "pick" not in request.GET:
        return redirect(Batch.of(kind, {}).address())
    found = list(kinds_found(request.user.shop_id, code)[:40])
    if code and len(found) == 1 and not request.htmx:
        return redirect(Batch.of(found[0], {}).address())
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
    form = ScanForm(request.POST, person=request.user, kind=batch.kind)
    if request.headers.get("Accept") == "application/json":
        return _kept_scan(request, batch, form)
    own_scan_check(request)
    if not form.is_valid():
        return _not_a_reading(request, batch, form)
    try:
        answer = _book(request, batch, form)
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


def own_scan_check(request: PageRequest) -> None:
    """A page may outlive its session: what one person typed is never booked as read by another. Raises OtherPerson."""
    if request.POST.get("by", "") not in ("", str(request.user.pk)):
        raise OtherPerson("Somebody else typed this scan. It is kept until that person signs in here again.")


def _book(request: PageRequest, batch: Batch, form: ScanForm) -> Answer:
    once = once_of(request)

    def told(received: Received) -> Answer:
        return Answer(303, {"to": batch.address(), "plate": str(received.plates[0].pk)})

    return once.replay() or once.run(lambda: _receive(once, batch, form), told)


def _kept_scan(request: PageRequest, batch: Batch, form: ScanForm) -> JsonResponse:
    """A scan that the browser kept while the line was lost: where the plate goes, or why it was not booked."""
    try:
        own_scan_check(request)
        if not form.is_valid():
            errors = [str(error) for found in form.errors.values() for error in found]
            return JsonResponse({"code": "not_a_reading", "detail": " ".join(errors)}, status=422)
        answer = _book(request, batch, form)
    except Implausible as refusal:
        doubt = _doubt(request, batch, form, refusal)
        return JsonResponse({"code": refusal.code, "detail": refusal.detail, "ways": doubt["ways"]}, status=422)
    except Refusal as refusal:
        return JsonResponse({"code": refusal.code, "detail": refusal.detail}, status=refusal.status)
    plate = plate_or_404(request, answer.body["plate"])
    told = {"lies": lies_in(plate), "thickness": both(plate.thickness_nm, request.user.shop.unit_first)}
    return JsonResponse(told)


def _not_a_reading(request: PageRequest, batch: Batch, form: ScanForm) -> HttpResponse:
    """What is scanned or typed instead of a reading, and stays for those that follow.

    A kind's label begins a batch of that kind; a bin's label chooses where the next ones go, and ends that when it is
    scanned again; Enter after a gauge, a box or an owner keeps it.
    """
    typed = request.POST.get("reading", "").strip()
    label = scan_parse(typed)
    if label and label.sort == "bin":
        chosen = "" if label.code == batch.bin else label.code
        if chosen and not selectors.bins(batch.kind.shop_id).filter(code=chosen).exists():
            form.errors["reading"] = form.error_class([f"No bin is called {chosen}. Add it on the page of the bins."])
            return _scan_page(request, batch, form)
        return redirect(replace(batch, bin=chosen).address())
    other = kind_by_code(shop_id=request.user.shop_id, scan_code=typed) if typed else None
    if other:
        return redirect(Batch.of(other, {**batch.kept, "batch": "", "bin": ""}).address())
    if not typed and batch.stays != request.POST.get("stayed", ""):
        return redirect(batch.address())
    return _scan_page(request, batch, form)


def bin_chosen(batch: Batch) -> Bin | None:
    """The bin whose label was scanned. Raises WrongBin when it is gone."""
    if not batch.bin:
        return None
    found = selectors.bins(batch.kind.shop_id).filter(code=batch.bin).first()
    if found is None:
        raise WrongBin(f"There is no bin {batch.bin}. Scan its label again to end that.", [("/bin", "choose another")])
    return found


def _receive(once: Once, batch: Batch, form: ScanForm) -> Received:
    return plate_receive(
        person=once.person,
        kind=batch.kind,
        reading=form.said(),
        tags=Tags(
            condition=form.cleaned_data["condition"],
            owner=batch.owner,
            box=batch.box,
            gauge=batch.gauge,
            findings=form.findings(),
        ),
        chosen_bin=bin_chosen(batch),
        confirm=form.cleaned_data["confirm"],
        made_key=once.made_key,
    )


def _doubt(request: PageRequest, batch: Batch, form: ScanForm, refusal: Implausible) -> dict[str, Any]:
    """What an implausible reading may have been meant as: ``ways`` to go on, each a form to press."""
    texts = [said.text for said in form.cleaned_data["reading"]]
    typed = request.POST["reading"]
    here = resolve_url("scan-in", batch.kind.code)
    of_one = {name: request.POST[name] for name in OF_ONE if request.POST.get(name)}
    kept = {**batch.kept, **of_one, "by": str(request.user.pk)}
    ways: list[dict[str, Any]] = []
    if (refusal.more.get("would_be") or {}).get("plausible"):
        meant = " ".join(other_unit(text) for text in texts)
        ways.append({"text": f"It is {meant}", "to": here, "fields": {"reading": meant, **kept}})
    for may_be in refusal.more.get("may_be", []):
        to = resolve_url("scan-in", may_be["kind"])
        ways.append({"text": f"It is a {may_be['kind']}", "to": to, "fields": {"reading": typed, **kept}})
    as_it_is = {"reading": typed, "confirm": "on", **kept}
    ways.append({"text": f"Book {' '.join(texts)} as it is", "to": here, "fields": as_it_is, "grave": True})
    return {"detail": refusal.detail, "ways": ways}


def _fresh(request: PageRequest, batch: Batch, typed: dict[str, str] | None = None) -> ScanForm:
    return ScanForm(person=request.user, kind=batch.kind, initial=typed or batch.kept)


def _scan_page(request: PageRequest, batch: Batch, form: ScanForm | None = None, **more: Any) -> HttpResponse:
    person = request.user
    scanned = list(selectors.batch(person=person, batch_id=batch.key, since=batch.began))
    undone_id = request.GET.get("undone", "")
    undone = plate_or_404(request, undone_id) if undone_id else None
    last = None if undone or not scanned else scanned[0]
    gauge, withdrawn = gauge_for_plates(person.shop_id, batch.gauge)
    left = request.GET.get("left", "")
    context = {
        "kind": batch.kind,
        "batch": batch,
        "form": form or _fresh(request, batch),
        "key": key_new(f"{batch.key}."),
        "undo_key": key_new(),
        "scanned": scanned,
        "tally": tally(scanned),
        "unsorted": unsorted(scanned),
        "left": left if left.isascii() and left.isdigit() and len(left) < 4 else "",
        "mean_nm": mean_nm(plate.thickness_nm for plate in scanned) if scanned else None,
        "last": last,
        "lot": last.lot if last else None,
        "apart": apart_with(last) if last else "",
        "warnings": _warnings(last, gauge) if last and last.lot is None else [],
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
    """Undo of the last scan, or of the lot that was booked last: one key."""
    plate = plate_or_404(request, request.POST.get("plate", ""))
    batch = Batch.of(plate.kind, request.POST)
    to = batch.address(undone=str(plate.pk))

    def effect(once: Once) -> Answer:
        return once.run(lambda: _undo(once, plate), lambda _: Answer(303, {"to": to}))

    once = once_of(request)
    try:
        answer = once.replay() or effect(once)
    except Refusal as refusal:
        return _scan_page(request, batch, refused=refusal.detail)
    return redirect(answer.body["to"])


def _undo(once: Once, plate: Plate) -> None:
    if plate.lot_id is None:
        plate_undo(person=once.person, plate_id=plate.pk)
    else:
        lot_undo(person=once.person, lot_id=plate.lot_id)
