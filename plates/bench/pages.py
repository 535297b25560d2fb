"""The bench at the counter: *Close a pack*, its answer, take and hold, the slip, the final check."""

from collections.abc import Callable

from django.core.paginator import Paginator
from django.db.models import Q
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.views.decorators.http import require_GET, require_http_methods

from plates.bench import selectors
from plates.bench import shown as views
from plates.bench.ask import match_ask
from plates.bench.cautions import raised
from plates.bench.final import match_final
from plates.bench.final_form import FinalForm
from plates.bench.forms import PackForm
from plates.bench.locks import Run
from plates.bench.lying import lying_on
from plates.bench.models import Match, MatchState
from plates.bench.on_bench import OnBench, by_pack
from plates.bench.overrides import overrides_shown
from plates.bench.plan.pages import WORKING
from plates.bench.release import match_release, slip_gone
from plates.bench.take import StockMoved, match_hold, match_take
from plates.catalogue.selectors import spec_counted, specs_found, stack_fetch
from plates.catalogue.spec_models import WAVE_STATES, Spec
from plates.catalogue.spec_pages import spec_coded
from plates.measuring.uncertainty import METHODS
from shop.errors import KeyReused, Malformed, Refusal
from shop.once import Answer, Once
from shop.web import PageRequest, act, forbidden, go, key_new, page, shown

#: Of a form that was sent twice: it is no refusal, so nothing is said of nothing done.
SENT = "This was sent already, and has counted. Nothing was done twice."


@require_GET
@page
def close_start(request: PageRequest) -> HttpResponse:
    """Which pack: type to find; the exact code, or the only one found, opens it."""
    text = request.GET.get("find", "").strip()
    found = list(specs_found(request.user.shop_id, text)[:40])
    exact = [spec for spec in found if spec.code.lower() == text.lower()] or found
    if text and len(exact) == 1 and not request.htmx:
        return redirect("close-pack", exact[0].code)
    why = forbidden(request.user, "matches")
    return shown(request, "plates/close_start.html", {"find": text, "specs": found, "forbidden": why})


def match_numbered(request: PageRequest, number: int) -> Match:
    rows = selectors.matches(request.user.shop_id).prefetch_related(selectors.checks_told())
    match = rows.filter(number=number).first()
    if match is None:
        raise Http404(f"No match has the number {number}.")
    stack_fetch(match.spec)
    return match


def to_match(match: Match) -> Answer:
    return Answer(303, {"to": resolve_url("match", match.number)})


def _bench_of(request: PageRequest, job: str) -> list[OnBench]:
    return by_pack(lying_on(shop_id=request.user.shop_id, job=job))


@require_GET
@page
def on_bench(request: PageRequest) -> HttpResponse:
    """A fragment: what lies on the bench of the job that is being typed."""
    job = request.GET.get("job", "").strip()
    return shown(request, "plates/on_bench.html", {"job": job, "on_bench": _bench_of(request, job)})


@require_http_methods(["GET", "POST"])
@page
def close_pack(request: PageRequest, code: str) -> HttpResponse:
    """The question: readings, what lies in the pack, the job. Enter goes from field to field and then asks."""
    spec, unit, person = spec_coded(request, code), request.user.shop.unit_first, request.user
    said, sent, may_lift = "", "", person.may("overrides")
    number = (request.GET if request.method == "GET" else request.POST).get("again", "")
    known = number.isascii() and number.isdigit() and len(number) < 18
    earlier = match_numbered(request, int(number)) if known else None
    if request.method == "POST":
        form = PackForm(spec, unit, request.POST, may_lift=may_lift)
        if form.asking:
            try:
                return act(request, lambda once: _ask(once, spec, form))
            except KeyReused:
                sent = "This question was asked already, and changed since. Nothing was done twice; ask again."
            except Refusal as refusal:
                said = refusal.detail
    else:
        of = earlier.spec if earlier else None  # an earlier revision of it names the same slots, as far as they stand
        same = earlier if of and (of.code, of.measures) == (spec.code, spec.measures) else None
        form = PackForm(spec, unit, again=same, may_lift=may_lift)
    context = {
        "spec": spec,
        "counted": spec_counted(spec),
        "form": form,
        "methods": METHODS,
        "waves": WAVE_STATES,
        "may_lift": may_lift,
        "earlier": earlier,
        "lifted_before": overrides_shown(earlier) if earlier else [],
        "on_bench": _bench_of(request, form.job),
        "said": said,
        "again": sent,
        "key": key_new(),
        "forbidden": forbidden(person, "matches"),
    }
    return shown(request, "plates/close_pack.html", context)


def _ask(once: Once, spec: Spec, form: PackForm) -> Answer:
    return match_ask(
        person=once.person,
        spec=spec,
        question=form.question(),
        run=lambda effect: once.run(effect, to_match),
        overrides=form.overrides(),
        job=form.job,
        made_key=once.made_key,
    )


