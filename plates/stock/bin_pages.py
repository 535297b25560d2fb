"""One bin at the counter: what lies in it, and what is handed out of it; and everything that was handed out."""

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import resolve_url
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from plates.stock import selectors
from plates.stock.drawing import histogram_drawing
from plates.stock.forms import HandOutForm
from plates.stock.hand_outs import hand_out_make
from plates.stock.models import LYING, Bin, HandOut, Reason
from plates.stock.promised import promises
from plates.stock.shelf import bin_histogram
from shop.errors import Refusal
from shop.once import Answer, Once
from shop.rows import id_of
from shop.web import PageRequest, act, forbidden, key_new, page, shown

REASONS = dict(Reason.choices)


def bin_or_404(request: PageRequest, code: str) -> Bin:
    found = selectors.bins(request.user.shop_id).filter(code=code).first()
    if found is None:
        raise Http404(f"No bin has the code {code!r}.")
    return found


@require_GET
@page
def one_bin(request: PageRequest, code: str) -> HttpResponse:
    return _bin_page(request, bin_or_404(request, code))


def _bin_page(request: PageRequest, found: Bin, form: HandOutForm | None = None) -> HttpResponse:
    person, unit = request.user, request.user.shop.unit_first
    lying = selectors.plates(person.shop_id).filter(bin=found, state__in=LYING).order_by("thickness_nm", "id")
    sizes = bin_histogram(found, unit)
    held = sum(size.held for size in sizes)
    if form is None and not forbidden(person, "stock"):
        form = HandOutForm(person=person)
    context = {
        "bin": found,
        "promises": promises(found),
        "lying": sum(size.lying for size in sizes),
        "held": held,
        "drawing": histogram_drawing(sizes, unit=unit, title=f"What lies in bin {found.code}") if sizes else "",
        "plates": Paginator(lying, 100).get_page(request.GET.get("page")),
        "form": form,
        "key": key_new(),
        "count_key": key_new(),
        "going_on": selectors.counts_of(found, going_on=True)[:20],
        "counts": selectors.counts_of(found, going_on=False)[:5],
        "out": _just_out(request),
    }
    return shown(request, "plates/bin.html", context)


def _just_out(request: PageRequest) -> dict[str, object] | None:
    """What the form before this page handed out, and the note that goes with it to another shop."""
    count, reason = request.GET.get("out", ""), request.GET.get("for", "")
    if not count.isdecimal() or reason not in REASONS:
        return None
    return {"count": count, "reason": REASONS[reason], "note": id_of(request.GET.get("note", ""))}


@require_POST
@page
def hand_out(request: PageRequest, code: str) -> HttpResponse:
    """So many of this bin leave: sold for cash, lent, own use, under warranty, lost, sent to another shop of ours."""
    found = bin_or_404(request, code)
    form = HandOutForm(request.POST, person=request.user)
    if form.is_valid():
        said = form.cleaned_data

        def told(made: HandOut) -> Answer:
            count = said["count"] + sum(count for _, count in said["others"])
            note = f"&note={made.pk}" if made.reason == Reason.TRANSFER else ""
            return Answer(303, {"to": f"{resolve_url('bin', found.code)}?out={count}&for={made.reason}{note}"})

        try:
            return act(request, lambda once: once.run(lambda: _hand_out(once, found, form), told))
        except Refusal as refusal:
            if not form.refuse(refusal):
                form.add_error("count", refusal.detail)
    return _bin_page(request, found, form)


def _hand_out(once: Once, found: Bin, form: HandOutForm) -> HandOut:
    said = form.cleaned_data
    return hand_out_make(
        person=once.person,
        reason=said["reason"],
        from_bins=[(found, said["count"]), *said["others"]],
        to=said["to"],
        due=said["due"] if said["reason"] == Reason.LENT else None,
        price=said["price"],
        made_key=once.made_key,
    )


@require_GET
@page
def hand_outs(request: PageRequest) -> HttpResponse:
    """What left and is still away, by reason: the lent ones first, of them what is due first."""
    reason = request.GET.get("reason", Reason.LENT)
    if reason not in REASONS:
        raise Http404(f"Nothing is handed out for {reason!r}.")
    rows = Paginator(selectors.still_out(request.user.shop_id, reason), 50).get_page(request.GET.get("page"))
    today = timezone.localdate()
    late = [(row, max(0, (today - row.due).days) if row.due else 0) for row in rows]
    order = sorted(REASONS, key=lambda one: one != Reason.LENT)
    context = {
        "rows": rows,
        "late": late,
        "reason": reason,
        "reasons": [(one, REASONS[one]) for one in order],
    }
    return shown(request, "plates/hand_outs.html", context)
