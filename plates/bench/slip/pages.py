"""The slip at the counter: what to fetch, each plate ticked off by its reading, and what becomes of what came out."""

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import redirect, resolve_url
from django.views.decorators.http import require_GET

from plates.bench import shown as views
from plates.bench.cautions import OF_BUILT
from plates.bench.models import Match, MatchState
from plates.bench.odd import odd_ones
from plates.bench.overrides import overrides_shown
from plates.bench.pages import SENT, match_numbered
from plates.bench.slip.agreement import named_rows, row_read
from plates.bench.slip.charges import charge_lines
from plates.bench.slip.forms import FINDS, OutForm, PullForm, second_choice
from plates.bench.slip.outs import FATES, NotOut, match_outs, outs_open
from plates.bench.slip.pull import PullMismatch, match_pull
from plates.catalogue.models import Kind
from plates.lengths import LengthError, both, exact_text, mean_nm
from plates.measuring.gauges import gauge_for_plates
from plates.stock.models import Plate
from plates.stock.plausible import Implausible
from plates.stock.shown import plate_or_404
from shop.errors import KeyReused, Malformed, Refusal
from shop.once import Answer, Once
from shop.web import PageRequest, forbidden, go, key_new, once_of, page, shown

#: The fates, each with its key and the word on its button.
KEYS = [
    ("shelf", "s", "Shelf"),
    ("job", "j", "Job"),
    ("pack", "p", "Pack"),
    ("scrap", "x", "Scrap"),
    ("customer", "c", "Customer"),
]


@require_GET
@page
def slip(request: PageRequest, number: int) -> HttpResponse:
    """What to fetch, for the hand that fetches it. Made to be printed; on the screen each reading ticks off its row."""
    return _slip_page(request, match_numbered(request, number))


def _address(match: Match, **more: str) -> str:
    query = {name: value for name, value in more.items() if value}
    return resolve_url("slip", match.number) + (f"?{urlencode(query)}" if query else "")


@page
def pull(request: PageRequest, number: int) -> HttpResponse:
    """One plate of the slip was read at its bin."""
    if request.method != "POST":
        return redirect("slip", number)
    found = match_numbered(request, number)
    form = PullForm(request.POST, person=request.user)
    if not request.POST.get("reading", "").strip() and not any(row.get("pulled") for row in found.slip):
        return go(request, f"{resolve_url('match', number)}#check")  # the slip is built unread
    if not form.is_valid():
        return _slip_page(request, found, form=form)
    said = form.cleaned_data
    plate = said["plate"] or row_read(found, mean_nm(point.nm for point in said["reading"]))

    def effect(once: Once) -> Answer:
        if plate is None:
            raise Malformed("Nothing on this slip comes from a bin.")
        return match_pull(
            person=once.person,
            match_id=found.pk,
            pull=form.pull(plate),
            run=lambda do: once.run(do, lambda match: _pulled(match, said["gauge"])),
        )

    try:
        once = once_of(request)
        answer = once.replay() or effect(once)
    except KeyReused:
        return _slip_page(request, found, again=SENT)
    except PullMismatch as mismatch:
        return _slip_page(request, found, mismatch=_ways(mismatch, form, request.user, str(plate)))
    except Implausible as refusal:
        ways = _ways(refusal, form, request.user, str(plate))
        return _slip_page(request, found, mismatch={**ways, "doubt": True, "ways": [said["then"]]})
    except Refusal as refusal:
        return _slip_page(request, found, again=refusal.detail)
    return redirect(answer.body["to"])


def _pulled(match: Match, gauge: str) -> Answer:
    laid = getattr(match, "laid", None)
    last = max((row for row in match.slip if row.get("pulled")), key=lambda row: row["pulled"]["at"], default=None)
    read = last["plate"] if last else ""
    return Answer(303, {"to": _address(match, gauge=gauge, laid=str(laid.plate.pk) if laid else "", read=read)})


def _ways(refusal: Refusal, form: PullForm, person: Any, plate: str) -> dict[str, Any]:
    """A mismatch with its ways out, as things to press."""
    said = form.cleaned_data
    return {
        "detail": refusal.detail,
        "ways": refusal.more.get("ways", []),
        "typed": form.data["reading"],
        "read": both(mean_nm(point.nm for point in said["reading"]), person.shop.unit_first),
        "gauge": said["gauge"],
        "plate": plate,
        "second": second_choice(person),
    }


@page
def outs(request: PageRequest, number: int) -> HttpResponse:
    """One plate that came out gets its fate."""
    if request.method != "POST":
        return redirect("slip", number)
    found = match_numbered(request, number)
    form = OutForm(request.POST, person=request.user, fitting=_kinds(found), second=second_choice(request.user))
    if not form.is_valid():
        return _slip_page(request, found, out_form=form)
    try:
        once = once_of(request)
        answer = once.replay() or match_outs(
            person=request.user,
            match_id=found.pk,
            outs=[form.out()],
            run=lambda do: once.run(do, lambda match: _disposed(match, request)),
        )
    except KeyReused:
        return _slip_page(request, found, again=SENT)
    except LengthError as error:
        raise Malformed(str(error)) from None
    except NotOut as refusal:  # its row is no longer on the page
        return _slip_page(request, found, again=refusal.detail)
    except Refusal as refusal:
        if not form.refuse(refusal):
            form.add_error(None, refusal.detail)
        return _slip_page(request, found, out_form=form)
    return redirect(answer.body["to"])


