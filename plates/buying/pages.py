"""Buying at the desk: what to buy and why, and the orders."""

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import resolve_url
from django.utils import timezone
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_POST

from plates.buying import selectors
from plates.buying.claim_models import ClaimState
from plates.buying.demand import WEEKS
from plates.buying.models import DUE, Order, OrderLine, OrderSet, OrderState
from plates.buying.one_size import Size
from plates.buying.orders import Wanted, WantedSet, order_cancel, order_make, order_send
from plates.buying.sizes import sizes
from plates.buying.week import week
from plates.catalogue.models import BadFigures, Kind
from plates.catalogue.sets import pieces_of
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
    to_buy = [size for size in sizes(request.user.shop) if size.buy and size.kind]
    groups = by_supplier(to_buy, lambda size: size.kind)
    for group in groups:
        some = group["lines"]
        group["cost"] = _cost(some)
        group["sets"] = sorted({size.kind.set_of for size in some if size.kind and size.kind.set_of})
    context = {"groups": groups, "weeks": WEEKS, "forbidden": forbidden(request.user, "buying")}
    return shown(request, "plates/buying.html", context)


def by_supplier(lines: Iterable[Any], kind_of: Callable[[Any], Kind]) -> list[dict[str, Any]]:
    """What is to be ordered, a form for each supplier by name, what has none last."""
    found: dict[str, list[Any]] = defaultdict(list)
    for line in lines:
        found[str(kind_of(line).supplier or "")].append(line)
    rows = sorted(found.items(), key=lambda pair: (pair[0] == "", pair[0]))
    return [{"supplier": name, "lines": some, "key": key_new()} for name, some in rows]


def _cost(some: list[Size]) -> Any:
    """What they cost, of those whose cost is known."""
    costs = [size.unit_cost * size.buy for size in some if size.unit_cost is not None]
    return sum(costs) if costs else None


@require_GET
@page
def week_sheet(request: PageRequest) -> HttpResponse:
    return shown(request, "plates/week.html", {"parts": week(request.user.shop), "today": timezone.localdate()})


@require_POST
@page
def order_draft(request: PageRequest) -> HttpResponse:
    """Draft an order of the quantities in the form: of kinds as ``of-CODE``, of sets as ``set-CODE``, a set's cost as
    ``cost-CODE``.
    """

    def run(once: Once) -> Answer:
        return once.run(lambda: _draft(request, once), lambda order: _to_order(order))

    return act(request, run)


def _draft(request: PageRequest, once: Once) -> Order:
    of, of_set = (_quantities(request, prefix) for prefix in ("of-", "set-"))
    rows = Kind.objects.filter(shop_id=once.person.shop_id, code__in=of).prefetch_related("price_breaks")
    kinds = {kind.code: kind for kind in rows}
    sets = pieces_of(once.person.shop_id, of_set)
    if unknown := [code for code in of if code not in kinds] + [code for code in of_set if code not in sets]:
        raise BadFigures(f"{unknown[0][:40]} cannot be ordered: nothing is called so. Look in the list of kinds.")
    wanted: list[Wanted | WantedSet] = [Wanted(kinds[code], count) for code, count in of.items() if count]
    wanted += [WantedSet(code, sets[code], count, _cost_of(request, code)) for code, count in of_set.items() if count]
    supplier = line_typed(request.POST, "supplier", 201)
    if not supplier or len(supplier) > 200:
        raise Malformed("Name the supplier that this order goes to, in up to 200 characters.")
    return order_make(person=once.person, supplier=supplier, lines=wanted, made_key=once.made_key)


def _quantities(request: PageRequest, prefix: str) -> dict[str, int]:
    """How many are wanted, by what stands behind the prefix; 0 where nothing was typed. Raises BadFigures."""
    found = {}
    for name, text in request.POST.items():
        if name.startswith(prefix):
            code, text = name.removeprefix(prefix), str(text).strip() or "0"
            if not re.fullmatch("[0-9]{1,9}", text) or int(text) > MOST:
                raise BadFigures(
                    f"{text[:40]!r} of {code[:40]} cannot be ordered: give a whole number up to {MOST}, 0 for none."
                )
            found[code] = int(text)
    return found


def _cost_of(request: PageRequest, code: str) -> Decimal | None:
    """What was typed as the cost of one set. Raises BadFigures."""
    text = str(request.POST.get(f"cost-{code}", "")).strip()
    if text and not re.fullmatch(r"[0-9]{1,7}(\.[0-9]{1,4})?", text):
        raise BadFigures(f"{text[:40]!r} is no cost of a set {code[:40]}: give it as 35.00.")
    return Decimal(text) if text else None


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
    open_claims = selectors.claims(request.user.shop_id).filter(state=ClaimState.OPEN).count()
    return shown(request, "plates/orders.html", context | {"due": DUE, "open_claims": open_claims})


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
        "lines": found.ordered,
        "due": found.state in DUE,
        "late": found.state in DUE and found.due and found.due < timezone.localdate(),
        "claims": selectors.claims(found.shop_id).filter(plate__order_line__order=found),
        "aside": selectors.unclaimed(found),
        "label": _label(found),
        "forbidden": forbidden(request.user, "buying"),
        "keys": [key_new(), key_new(), key_new()],
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
    """The order as a file for its supplier: a set is one row, as it is bought."""
    found = order_or_404(request, number)
    rows = (
        {"order": found.number, **_named(line), "quantity": line.quantity, "unit_cost": line.unit_cost}
        for line in found.ordered
    )
    return csv_of(f"order-{found.number}.csv", ORDER_COLUMNS, rows)


def _named(line: OrderLine | OrderSet) -> dict[str, Any]:
    if isinstance(line, OrderSet):
        return {"kind": line.code, "role": f"set of {len(line.pieces.all())}", "nominal_mm": "", "nominal_in": ""}
    nominal = length_json(line.kind.nominal_nm)
    said = {"kind": line.kind.code, "role": line.kind.role}
    return said | {"nominal_mm": nominal["mm"], "nominal_in": nominal["in"]}


def csv_of(name: str, columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> HttpResponse:
    """A file to keep."""
    return csv_file(name, lines(columns, rows))


def csv_file(name: str, of: Iterable[str]) -> HttpResponse:
    """These lines as a file to keep."""
    return HttpResponse(
        "".join(of),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
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
