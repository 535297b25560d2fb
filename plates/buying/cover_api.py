"""Buying for cover over HTTP."""

from collections.abc import Mapping
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from plates.buying.cover import PERIOD_WEEKS, TARGET, cover_plan
from shop.api import Signed
from shop.texts import NOT_PLAIN, plain_number


class CoverQuery(serializers.Serializer[Any]):
    """What an address says: how long the shelf has to last, in weeks; the share of packs to close; what may be spent;
    whether packs are assumed of specs that were hardly asked. A blank one is not said.
    """

    weeks = serializers.FloatField(min_value=0.5, max_value=26, default=PERIOD_WEEKS)
    target = serializers.FloatField(min_value=0, max_value=1, default=TARGET)
    budget = serializers.DecimalField(12, 4, min_value=0, default=None, allow_null=True)
    assume = serializers.BooleanField(default=True)

    def to_internal_value(self, data: Mapping[str, str]) -> Any:
        said = {name: text for name, text in data.items() if text.strip()}
        known = ", ".join(self.fields)
        wrong = {name: [f"not known here; known are {known}"] for name in data if name not in self.fields}
        # Python would take "nan" for a number, and the digits of any script.
        figures = said.keys() & {"weeks", "target", "budget"}
        wrong |= {name: [NOT_PLAIN] for name in figures if not plain_number(said[name])}
        if wrong:
            raise serializers.ValidationError(wrong)
        return super().to_internal_value(said)


class BuyForCover(serializers.Serializer[Any]):
    """One purchase; ``closes`` packs more, ``closed`` with it and all before it."""

    kind = serializers.CharField(source="kind.code")
    quantity = serializers.IntegerField(source="count")
    cost = serializers.DecimalField(14, 4, allow_null=True)
    closes, closed = serializers.IntegerField(), serializers.IntegerField()


class IdleAnswer(serializers.Serializer[Any]):
    """Of ``of`` plates of a kind in a bin, ``count`` that none of the packs took."""

    kind, bin = serializers.CharField(), serializers.CharField(allow_null=True)
    count, of = serializers.IntegerField(), serializers.IntegerField()
    worth = serializers.DecimalField(14, 4, allow_null=True)


class BySizesAnswer(serializers.Serializer[Any]):
    plates, closed = serializers.IntegerField(), serializers.IntegerField()
    cost = serializers.DecimalField(14, 4)


class CoverPlanAnswer(serializers.Serializer[Any]):
    """Of ``packs`` that needed plates today's shelf closes ``closed``, each by itself ``alone``, with ``buys``
    ``closed_then``. ``idle``: what could go without a pack less.
    """

    weeks = serializers.FloatField()
    packs, assumed, alone, closed, closed_then = (serializers.IntegerField() for _ in range(5))
    buys = BuyForCover(many=True)
    cost = serializers.DecimalField(14, 4)
    by_sizes, idle = BySizesAnswer(), IdleAnswer(many=True)
    unpriced = serializers.ListField(child=serializers.CharField())


class BuyingForCover(Signed):
    """The packs of the last year over today's shelf, and what to buy so that the most more close. Takes seconds."""

    http_method_names = ["get", "head", "options"]
    serializer_class = CoverPlanAnswer
    pagination_class = None
    filter_backends: list[Any] = []

    @extend_schema(
        parameters=[
            OpenApiParameter("weeks", OpenApiTypes.FLOAT, description="How long the shelf has to last."),
            OpenApiParameter("target", OpenApiTypes.FLOAT, description="Share of the packs to close, 0 to 1."),
            OpenApiParameter("budget", OpenApiTypes.DECIMAL),
            OpenApiParameter("assume", OpenApiTypes.BOOL, description="Packs of specs that were hardly asked."),
        ],
        responses={200: CoverPlanAnswer},
    )
    def get(self, request: Request) -> Response:
        query = CoverQuery(data=request.query_params.dict())
        query.is_valid(raise_exception=True)
        return Response(CoverPlanAnswer(cover_plan(shop=self.person.shop, **query.validated_data)).data)
