"""The gauges at the counter: their list, a new one, studies. The page of one gauge is the bench's: it shows plates."""

from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import resolve_url
from django.views.decorators.http import require_GET, require_http_methods

from plates.measuring import selectors
from plates.measuring.forms import GaugeForm, StudyForm, StudyGrid
from plates.measuring.models import Gauge, GaugeStudy
from plates.measuring.services import gauge_make, gauge_study
from plates.measuring.study_words import study_results, study_words
from shop.api import by_id
from shop.errors import NotFound, Refusal
from shop.once import Answer, Once
from shop.web import PageRequest, act, forbidden, key_new, page, shown


def gauge_or_404(request: PageRequest, code: str) -> Any:
    """The gauge with this code, as it stands today."""
    found = selectors.gauges(request.user.shop_id).filter(code=code).first()
    if found is None:
        raise Http404(f"No gauge has the code {code!r}.")
    return found


@require_GET
@page
def gauges(request: PageRequest) -> HttpResponse:
    rows = Paginator(selectors.gauges(request.user.shop_id), 100).get_page(request.GET.get("page"))
    return shown(request, "plates/gauges.html", {"gauges": rows})


@require_http_methods(["GET", "POST"])
@page
def add_gauge(request: PageRequest) -> HttpResponse:
    form = GaugeForm(request.POST or None, person=request.user)
    if request.method == "POST" and form.is_valid():
        try:
            return act(request, lambda once: once.run(lambda: _make(once, form), _to_gauge))
        except Refusal as refusal:
            form.add_error(None, refusal.detail)
    context = {"form": form, "key": key_new(), "title": "Add a gauge", "forbidden": forbidden(request.user, "gauges")}
    return shown(request, "plates/add.html", context)


def _make(once: Once, form: GaugeForm) -> Gauge:
    said = form.cleaned_data
    return gauge_make(
        person=once.person,
        code=said["code"],
        type=said["type"],
        limit_nm=form.length("limit"),
        resolution_nm=form.length("resolution"),
        interval_days=said["interval_days"],
        note=said["note"],
    )


def _to_gauge(gauge: Gauge) -> Answer:
    return Answer(303, {"to": resolve_url("gauge", gauge.code)})


@require_http_methods(["GET", "POST"])
@page
def study(request: PageRequest, code: str) -> HttpResponse:
    """Who and how often first, then the readings; what was typed stays in the form until the study is whole."""
    gauge = gauge_or_404(request, code)
    form = StudyForm(request.POST if request.method == "POST" else None, person=request.user)
    context = {"gauge": gauge, "form": form, "key": key_new(), "forbidden": forbidden(request.user, "gauges")}
    if not form.is_valid():
        return shown(request, "plates/gauge_study_start.html", context)
    said = form.cleaned_data
    grid = StudyGrid.of(said["people"], said["plates"], said["trials"], request.POST, request.user.shop.unit_first)
    if "finish" in request.POST and grid.next is None:
        return act(request, lambda once: once.run(lambda: _study(once, gauge, grid), _to_study))
    return shown(request, "plates/gauge_study_grid.html", {**context, "grid": grid, "asked": request.POST})


def _study(once: Once, gauge: Gauge, grid: StudyGrid) -> GaugeStudy:
    return gauge_study(
        person=once.person,
        gauge=gauge,
        people=grid.people,
        plates=grid.plates,
        readings=grid.readings(),
        made_key=once.made_key,
    )


def _to_study(made: GaugeStudy) -> Answer:
    return Answer(303, {"to": resolve_url("gauge-study", str(made.pk))})


#: How the analyses are called, and what their figures mean.
TITLES = {"average_and_range": "Average and range", "analysis_of_variance": "Analysis of variance"}
FIGURES = {
    "equipment": "one person reads one plate again",
    "appraiser": "between people",
    "gauge": "gauge and people together",
    "part": "between plates",
    "total": "all together",
}


@require_GET
@page
def one_study(request: PageRequest, pk: str) -> HttpResponse:
    try:
        row: GaugeStudy = by_id(selectors.studies(request.user.shop_id), pk)
    except NotFound as error:
        raise Http404(str(error)) from None
    results = study_results(row)
    figures = [(said, [getattr(one, name) for one in results.values()]) for name, said in FIGURES.items()]
    context = {
        "study": row,
        "words": study_words(results["analysis_of_variance"]),
        "titles": [TITLES[name] for name in results],
        "figures": figures,
        "shares": [one.share for one in results.values()],
        "categories": [one.categories for one in results.values()],
        "rows": [
            (person, number + 1, trial)
            for person, trials in zip(row.people, row.readings, strict=True)
            for number, trial in enumerate(trials)
        ],
    }
    return shown(request, "plates/gauge_study.html", context)
