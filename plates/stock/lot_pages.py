"""A lot at the counter: how many came, a press of the micrometer for each plate that is measured, then all at once."""

from dataclasses import dataclass, field, replace
from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, resolve_url
from django.views.decorators.http import require_http_methods

from plates.lengths import both
from plates.measuring.gauges import GaugeNotes, gauge_for_plates
from plates.scan_codes import scan_parse
from plates.stock import selectors
from plates.stock.batches import Batch, batch_key
from plates.stock.booking import Booking, booking_begin
from plates.stock.deliveries import NotDue, Orders, delivery
from plates.stock.doubts import meant_as
from plates.stock.findings import NOTHING_FOUND, Tags
from plates.stock.forms import LotCountForm, LotReadForm
from plates.stock.lot_batches import LEAST, MOST, LotBatch
from plates.stock.lots import LOT_RANGE_NM
from plates.stock.models import Condition
from plates.stock.plausible import Implausible
from plates.stock.scanning import bin_chosen, own_scan_check
from plates.stock.services import Received, lot_receive
from plates.stock.shown import kind_or_404
from plates.stock.tally import lies_in
from shop.errors import Refusal
from shop.once import Answer, Once
from shop.rows import id_of
from shop.web import PageRequest, forbidden, once_of, page, shown

USED = (
    "A lot is of new plates: used ones have worn each in its own way, so each is read and booked by itself. "
    "Leave the lot, and go on plate by plate; or set the condition to new there, and begin the lot again."
)


@dataclass
class Home:
    """Where some plates of a lot go: the numbers of those read, and how many were not."""

    place: str
    read: list[int] = field(default_factory=list)
    unread: int = 0


@require_http_methods(["GET", "POST"])
@page
def scan_lot(request: PageRequest, code: str, *, orders: Orders) -> HttpResponse:
    """The count, then a reading at a time; with Enter in the empty field, once enough are read, the lot is booked."""
    person, sent = request.user, request.POST if request.method == "POST" else request.GET
    batch = Batch.of(kind_or_404(request, code), sent)
    gauge, withdrawn = gauge_for_plates(person.shop_id, batch.gauge)
    lot = LotBatch.of(batch, sent, unit_first=person.shop.unit_first, zero_nm=gauge.zero_nm)
    if batch_key(sent.get("batch", "")) is None or batch_key(sent.get("lot", "")) is None:
        return redirect(lot.address())
    if selectors.lots(person.shop_id).filter(made_key=Once(person, lot.form_key).made_key).exists():
        return redirect(batch.address())
    act = request.POST.get("act", "")
    if act == "leave":
        return redirect(batch.address(left=str(len(lot.typed))))
    if act == "undo":
        return redirect(lot.without_last().address())
    if request.method == "GET" or act == "begin" or forbidden(person, "stock") or batch.condition != Condition.NEW:
        return _lot_page(request, lot, orders, gauge, withdrawn)
    own_scan_check(request)
    return _sent(request, lot, orders, gauge, withdrawn)


def _sent(request: PageRequest, lot: LotBatch, orders: Orders, gauge: GaugeNotes, withdrawn: str) -> HttpResponse:
    if not lot.count:
        count_form = _count_form(request, request.POST)
        if not count_form.is_valid():
            return _lot_page(request, lot, orders, gauge, withdrawn, form=count_form)
        return redirect(replace(lot, count=count_form.cleaned_data["count"]).address())
    typed = request.POST.get("reading", "").strip()
    if lot.enough and not typed:
        try:
            return redirect(_book(request, lot, orders))
        except NotDue as refusal:
            return _lot_page(request, lot, orders, gauge, withdrawn, doubt=_not_due(lot, refusal))
        except Refusal as refusal:
            return _lot_page(request, lot, orders, gauge, withdrawn, refused=refusal.detail)
    if not lot.unread:
        said = f"All {lot.count} are read: that one is not of this lot. Press Enter to book them."
        return _lot_page(request, lot, orders, gauge, withdrawn, refused=said)
    form = _read_form(request, lot, request.POST)
    try:
        if form.is_valid() and (more := _one_more(request, lot, form, typed)):
            return redirect(more.address())
    except Implausible as refusal:
        doubt = _doubt(lot, form, typed, refusal)
        return _lot_page(request, lot, orders, gauge, withdrawn, doubt=doubt)
    except Refusal as refusal:
        if not form.refuse(refusal):
            raise
    if scan_parse(typed):
        text = f"That is a label. The lot is of {lot.batch.kind.code} alone: press the micrometer, or leave it with F8."
        form.errors["reading"] = form.error_class([text])
    return _lot_page(request, lot, orders, gauge, withdrawn, form=form)


def _one_more(request: PageRequest, lot: LotBatch, form: LotReadForm, typed: str) -> LotBatch | None:
    """The lot with this reading; None where the form says why not. Raises Implausible, GaugeWithdrawn, WrongBin."""
    sure = bool(request.POST.get("confirm"))
    booking = booking_begin(
        person=request.user,
        kind=lot.batch.kind,
        condition=lot.batch.condition,
        gauge=lot.batch.gauge,
        findings=NOTHING_FOUND,
        chosen_bin=bin_chosen(lot.batch),
        confirm=sure,
    )
    reading = booking.read(form.said())
    booking.verdict(reading.thickness_nm, reading.spread_nm)
    if lot.unit_first != request.user.shop.unit_first:  # changed since the first of them: this one names its unit
        typed = " ".join(said.text for said in form.cleaned_data["reading"])
    more = lot.with_one(typed, sure=sure)
    if more is None:
        form.add_error("reading", "So many readings do not go into one lot here. Leave it, and book two smaller lots.")
    return more


