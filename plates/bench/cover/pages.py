"""The cover of a pack at the counter and at the buyer's desk."""

from typing import Any

from django.http import HttpResponse
from django.views.decorators.http import require_GET

from plates.bench.cover.ask import cover_ask
from plates.bench.cover.drawing import changes_said, cover_drawing
from plates.bench.cover.forms import CoverForm
from plates.bench.shown import limits_of
from plates.catalogue.spec_pages import spec_coded
from shop.web import PageRequest, page, shown

#: Rows of the table; who has more asks for a narrower span.
MOST_ROWS = 100


@require_GET
@page
def cover(request: PageRequest, code: str) -> HttpResponse:
    """From which readings today's shelf closes this pack, and what one more plate of each size would add."""
    spec = spec_coded(request, code)
    form = CoverForm(spec, request.GET, person=request.user)
    if not request.GET and not form.complete:
        form = CoverForm(spec, person=request.user)
    context: dict[str, Any] = {"spec": spec, "form": form}
    if form.is_valid():
        from_nm, to_nm = form.span()
        found = cover_ask(
            person=request.user, spec=spec, installed=form.installed(), from_nm=from_nm, to_nm=to_nm, sizes=None
        )
        title = f"Readings from which the shelf closes {spec.code}"
        helps = [one for one in found.gains if one.gained_nm]
        context |= {
            "found": found,
            "from_nm": from_nm,
            "to_nm": to_nm,
            "whole_nm": to_nm - from_nm + 1,
            "drawing": cover_drawing(segments=found.segments, limits=limits_of(spec), unit=spec.unit, title=title),
            "rows": [(one, changes_said(one.changes)) for one in found.segments[:MOST_ROWS]],
            "more": len(found.segments) - MOST_ROWS,
            "gains": helps,
            "useless": len(found.gains) - len(helps),
        }
    return shown(request, "plates/cover.html", context)
