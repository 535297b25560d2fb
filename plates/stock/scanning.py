"""*Scan in* at the counter: one press of the micrometer a plate, and its undo.

``orders``: who keeps the orders that plates may be scanned in against.
"""

from dataclasses import replace
from typing import Any

from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from plates.catalogue.selectors import kind_by_code, kinds_found
from plates.lengths import both, mean_nm
from plates.measuring.gauges import GaugeNotes, gauge_for_plates
from plates.scan_codes import scan_parse
from plates.stock import selectors
from plates.stock.arrivals import Arrival
from plates.stock.batches import Batch, batch_key
from plates.stock.bins import WrongBin
from plates.stock.booking import Booking
from plates.stock.deliveries import NotDue, Orders, delivery
from plates.stock.doubts import doubt
from plates.stock.findings import NOTHING_FOUND, Tags
from plates.stock.forms import ScanForm
from plates.stock.ledger_models import Act
from plates.stock.models import Bin, Plate
from plates.stock.plausible import Implausible
from plates.stock.services import plate_receive
from plates.stock.shown import kind_or_404, plate_or_404
from plates.stock.tally import apart_with, lies_in, tally, unsorted
from shop.errors import KeyReused, Refusal
from shop.once import Answer, Once
from shop.rows import id_of
from shop.web import PageRequest, forbidden, key_new, once_of, page, shown


class OtherPerson(Refusal):
    status, code, title = 409, "other_person", "Another person's scan"


@require_GET
@page
def scan_start(request: PageRequest, *, orders: Orders) -> HttpResponse:
    """Which kind the batch is of: a scanned label or a typed code, or a name picked from the list; of which order, or
    sent by which shop of ours."""
    shop_id, code = request.user.shop_id, request.GET.get("code", "").strip()
    number = request.GET.get("order", "")
    if (sent := transfer_scanned(code)) and not request.htmx:
        return redirect(f"{request.path}?transfer={sent}")
    kind = kind_by_code(shop_id=shop_id, scan_code=code) or orders.kind_marked(shop_id, number, code) if code else None
    named = None if kind else orders.order_named(shop_id, code)
    if named and not request.htmx:
        return redirect(f"{request.path}?order={named.number}")
    order = orders.order_numbered(shop_id, number)
    transfer = id_of(request.GET.get("transfer", ""))
    stays = {"order": str(order.number)} if order else {"transfer": str(transfer)} if transfer else {}
    if kind and "pick" not in request.GET:
        return redirect(Batch.of(kind, stays).address())
    found = list(kinds_found(shop_id, code)[:40])
    if code and len(found) == 1 and not request.htmx:
        return redirect(Batch.of(found[0], stays).address())
    context = {
        "code": code,
        "kinds": found,
        "known": kind or named or sent,
        "stays": stays,
        "order": order,
        "lines": [(line, Batch.of(line.kind, stays).address()) for line in order.lines.all()] if order else [],
        "due": [] if stays else orders.orders_due(shop_id),
        "forbidden": forbidden(request.user, "stock"),
    }
    return shown(request, "plates/scan_start.html", context)


@require_http_methods(["GET", "POST"])
@page
def scan_in(request: PageRequest, code: str, *, orders: Orders) -> HttpResponse:
    """One press of the micrometer a plate."""
    sent = request.POST if request.method == "POST" else request.GET
    batch = Batch.of(kind_or_404(request, code), sent)
    if batch_key(sent.get("batch", "")) is None:
        return redirect(batch.address())
    if request.method == "GET":
        return _scan_page(request, batch, orders)
    form = ScanForm(request.POST, person=request.user, kind=batch.kind)
    if request.headers.get("Accept") == "application/json":
        return _kept_scan(request, batch, form, orders)
    own_scan_check(request)
    if not form.is_valid():
        return _not_a_reading(request, batch, form, orders)
    try:
        answer = _book(request, batch, form, orders)
    except KeyReused:
        said = "The form before this one was sent already and has counted. Nothing was done twice."
        typed = {**request.POST.dict(), **batch.kept}
        return _scan_page(request, batch, orders, _fresh(request, batch, typed), again=said)
    except (Implausible, NotDue) as refusal:
        return _scan_page(request, batch, orders, doubt=doubt(batch, request.POST, form.said().texts, refusal))
    except Refusal as refusal:
        if not form.refuse(refusal):
            raise
        return _scan_page(request, batch, orders, form)
    return redirect(answer.body["to"])


