"""The buying room over HTTP: sizes, what to buy, orders."""

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from plates.buying import orders, selectors
from plates.buying.answers import BuyAnswer, OrderAnswer, OrderReceivedAnswer, RuleAnswer, SizeAnswer
from plates.buying.bodies import OrderBody, ReceiveBody, RowQuery, RuleBody
from plates.buying.claim_models import Claim
from plates.buying.models import BuyRule, Order
from plates.buying.one_size import Size
from plates.buying.receiving import order_receive
from plates.buying.rules import rule_drop, rule_set
from plates.buying.sizes import sizes
from plates.catalogue.models import Kind, Role
from plates.catalogue.selectors import fits, kinds
from plates.catalogue.sets import pieces_of
from plates.stock.arrivals import Arrival, Judged
from plates.stock.bodies import reading_of, tags_of
from plates.stock.selectors import bins
from shop.api import Act, Collection, EmptyBody, One, Signed, by_code, by_codes
from shop.errors import Malformed

_ROW = [
    OpenApiParameter("fit", OpenApiTypes.STR, description="The code of a fit."),
    OpenApiParameter("role", OpenApiTypes.STR, enum=Role.values),
]


class Sizes(Signed):
    """The sizes of a fit and role, or of all, the thinnest first."""

    http_method_names = ["get", "head", "options"]
    serializer_class: type[SizeAnswer] = SizeAnswer
    filter_backends: list[Any] = []
    rows = staticmethod(fits)

    @extend_schema(parameters=_ROW, responses={200: SizeAnswer(many=True)})
    def get(self, request: Request) -> Response:
        query = RowQuery(data=request.query_params.dict())
        query.is_valid(raise_exception=True)
        fit, role = (query.validated_data.get(name, "") for name in ("fit", "role"))
        if fit:
            by_code(self.get_queryset(), fit, "/fit")
        page = self.paginate_queryset(self.chosen(sizes(self.person.shop, fits=[fit] if fit else [], role=role)))
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    def chosen(self, some: list[Size]) -> list[Size]:
        return some


class Buying(Sizes):
    """What is to buy now: which kind, how many, and why."""

    serializer_class = BuyAnswer

    @extend_schema(parameters=_ROW, responses={200: BuyAnswer(many=True)})
    def get(self, request: Request) -> Response:
        return super().get(request)

    def chosen(self, some: list[Size]) -> list[Size]:
        return [size for size in some if size.buy]


