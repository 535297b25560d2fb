"""One gauge at the counter: its checks, what to do when one failed, and the plates that were read with it."""

import re
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import resolve_url
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from plates.bench.gauges.chart import check_chart
from plates.bench.gauges.corrections import Done, gauge_correct
from plates.bench.selectors import matches
from plates.lengths import mean_nm
from plates.measuring import selectors
from plates.measuring.forms import CheckForm, WithdrawForm
from plates.measuring.models import Gauge, GaugeCheck, GaugeType
from plates.measuring.pages import gauge_or_404
from plates.measuring.services import FarFromStandard, gauge_check, gauge_return, gauge_withdraw
from plates.stock.corrections import Errors, error_words, lines_of, plates_read_wrongly
from shop.api import by_id
from shop.errors import Malformed, NotFound, Refusal
from shop.once import Answer, Once
from shop.web import PageRequest, act, forbidden, key_new, page, shown

#: So many checks are drawn, so many plates listed at once.
DRAWN, LISTED = 40, 200


@require_GET
@page
def gauge(request: PageRequest, code: str) -> HttpResponse:
    return _page(request, gauge_or_404(request, code), CheckForm(person=request.user))


def _page(request: PageRequest, gauge: Any, form: CheckForm, **more: Any) -> HttpResponse:
    person = request.user
    checks = list(selectors.checks(person.shop_id).filter(gauge=gauge).order_by("-at", "-id")[:DRAWN])
    context = {
        "gauge": gauge,
        "form": form,
        "key": key_new(),
        "withdraw": WithdrawForm(person=person),
        "withdraw_key": key_new(),
        "checks": checks,
        "chart": check_chart(gauge, checks[::-1], person.shop.unit_first) if checks else "",
        "studies": selectors.studies(person.shop_id).filter(gauge=gauge).order_by("-at")[:10],
        "wrong": _wrong(person.shop_id, checks),
        "correct_key": key_new(),
        "forbidden": forbidden(person, "gauges"),
        **more,
    }
    return shown(request, "plates/gauge.html", context)


def _wrong(shop_id: Any, checks: list[GaugeCheck]) -> dict[str, Any] | None:
    """The last failed check with plates that still stand as they were read, and those plates."""
    check = next((one for one in checks if not one.passed), None)
    if check is None or check.corrected_at is not None:
        return None
    plates = plates_read_wrongly(shop_id, Errors.of(check))
    listed = list(plates[: LISTED + 1])
    if not listed:
        return None
    count = plates.count() if len(listed) > LISTED else len(listed)
    return {"check": check, "plates": listed[:LISTED], "count": count, "words": error_words(check)}


@require_http_methods(["GET", "POST"])
@page
def check(request: PageRequest, code: str) -> HttpResponse:
    """A check is booked at once when the gauge is good; when it is not, the page first asks what was done with it."""
    gauge = gauge_or_404(request, code)
    form = CheckForm(request.POST if request.method == "POST" else None, person=request.user)
    if not form.is_valid():
        return _page(request, gauge, form)
    readings = form.cleaned_data["reading"]
    error_nm = mean_nm(said.nm for said in readings) - form.cleaned_data["standard"].nm
    if not gauge.passes(error_nm) and "then" not in request.POST:
        left_nm = error_nm - gauge.zero_nm
        found = {"error_nm": left_nm, "size_nm": abs(left_nm), "in_force": gauge.type == GaugeType.MICROMETER}
        return _page(request, gauge, form, found=found, typed=_typed(request))
    try:
        return act(request, lambda once: once.run(lambda: _check(once, gauge, form, request), _to(gauge)))
    except FarFromStandard as refusal:
        again = {"then": request.POST.get("then", ""), "typed": _typed(request), "far": refusal.detail}
        return _page(request, gauge, form, **again)
    except Refusal as refusal:
        form.add_error(None, refusal.detail)
        return _page(request, gauge, form)


def _typed(request: PageRequest) -> dict[str, str]:
    """What was typed, for the form that asks what was done."""
    return {name: request.POST[name] for name in ("standard", "reading")}


def _check(once: Once, gauge: Gauge, form: CheckForm, request: PageRequest) -> GaugeCheck:
    then = request.POST.get("then", "")
    if then not in ("", "zeroed", "in_force"):
        raise Malformed("Say what was done with the gauge by one of the buttons.")
    readings = form.cleaned_data["reading"]
    return gauge_check(
        person=once.person,
        gauge_id=gauge.pk,
        standard_nm=form.cleaned_data["standard"].nm,
        texts=[said.typed for said in readings],
        readings_nm=[said.nm for said in readings],
        then=then,
        confirm="confirm" in request.POST,
        made_key=once.made_key,
    )


def _to(gauge: Gauge) -> Any:
    return lambda _: Answer(303, {"to": resolve_url("gauge", gauge.code)})


@require_POST
@page
def withdraw(request: PageRequest, code: str) -> HttpResponse:
    found = gauge_or_404(request, code)
    form = WithdrawForm(request.POST, person=request.user)
    if not form.is_valid():
        return _page(request, found, CheckForm(person=request.user), withdraw=form)
    reason = form.cleaned_data["reason"]
    return act(
        request,
        lambda once: once.run(lambda: gauge_withdraw(person=once.person, gauge_id=found.pk, reason=reason), _to(found)),
    )


@require_POST
@page
def take_back(request: PageRequest, code: str) -> HttpResponse:
    """A withdrawn gauge comes back into use."""
    found = gauge_or_404(request, code)
    return act(
        request,
        lambda once: once.run(lambda: gauge_return(person=once.person, gauge_id=found.pk), _to(found)),
    )


@require_POST
@page
def correct(request: PageRequest, code: str) -> HttpResponse:
    """One button puts right everything that was read with the error; the page then says what was done."""
    found = gauge_or_404(request, code)
    check = _check_named(request, found, request.POST.get("check", ""))

    def answer(done: Done) -> Answer:
        numbers = ".".join(str(match.number) for match in done.matches)
        return Answer(303, {"to": f"{resolve_url('gauge-corrected', found.code)}?check={check.pk}&matches={numbers}"})

    return act(
        request,
        lambda once: gauge_correct(person=once.person, check=check, run=lambda effect: once.run(effect, answer)),
    )


def _check_named(request: PageRequest, gauge: Any, text: str) -> GaugeCheck:
    try:
        found: GaugeCheck = by_id(selectors.checks(request.user.shop_id).filter(gauge=gauge), text)
    except NotFound as error:
        raise Http404(str(error)) from None
    return found


@require_GET
@page
def corrected(request: PageRequest, code: str) -> HttpResponse:
    """What was corrected for one check: where each plate goes now, and which packs are to be looked at again."""
    found = gauge_or_404(request, code)
    check = _check_named(request, found, request.GET.get("check", ""))
    numbers = [int(one) for one in request.GET.get("matches", "").split(".") if re.fullmatch("[0-9]{1,9}", one)]
    context = {
        "gauge": found,
        "check": check,
        "words": error_words(check),
        "lines": Paginator(lines_of(check).order_by("bin__code", "id"), LISTED).get_page(request.GET.get("page")),
        "matches": matches(request.user.shop_id).filter(number__in=numbers),
    }
    return shown(request, "plates/gauge_corrected.html", context)
