"""Pack specs at the counter: the list of those that stand, and one with its stack, its window and its revisions."""

from dataclasses import dataclass
from itertools import pairwise

from django.core.paginator import Paginator
from django.db.models import Count
from django.http import Http404, HttpResponse
from django.views.decorators.http import require_GET

from plates.bench import shown as views
from plates.bench.models import Match, MatchState
from plates.catalogue.changes import Change, changes
from plates.catalogue.selectors import spec_counted, specs_all, specs_found
from plates.catalogue.spec_models import LIFTABLE, Spec
from shop.web import PageRequest, page, shown


@dataclass(frozen=True)
class Replaced:
    """An earlier revision, what replaced it and what that changed; ``built``: how many packs had plates taken by it."""

    spec: Spec
    by: Spec
    changes: list[Change]
    built: int


def _replaced(revisions: list[Spec]) -> list[Replaced]:
    """All but the last, the latest first; one query, none where there is but one."""
    pairs = list(pairwise(revisions))
    if not pairs:
        return []
    taken = Match.objects.filter(
        shop_id=revisions[0].shop_id,
        spec__in=[was.pk for was, _ in pairs],
        state__in=(MatchState.TAKEN, MatchState.CLOSED),
    )
    built = dict(taken.order_by().values_list("spec").annotate(Count("pk")))
    return [Replaced(was, now, changes(was, now), built.get(was.pk, 0)) for was, now in reversed(pairs)]


@require_GET
@page
def spec(request: PageRequest, code: str) -> HttpResponse:
    """As it stands, or in the revision asked for."""
    revisions = list(specs_all(request.user.shop_id).filter(code=code).order_by("revision"))
    asked = request.GET.get("revision", "")
    wanted = [one for one in revisions if asked in ("", str(one.revision))]
    if not wanted:
        raise Http404(f"No pack spec has the code {code!r}{' and this revision' if asked else ''}.")
    found = wanted[-1]
    context = {
        "spec": found,
        "counted": spec_counted(found),
        "drawing": views.stack_of_spec(found) if any(slot.count for slot in found.slots.all()) else "",
        "lifts": [LIFTABLE[rule] for rule in found.liftable],
        "earlier": [] if found.replaced_by else _replaced(revisions),
    }
    return shown(request, "plates/spec.html", context)


@require_GET
@page
def spec_list(request: PageRequest) -> HttpResponse:
    text = request.GET.get("find", "")
    rows = Paginator(specs_found(request.user.shop_id, text), 100).get_page(request.GET.get("page"))
    return shown(request, "plates/specs.html", {"specs": rows, "find": text})