class Rules(Collection):
    """By what sizes are bought; POST sets the rule of a fit and role, or of one size."""

    body_class, serializer_class = RuleBody, RuleAnswer
    rows = staticmethod(selectors.rules)

    @extend_schema(request=RuleBody, responses={201: RuleAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, lambda made: self.get_serializer(made).data)

    def make(self, body: dict[str, Any]) -> BuyRule:
        fit = by_code(fits(self.shop_id), body.pop("fit"), "/fit")
        return rule_set(person=self.person, fit=fit, nominal_nm=body.pop("nominal", None), **body)


class OneRule(One):
    """One rule."""

    serializer_class = RuleAnswer
    rows = staticmethod(selectors.rules)


class DropRule(Act):
    """The rule counts no more; answers what it was."""

    body_class = EmptyBody

    @extend_schema(request=EmptyBody, responses={200: RuleAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(
            lambda _: rule_drop(person=self.person, rule_id=self.row_id()), lambda rule: RuleAnswer(rule).data
        )


def _piece(kinds_of: list[Kind], row: dict[str, Any], place: int) -> Kind:
    """The piece of a set that bears this mark. Raises Malformed."""
    marked = [kind for kind in kinds_of if kind.mark == row["mark"]]
    if len(marked) != 1:
        raise Malformed(
            f"{len(marked) or 'No'} kinds of a set {row['set']!r} bear the mark {row['mark']!r}. Give its kind.",
            [(f"/plates/{place}/mark", "not the mark of one piece")],
        )
    return marked[0]


class OrderRows(Signed):
    serializer_class = OrderAnswer
    rows = staticmethod(selectors.orders)

    def rendered(self, order: Order) -> Any:
        return OrderAnswer(self.get_queryset().get(pk=order.pk)).data

    def kinds_named(self, field: str, rows: list[dict[str, Any]]) -> dict[str, Kind]:
        """The kinds that rows of a body name, by code. Raises Malformed."""
        named = {f"/{field}/{place}/kind": row["kind"] for place, row in enumerate(rows) if "kind" in row}
        found: dict[str, Kind] = by_codes(kinds(self.shop_id), named) if named else {}
        return found


class Orders(OrderRows, Collection):
    """The orders; POST makes a draft."""

    body_class, filterset_fields = OrderBody, {"state": ["exact"]}

    @extend_schema(request=OrderBody, responses={201: OrderAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, self.rendered)

    def make(self, body: dict[str, Any]) -> Order:
        rows = body["lines"]
        found = self.kinds_named("lines", rows)
        sets = pieces_of(self.shop_id, {row["set"] for row in rows if "set" in row})
        for place, row in enumerate(rows):
            if "set" in row and row["set"] not in sets:
                raise Malformed(
                    f"No kind is of a set {row['set']!r}. Make its kinds first, each with set_of.",
                    [(f"/lines/{place}/set", "no such set")],
                )
        return orders.order_make(
            person=self.person,
            supplier=body["supplier"],
            lines=[
                orders.WantedSet(row["set"], sets[row["set"]], row["quantity"], row.get("unit_cost"))
                if "set" in row
                else orders.Wanted(found[row["kind"]], row["quantity"], row.get("unit_cost"))
                for row in rows
            ],
            due=body.get("due"),
            made_key=self.once.made_key,
        )


class OneOrder(OrderRows, One):
    """One order."""


class Send(OrderRows, Act):
    """The order went to its supplier."""

    body_class = EmptyBody

    @extend_schema(request=EmptyBody, responses={200: OrderAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(lambda _: orders.order_send(person=self.person, order_id=self.row_id()), self.rendered)


class Cancel(OrderRows, Act):
    """Nothing more of the order will come."""

    body_class = EmptyBody

    @extend_schema(request=EmptyBody, responses={200: OrderAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(lambda _: orders.order_cancel(person=self.person, order_id=self.row_id()), self.rendered)


class Receive(OrderRows, Act):
    """Plates of the order came in, each measured."""

    body_class = ReceiveBody

    @extend_schema(request=ReceiveBody, responses={200: OrderReceivedAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(self.make, self.received)

    def make(self, body: dict[str, Any]) -> tuple[Order, Judged, list[Claim]]:
        rows = body["plates"]
        found = self.kinds_named("plates", rows)
        sets = pieces_of(self.shop_id, {row["set"] for row in rows if "set" in row})
        homes = {f"/plates/{place}/bin": row["bin"] for place, row in enumerate(rows) if row.get("bin")}
        into = by_codes(bins(self.shop_id), homes) if homes else {}
        return order_receive(
            person=self.person,
            order_id=self.row_id(),
            arrivals=[
                Arrival(
                    found[row["kind"]] if "kind" in row else _piece(sets.get(row["set"], []), row, place),
                    reading_of(row["readings"]),
                    tags_of(row),
                    into[row["bin"]] if row.get("bin") else None,
                    row["confirm"],
                )
                for place, row in enumerate(rows)
            ],
            confirm=body["confirm"],
            made_key=self.once.made_key,
        )

    def received(self, made: tuple[Order, Judged, list[Claim]]) -> dict[str, Any]:
        order, judged, claims = made
        warnings = [{**said, "plate": str(place)} for place, some in judged.warnings.items() for said in some]
        return {
            **self.rendered(order),
            "plates": [plate.pk for plate in judged.plates],
            "warnings": warnings,
            "claims": [{"id": claim.pk, "plate": claim.plate_id, "why": claim.why} for claim in claims],
        }