def own_scan_check(request: PageRequest) -> None:
    """A page may outlive its session: what one person typed is never booked as read by another. Raises OtherPerson."""
    if request.POST.get("by", "") not in ("", str(request.user.pk)):
        raise OtherPerson("Somebody else typed this scan. It is kept until that person signs in here again.")


def _book(request: PageRequest, batch: Batch, form: ScanForm, orders: Orders) -> Answer:
    once, over = once_of(request), request.POST.get("over") == "on"

    def told(plate: Plate) -> Answer:
        return Answer(303, {"to": batch.address(), "plate": str(plate.pk)})

    return once.replay() or once.run(lambda: _receive(once, batch, form, orders, over), told)


def _kept_scan(request: PageRequest, batch: Batch, form: ScanForm, orders: Orders) -> JsonResponse:
    """A scan that the browser kept while the line was lost: where the plate goes, or why it was not booked."""
    try:
        own_scan_check(request)
        if not form.is_valid():
            errors = [str(error) for found in form.errors.values() for error in found]
            return JsonResponse({"code": "not_a_reading", "detail": " ".join(errors)}, status=422)
        answer = _book(request, batch, form, orders)
    except (Implausible, NotDue) as refusal:
        ways = doubt(batch, request.POST, form.said().texts, refusal)["ways"]
        return JsonResponse({"code": refusal.code, "detail": refusal.detail, "ways": ways}, status=422)
    except Refusal as refusal:
        return JsonResponse({"code": refusal.code, "detail": refusal.detail}, status=refusal.status)
    plate = plate_or_404(request, answer.body["plate"])
    thickness = both(plate.thickness_nm, request.user.shop.unit_first)
    return JsonResponse({"lies": lies_in(plate.state, plate.bin), "thickness": thickness})


def _not_a_reading(request: PageRequest, batch: Batch, form: ScanForm, orders: Orders) -> HttpResponse:
    """What is scanned or typed instead of a reading, and stays for those that follow.

    A kind's label or code begins a batch of that kind; a bin's chooses where the next ones go, that of an order or of a
    transfer with which of them they came, and ends that when it is scanned again; Enter after a gauge, a box or an
    owner keeps it.
    """
    typed = request.POST.get("reading", "").strip()
    label = scan_parse(typed)
    if label and label.sort == "bin":
        chosen = "" if label.code == batch.bin else label.code
        if chosen and not selectors.bins(batch.kind.shop_id).filter(code=chosen).exists():
            form.errors["reading"] = form.error_class([f"No bin is called {chosen}. Add it on the page of the bins."])
            return _scan_page(request, batch, orders, form)
        return redirect(replace(batch, bin=chosen).address())
    if named := orders.order_named(batch.kind.shop_id, typed):
        number = str(named.number)
        return redirect(replace(batch, order="" if number == batch.order else number, transfer="").address())
    if sent := transfer_scanned(typed):
        return redirect(replace(batch, order="", transfer="" if sent == batch.transfer else sent).address())
    shop_id = request.user.shop_id
    other = None
    if typed:
        other = kind_by_code(shop_id=shop_id, scan_code=typed) or orders.kind_marked(shop_id, batch.order, typed)
    if other:
        return redirect(batch.of_kind(other).address())
    if typed and (meant := selectors.bin_typed(shop_id, typed)):
        return redirect(replace(batch, bin="" if meant.code == batch.bin else meant.code).address())
    if not typed and batch.stays != request.POST.get("stayed", ""):
        return redirect(batch.address())
    return _scan_page(request, batch, orders, form)


