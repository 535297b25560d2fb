"""What the shelf could not answer, for the buyer."""

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.views.decorators.http import require_GET

from plates.bench import selectors
from plates.bench.short.telephone import lines_of
from shop.web import PageRequest, page, shown


@require_GET
@page
def missed(request: PageRequest) -> HttpResponse:
    """The newest first, each with the words for the telephone."""
    shop, text = request.user.shop, request.GET.get("spec", "").strip()
    rows = selectors.missed(shop.pk).order_by("-at", "-id")
    if text:
        rows = rows.filter(spec__code__iexact=text)
    listed = Paginator(rows, 50).get_page(request.GET.get("page"))
    said = [(row, lines_of(row.ranges, row.spec, shop.unit_first)) for row in listed]
    return shown(request, "plates/missed.html", {"missed": listed, "said": said, "spec": text})
