"""What the shelf would answer to a form that is still being filled in. Nothing of it is kept."""

from django.http import HttpResponse
from django.views.decorators.http import require_POST

from plates.bench import shown as views
from plates.bench.ask import match_preview
from plates.bench.forms import PackForm
from plates.bench.models import Match
from plates.catalogue.spec_pages import spec_coded
from shop.errors import Refusal
from shop.web import PageRequest, page, shown


@require_POST
@page
def preview(request: PageRequest, code: str) -> HttpResponse:
    """A fragment: the options for what is typed so far; blank while that does not suffice."""
    spec, person = spec_coded(request, code), request.user
    typed = request.POST.copy()
    typed["go"] = "ask"
    form = PackForm(spec, person.shop.unit_first, typed, may_lift=person.may("overrides"))
    found: Match | None = None
    said = ""
    if form.asking:
        try:
            found = match_preview(
                person=person, spec=spec, question=form.question(), overrides=form.overrides(), job=form.job
            )
        except Refusal as refusal:
            said = refusal.detail
    context = {
        "match": found,
        "said": said,
        "verdict": views.verdict(found) if found else "",
        "window": views.window_of_match(found) if found else "",
        "options": views.options_shown(found) if found else [],
        "shortfall": views.shortfall_shown(found) if found else None,
        "preview": True,
    }
    return shown(request, "plates/preview.html", context)
