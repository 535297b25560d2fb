"""What final checks teach, at the counter: residual charts."""

from django.http import HttpResponse
from django.views.decorators.http import require_GET

from plates.bench.charts import residual_chart
from plates.bench.repeatability import FEWEST, repeatability
from plates.bench.residuals import BY, LOOK, SHOWN, groups_of, points_of
from shop.web import PageRequest, page, shown


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
        "methods": repeatability(request.user.shop_id),
        "fewest": FEWEST,
    }
    return shown(request, "plates/residuals.html", context)