@require_GET
@page
def matches(request: PageRequest) -> HttpResponse:
    rows = selectors.matches(request.user.shop_id).prefetch_related("final_checks").order_by("-number")
    job = request.GET.get("job", "").strip()
    if job:
        rows = rows.filter(job__code=job)
    state = request.GET.get("state", "")
    if state in MatchState.values:
        rows = rows.filter(Q(("state_now", state)))
    listed = Paginator(rows, 50).get_page(request.GET.get("page"))
    context = {
        "matches": listed,
        "job": job,
        "state": state,
        "states": MatchState,
        "waiting": any(one.state_now in ("open", "held") for one in listed),  # type: ignore[attr-defined]
        "key": key_new(),
        "working": WORKING,
        "forbidden": forbidden(request.user, "matches"),
    }
    return shown(request, "plates/matches.html", context)


@require_GET
@page
def match(request: PageRequest, number: int) -> HttpResponse:
    said = ""
    if "moved" in request.GET:
        said = "Somebody took one of these plates in the meantime. Nothing was taken for this pack; these are fresh."
    return _match_page(request, number, said)


def _match_page(request: PageRequest, number: int, said: str = "") -> HttpResponse:
    found = match_numbered(request, number)
    state = found.state_now  # type: ignore[attr-defined]
    options = views.options_shown(found) if state in (MatchState.OPEN, MatchState.HELD) else []
    nothing_to_do = next((one for one in options if not one.option["changes"]), None)
    context = {
        "match": found,
        "state": state,
        "verdict": views.verdict(found),
        "options": options,
        "shortfall": views.shortfall_shown(found),
        "window": views.window_of_match(found),
        "stack": "" if options else views.stack_of_match(found),
        "count_first": raised(found.cautions, "count_first") and not found.counted,
        "built": found.built,
        "gone": slip_gone(found),
        "finals": list(found.final_checks.all()),
        "overrides": overrides_shown(found),
        "kept_away": found.kept_away if state in (MatchState.OPEN, MatchState.HELD) else [],
        "may_check": state == MatchState.TAKEN or (state == MatchState.OPEN and nothing_to_do is not None),
        "final": FinalForm(found, request.user.shop.unit_first),
        "methods": METHODS,
        "waves": WAVE_STATES,
        "key": key_new(),
        "said": said,
        "forbidden": forbidden(request.user, "matches"),
    }
    return shown(request, "plates/match.html", context)


Acts = Callable[[Once, Match, Run[Answer]], Answer]


def _do(request: PageRequest, number: int, effect: Acts) -> HttpResponse:
    """Do it once and go to the match; a refusal stands on the match's page, beside what can still be done."""
    if request.method != "POST":  # the address of an act, typed or come back to after signing in
        return redirect("match", number)
    found = match_numbered(request, number)
    try:
        return act(request, lambda once: effect(once, found, lambda do: once.run(do, to_match)))
    except StockMoved:
        return go(request, f"{resolve_url('match', number)}?moved=1")
    except KeyReused:
        return _match_page(request, number, SENT)
    except Refusal as refusal:
        return _match_page(request, number, refusal.detail)


def _option(request: PageRequest) -> int:
    text = request.POST.get("option", "")
    if not (text.isascii() and text.isdigit() and len(text) < 7):
        raise Malformed("Name one of the options.")
    return int(text)


@page
def take(request: PageRequest, number: int) -> HttpResponse:
    counted = "counted" in request.POST
    return _do(
        request,
        number,
        lambda once, found, run: match_take(
            person=once.person, match_id=found.pk, option=_option(request), run=run, counted=counted
        ),
    )


@page
def hold(request: PageRequest, number: int) -> HttpResponse:
    counted = "counted" in request.POST
    return _do(
        request,
        number,
        lambda once, found, run: match_hold(
            person=once.person, match_id=found.pk, option=_option(request), run=run, counted=counted
        ),
    )


@page
def release(request: PageRequest, number: int) -> HttpResponse:
    return _do(
        request, number, lambda once, found, run: match_release(person=once.person, match_id=found.pk, run=run)
    )


@require_http_methods(["GET", "POST"])
@page
def final(request: PageRequest, number: int) -> HttpResponse:
    """The measurement after assembly."""
    found, said, again = match_numbered(request, number), "", ""
    form = FinalForm(found, request.user.shop.unit_first, request.POST if request.method == "POST" else None)
    if form.done:
        try:
            return act(request, lambda once: _check(once, found, form))
        except KeyReused:
            again = SENT
        except Refusal as refusal:
            said = refusal.detail
    context = {
        "match": found,
        "built": found.built,
        "final": form,
        "methods": METHODS,
        "waves": WAVE_STATES,
        "key": key_new(),
        "said": said,
        "again": again,
        "forbidden": forbidden(request.user, "matches"),
    }
    return shown(request, "plates/final.html", context)


def _check(once: Once, found: Match, form: FinalForm) -> Answer:
    return match_final(
        person=once.person,
        match_id=found.pk,
        reading=form.figures(),
        run=lambda effect: once.run(effect, to_match),
    )
