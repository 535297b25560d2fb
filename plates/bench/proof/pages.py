"""What final checks teach, at the counter: residual charts, the build sheet, a unit that comes back."""

from django.http import HttpResponse
from django.views.decorators.http import require_GET, require_http_methods

from plates.bench.models import Match, MatchState
from plates.bench.pages import SENT, match_numbered, to_match
from plates.bench.proof.build_sheet import build_sheet
from plates.bench.proof.charts import residual_chart
from plates.bench.proof.comebacks import match_comeback
from plates.bench.proof.forms import ComebackForm
from plates.bench.proof.residuals import BY, SHOWN, groups_of, points_of
from plates.bench.repeatability import FEWEST, repeatability
from plates.bench.selectors import LOOK
from plates.catalogue.spec_models import WAVE_STATES
from plates.measuring.figures import figures_of
from plates.measuring.uncertainty import METHODS
from shop.errors import KeyReused, Refusal, WrongState
from shop.once import Answer, Once
from shop.web import PageRequest, act, forbidden, key_new, page, shown


@require_GET
@page
def residuals(request: PageRequest) -> HttpResponse:
    """By method, by gauge or by person: one group is chosen and drawn, the others say whether they drift."""
    shop, points = request.user.shop, points_of(request.user.shop_id)
    by = request.GET.get("by", "")
    by = by if by in BY else BY[0]
    groups = [(group, group.sentence(shop.unit_first)) for group in groups_of(points, by)]
    named = [pair for pair in groups if pair[0].name == request.GET.get("name", "")]
    # Whoever names none sees the one that asks for attention first.
    group, said = next(iter(named or sorted(groups, key=lambda pair: not pair[1])), (None, ""))
    context = {
        "tabs": BY,
        "by": by,
        "groups": groups,
        "group": group,
        "said": said,
        "chart": residual_chart(group, shop.unit_first) if group and group.enough else "",
        "nameless": sum(not getattr(point, by) for point in points),
        "checks": len(points),
        "look": LOOK,
        "shown": SHOWN,
        "methods": repeatability(request.user.shop_id, figures_of(shop)),
        "fewest": FEWEST,
    }
    return shown(request, "plates/residuals.html", context)


@require_GET
@page
def sheet(request: PageRequest, number: int) -> HttpResponse:
    """What was built, measured and by whom. Made to be printed and signed."""
    return shown(request, "plates/build_sheet.html", {"sheet": build_sheet(match_numbered(request, number))})


@require_http_methods(["GET", "POST"])
@page
def comeback(request: PageRequest, number: int) -> HttpResponse:
    """The unit of a closed match came back: what does it read now, and what did its plates lose?"""
    found, said, again = match_numbered(request, number), "", ""
    if found.state != MatchState.CLOSED:
        raise WrongState(f"Match {number} is {found.get_state_display()}; only a closed one can come back.")
    form = ComebackForm(found, request.user.shop.unit_first, request.POST if request.method == "POST" else None)
    if form.done:
        try:
            return act(request, lambda once: _come_back(once, found, form))
        except KeyReused:
            again = SENT
        except Refusal as refusal:
            said = refusal.detail
    context = {
        "match": found,
        "last": list(found.final_checks.all())[-1],
        "form": form,
        "methods": METHODS,
        "waves": WAVE_STATES,
        "key": key_new(),
        "said": said,
        "again": again,
        "forbidden": forbidden(request.user, "matches"),
    }
    return shown(request, "plates/comeback.html", context)


def _come_back(once: Once, found: Match, form: ComebackForm) -> Answer:
    return match_comeback(
        person=once.person,
        match_id=found.pk,
        reading=form.figures(),
        worn=form.worn(),
        made_key=once.made_key,
        run=lambda effect: once.run(effect, to_match),
    )