def _disposed(match: Match, request: PageRequest) -> Answer:
    last = match.outs[-1]
    plate = last["plate"] if last["fate"] == "shelf" else ""
    gauge = request.POST.get("pull_gauge", "")
    return Answer(303, {"to": _address(match, out=plate, gauge=gauge, at="outs") + "#outs"})


# --- the page -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class OutRow:
    """One plate that came out: its fate in words, or the form that gives it one."""

    slot: str
    thickness_nm: int
    told: dict[str, Any] | None = None
    form: OutForm | None = None
    key: str = ""
    #: The next one: the keys are for it unless another one has the focus.
    first: bool = False


def _kinds(match: Match) -> list[Kind]:
    """What a plate out of this pack may be of."""
    slots = {row["slot"] for row in outs_open(match)}
    fits = {(slot.fit_id, slot.role) for slot in match.spec.slots.all() if slot.name in slots}
    if not fits:
        return []
    found = Kind.objects.filter(shop_id=match.shop_id, fit__in={fit for fit, _ in fits}).order_by("nominal_nm", "code")
    return [kind for kind in found if (kind.fit_id, kind.role) in fits]


def _out_rows(match: Match, person: Any, bound: OutForm | None) -> list[OutRow]:
    rows = [OutRow(one["slot"], one["thickness_nm"], told={**one, "word": FATES[one["fate"]]}) for one in match.outs]
    fitting, second = _kinds(match), second_choice(person)
    waiting = bound
    for place, row in enumerate(outs_open(match)):
        text = exact_text(row["thickness_nm"])
        if waiting and (waiting.data.get("slot"), waiting.data.get("thickness")) == (row["slot"], text):
            form, waiting = waiting, None
        else:
            given = {"slot": row["slot"], "thickness": text}
            form = OutForm(person=person, fitting=fitting, second=second, initial=given)
        form.auto_id = "id_out{}-{}_%s".format(*row["key"])
        rows.append(OutRow(row["slot"], row["thickness_nm"], form=form, key=key_new(), first=not place))
    return rows


def _plate(request: PageRequest, name: str) -> Plate | None:
    text = request.GET.get(name, "")
    return plate_or_404(request, text) if text else None


def _slip_page(
    request: PageRequest,
    match: Match,
    *,
    form: PullForm | None = None,
    out_form: OutForm | None = None,
    mismatch: dict[str, Any] | None = None,
    again: str = "",
) -> HttpResponse:
    person, built, stands = request.user, match.built, match.built_now
    sent = request.POST if request.method == "POST" else request.GET
    code = sent.get("pull_gauge", sent.get("gauge", "")).strip()[:200]
    gauge, withdrawn = gauge_for_plates(person.shop_id, code)
    from_bins = list(named_rows(match).values())
    from_bins.sort(key=lambda row: (row["bin"] is None, views.walk(row["bin"] or ""), row["slot"], row["thickness_nm"]))
    unread = sum(not row.get("pulled") for row in from_bins)
    pulling = match.state == MatchState.TAKEN and bool(from_bins)
    laid = _plate(request, "laid") or _plate(request, "out")
    out_rows = _out_rows(match, person, out_form)
    at_outs = "at" in request.GET or out_form is not None or not (pulling and unread)
    at_wrong = out_form is not None and out_form.mark_wrong()
    form = form or PullForm(person=person, initial={"gauge": code})
    if unread < len(from_bins):
        form.fields["reading"].help_text = FINDS
    if at_outs:
        form.fields["reading"].widget.attrs.pop("autofocus", None)
    context = {
        "match": match,
        "built": built if match.slip else None,
        "fetch": views.fetch(match.slip),
        "outs": views.outs_of(built) if built else [],
        "out_rows": out_rows,
        "at_outs": at_outs and not at_wrong and any(row.form for row in out_rows),
        "at_end": at_outs and not any(row.form for row in out_rows),
        "charges": charge_lines(match),
        "raised": [one["text"] for one in match.cautions if one["code"] in OF_BUILT],
        "mind": [one["text"] for one in match.cautions if one["code"] not in OF_BUILT] + views.USUAL_CAUTIONS,
        "overrides": overrides_shown(match),
        "odd": odd_ones(match.question, stands) if stands else [],
        "rows": from_bins,
        "unread": unread,
        "read": request.GET.get("read", ""),
        "pulling": pulling,
        "form": form,
        "gauge": gauge,
        "withdrawn": withdrawn,
        "mismatch": mismatch,
        "again": again,
        "laid": laid,
        "why": _why(laid),
        "key": key_new(),
        "keys": KEYS,
        "forbidden": forbidden(person, "matches"),
    }
    return shown(request, "plates/slip.html", context)


def _why(plate: Plate | None) -> str:
    """Why a plate was set aside, out of its last line."""
    if plate is None or plate.state != "quarantined":
        return ""
    return str(plate.lines.order_by("-seq").values_list("reason", flat=True)[0])
