"""Buying at the desk: what to buy and why, and the orders."""

import re
from collections import defaultdict
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import resolve_url
from django.utils import timezone
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_POST

from plates.buying import selectors
from plates.buying.demand import WEEKS
from plates.buying.models import DUE, Order, OrderState
from plates.buying.orders import Wanted, order_cancel, order_make, order_send
from plates.buying.sizes import Size, sizes
from plates.buying.week import week
from plates.catalogue.models import BadFigures, Kind
from plates.labels.contents import Content
from plates.labels.layout import label_of
from plates.labels.sheets import SINGLES
from plates.labels.svg import label_svg
from plates.lengths import length_json
from plates.scan_codes import scan_format
from plates.tables.export import lines
from shop.errors import Malformed
from shop.forms import line_typed
from shop.once import Answer, Once
from shop.web import PageRequest, act, forbidden, key_new, page, shown

ORDER_COLUMNS = ("order", "kind", "role", "nominal_mm", "nominal_in", "quantity", "unit_cost")
#: So many plates of one kind stand on one line at most.
MOST = 100_000


@require_GET
@page
def buying(request: PageRequest) -> HttpResponse:
    """What is to buy, by supplier, each with its reasons and the quantity ready to be ordered."""
    by_supplier: dict[str, list[Size]] = defaultdict(list)
    for size in sizes(request.user.shop):
        if size.buy and size.kind:
            by_supplier[str(size.kind.supplier or "")].append(size)
    groups = [
        {"supplier": name, "sizes": some, "key": key_new(), "cost": _cost(some)}
        for name, some in sorted(by_supplier.items(), key=lambda pair: (pair[0] == "", pair[0]))
    ]
    context = {"groups": groups, "weeks": WEEKS, "forbidden": forbidden(request.user, "buying")}
    return shown(request, "plates/buying.html", context)


def _cost(some: list[Size]) -> Any:
    """What they cost, of those whose cost is known."""
    costs = [size.kind.unit_cost * size.buy for size in some if size.kind and size.kind.unit_cost is not None]
    return sum(costs) if costs else None


@require_GET
@page
def week_sheet(request: PageRequest) -> HttpResponse:
    return shown(request, "plates/week.html", {"parts": week(request.user.shop), "today": timezone.localdate()})


@require_POST
@page
def order_draft(request: PageRequest) -> HttpResponse:
    """Draft an order of the quantities in the form: ``of-`` and the code of a kind each."""

    def run(once: Once) -> Answer:
        return once.run(lambda: _draft(request, once), lambda order: _to_order(order))

    return act(request, run)


def _draft(request: PageRequest, once: Once) -> Order:
    said = {name.removeprefix("of-"): text for name, text in request.POST.items() if name.startswith("of-")}
    kinds = {kind.code: kind for kind in Kind.objects.filter(shop_id=once.person.shop_id, code__in=said)}
    wanted = []
    for code, text in said.items():
        text = str(text).strip() or "0"
        if code not in kinds or not re.fullmatch("[0-9]{1,9}", text) or int(text) > MOST:
            raise BadFigures(
                f"{text[:40]!r} of {code[:40]} cannot be ordered: give a whole number up to {MOST}, 0 for none."
            )
        if int(text):
            wanted.append(Wanted(kinds[code], int(text)))
    supplier = line_typed(request.POST, "supplier", 201)
    if not supplier or len(supplier) > 200:
        raise Malformed("Name the supplier that this order goes to, in up to 200 characters.")
    return order_make(person=once.person, supplier=supplier, lines=wanted, made_key=once.made_key)


def _to_order(order: Order) -> Answer:
    return Answer(303, {"to": resolve_url("order", order.number)})


@require_GET
@page
def orders(request: PageRequest) -> HttpResponse:
    """The newest first; what is late is marked."""
    rows = selectors.orders(request.user.shop_id).order_by("-number")
    if (state := request.GET.get("state", "")) in OrderState.values:
        rows = rows.filter(state=state)
    listed = Paginator(rows, 50).get_page(request.GET.get("page"))
    context = {"orders": listed, "state": state, "states": OrderState.choices, "today": timezone.localdate()}
    return shown(request, "plates/orders.html", context | {"due": DUE})


def order_or_404(request: PageRequest, number: int) -> Order:
    found = selectors.orders(request.user.shop_id).filter(number=number).first()
    if found is None:
        raise Http404(f"There is no order {number}.")
    return found


@require_GET
@page
def order(request: PageRequest, number: int) -> HttpResponse:
    found = order_or_404(request, number)
    context = {
        "order": found,
        "lines": list(found.lines.all()),
        "due": found.state in DUE,
        "late": found.state in DUE and found.due and found.due < timezone.localdate(),
        "aside": selectors.quarantined_of(found),
        "label": _label(found),
        "forbidden": forbidden(request.user, "buying"),
        "keys": [key_new(), key_new()],
    }
    return shown(request, "plates/order.html", context)


def _label(order: Order) -> SafeString:
    """What *Scan in* knows the order by, to be scanned off its printed page."""
    number = str(order.number)
    content = Content("Order", number, scan_format("order", number), [str(order.supplier)])
    return label_svg(label_of(content, next(iter(SINGLES.values()))))


@require_GET
@page
def order_csv(request: PageRequest, number: int) -> HttpResponse:
    """The order as a file for its supplier."""
    found = order_or_404(request, number)
    rows = []
    for line in found.lines.all():
        nominal = length_json(line.kind.nominal_nm)
        said = {"order": found.number, "kind": line.kind.code, "role": line.kind.role}
        said |= {"nominal_mm": nominal["mm"], "nominal_in": nominal["in"]}
        rows.append(said | {"quantity": line.quantity, "unit_cost": line.unit_cost})
    name = f'attachment; filename="order-{found.number}.csv"'
    return HttpResponse(
        "".join(lines(ORDER_COLUMNS, rows)),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": name},
    )


@require_POST
@page
def send(request: PageRequest, number: int) -> HttpResponse:
    found = order_or_404(request, number)
    return act(request, lambda once: once.run(lambda: order_send(person=once.person, order_id=found.pk), _to_order))


@require_POST
@page
def cancel(request: PageRequest, number: int) -> HttpResponse:
    found = order_or_404(request, number)
    return act(request, lambda once: once.run(lambda: order_cancel(person=once.person, order_id=found.pk), _to_order))