def _book(request: PageRequest, lot: LotBatch, orders: Orders) -> str:
    """Book all of it, once; the address to go to. Raises what :func:`lot_receive` refuses."""
    once, batch = once_of(request), lot.batch

    def effect() -> Received:
        rest: dict[str, Any] = {
            "person": once.person,
            "kind": batch.kind,
            "count": lot.count,
            "readings": lot.readings,
            "tags": Tags(
                condition=batch.condition,
                owner=batch.owner,
                box=batch.box,
                gauge=batch.gauge,
                transfer=id_of(batch.transfer),
            ),
            "chosen_bin": bin_chosen(batch),
            "confirm": lot.sure,
            "made_key": once.made_key,
        }
        if not batch.order:
            return lot_receive(**rest)
        return orders.lot_came(number=batch.order, over=request.POST.get("over") == "on", **rest)

    answer = once.replay() or once.run(effect, lambda _: Answer(303, {"to": batch.address()}))
    return str(answer.body["to"])


def _doubt(lot: LotBatch, form: LotReadForm, typed: str, refusal: Implausible) -> dict[str, Any]:
    texts = [said.text for said in form.cleaned_data["reading"]]
    ways: list[dict[str, Any]] = []
    if meant := meant_as(texts, refusal):
        ways.append({"text": f"It is {meant}", "fields": {"reading": meant}})
    ways.append(
        {"text": f"Count {' '.join(texts)} as it is", "fields": {"reading": typed, "confirm": "on"}, "grave": True}
    )
    return {"detail": refusal.detail, "ways": ways}


def _not_due(lot: LotBatch, refusal: NotDue) -> dict[str, Any]:
    """The lot as it is, to be booked all the same."""
    ways: list[dict[str, Any]] = []
    if refusal.may_confirm:
        ways.append({"text": f"They came: count all {lot.count}", "fields": {"over": "on"}, "grave": True})
    ways.append({"text": "Book them without the order", "fields": {"order": ""}})
    return {"detail": refusal.detail, "ways": ways}


def _count_form(request: PageRequest, sent: Any = None) -> LotCountForm:
    return LotCountForm(sent, person=request.user, least=LEAST, most=MOST)


def _read_form(request: PageRequest, lot: LotBatch, sent: Any = None) -> LotReadForm:
    form = LotReadForm(sent, person=request.user, kind=lot.batch.kind)
    if lot.enough:  # an Enter struck twice must not book what the first one only completed
        form.fields["reading"].widget.attrs["data-steady"] = True
    return form


def _lot_page(
    request: PageRequest,
    lot: LotBatch,
    orders: Orders,
    gauge: GaugeNotes,
    withdrawn: str,
    *,
    form: Any = None,
    **more: Any,
) -> HttpResponse:
    batch, why = lot.batch, forbidden(request.user, "stock")
    fresh = _read_form(request, lot) if lot.count else _count_form(request)
    context = {
        "kind": batch.kind,
        "batch": batch,
        "lot": lot,
        "form": form or fresh,
        "gauge": gauge,
        "withdrawn": withdrawn,
        "refused": "",
        "out": "out" in request.GET,
        "forbidden": why,
        "used": USED if batch.condition != Condition.NEW else "",
        "limit": both(LOT_RANGE_NM, request.user.shop.unit_first),
        "to_lot": resolve_url("scan-lot", batch.kind.code),
        **delivery(batch, orders),
        **more,
    }
    if lot.typed and not why and not withdrawn:
        try:
            context |= _judged(lot, gauge)
        except Refusal as refusal:
            context["refused"] = refusal.detail
    return shown(request, "plates/scan_lot.html", context)


def _judged(lot: LotBatch, gauge: GaugeNotes) -> dict[str, Any]:
    """Where each plate of the lot would go, and what to know of it. Raises WrongBin."""
    batch = lot.batch
    booking = Booking(
        kind=batch.kind,
        condition=batch.condition,
        gauge=gauge,
        findings=NOTHING_FOUND,
        chosen_bin=bin_chosen(batch),
    )
    read = [
        booking.verdict(measured_nm, reading.spread_nm)
        for measured_nm, reading in zip(lot.measured_nm, lot.readings, strict=True)
    ]
    rest = booking.verdict(lot.mean_nm, None)
    *places, rest_place = (lies_in(verdict.state, verdict.home) for verdict in (*read, rest))
    homes: dict[str, Home] = {}
    for number, place in enumerate(places, start=1):
        homes.setdefault(place, Home(place)).read.append(number)
    if lot.enough and lot.unread:
        homes.setdefault(rest_place, Home(rest_place)).unread = lot.unread
    last = [*read[-1:], *([rest] if lot.enough else [])]
    said = [warning["text"] for verdict in last for warning in verdict.warnings]
    return {
        "rows": [
            {"number": number, "nm": measured_nm, "place": place}
            for number, (measured_nm, place) in enumerate(zip(lot.measured_nm, places, strict=True), start=1)
        ][::-1],
        "homes": list(homes.values()),
        "place": rest_place,
        "warnings": list(dict.fromkeys(said)),
    }