def transfer_scanned(text: str) -> str:
    """The key of the transfer that a label names; blank where it names none."""
    label = scan_parse(text)
    return str(id_of(label.code) or "") if label and label.sort == "transfer" else ""


def bin_chosen(batch: Batch) -> Bin | None:
    """The bin whose label was scanned. Raises WrongBin when it is gone."""
    if not batch.bin:
        return None
    found = selectors.bins(batch.kind.shop_id).filter(code=batch.bin).first()
    if found is None:
        raise WrongBin(f"There is no bin {batch.bin}. Scan its label again to end that.", [("/bin", "choose another")])
    return found


def _receive(once: Once, batch: Batch, form: ScanForm, orders: Orders, over: bool) -> Plate:
    tags = Tags(
        condition=form.cleaned_data["condition"],
        owner=batch.owner,
        box=batch.box,
        gauge=batch.gauge,
        transfer=id_of(batch.transfer),
        findings=form.findings(),
    )
    one = Arrival(batch.kind, form.said(), tags, bin_chosen(batch), form.cleaned_data["confirm"])
    if batch.order:
        return orders.plate_came(person=once.person, number=batch.order, arrival=one, over=over, made_key=once.made_key)
    received = plate_receive(
        person=once.person,
        kind=one.kind,
        reading=one.reading,
        tags=tags,
        chosen_bin=one.chosen_bin,
        confirm=one.confirm,
        made_key=once.made_key,
    )
    return received.plates[0]


def _fresh(request: PageRequest, batch: Batch, typed: dict[str, str] | None = None) -> ScanForm:
    return ScanForm(person=request.user, kind=batch.kind, initial=typed or batch.kept)


def _scan_page(
    request: PageRequest, batch: Batch, orders: Orders, form: ScanForm | None = None, **more: Any
) -> HttpResponse:
    person = request.user
    scanned = list(selectors.batch(person=person, batch_id=batch.key, since=batch.began))
    undone_id = request.GET.get("undone", "")
    undone = plate_or_404(request, undone_id) if undone_id else None
    last = None if undone or not scanned else scanned[0]
    gauge, withdrawn = gauge_for_plates(person.shop_id, batch.gauge)
    claimed = orders.claimed(person.shop_id, [plate.pk for plate in scanned]) if batch.order else {}
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
        "claimed": len(claimed),
        "claim": claimed.get(last.pk, "") if last else "",
        "left": left if left.isascii() and left.isdigit() and len(left) < 4 else "",
        "mean_nm": mean_nm(plate.thickness_nm for plate in scanned) if scanned else None,
        "last": last,
        "leave": batch.address(out="1"),
        "out": "out" in request.GET,
        "lot": last.lot if last else None,
        "apart": apart_with(last) if last else "",
        "warnings": _warnings(last, gauge) if last and last.lot is None else [],
        "gauge": gauge,
        "withdrawn": withdrawn,
        "undone": undone,
        "forbidden": forbidden(person, "stock"),
        **delivery(batch, orders),
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
def scan_undo(request: PageRequest, *, orders: Orders) -> HttpResponse:
    """Undo of the last scan, or of the lot that was booked last: one key."""
    plate = plate_or_404(request, request.POST.get("plate", ""))
    batch = Batch.of(plate.kind, request.POST)
    to = batch.address(undone=str(plate.pk))

    def effect(once: Once) -> Answer:
        return once.run(lambda: orders.arrival_undo(person=once.person, plate=plate), lambda _: Answer(303, {"to": to}))

    once = once_of(request)
    try:
        answer = once.replay() or effect(once)
    except Refusal as refusal:
        return _scan_page(request, batch, orders, refused=refusal.detail)
    return redirect(answer.body["to"])
