"""What the buying room reads over HTTP."""

from typing import Any

from rest_framework import serializers

from plates.buying.models import Method
from plates.catalogue.models import Role
from plates.stock.bodies import TagsBody
from shop.api import Body, CodeField, LengthField, readings_field


class RowQuery(Body):
    """Which sizes an address asks for; a blank one is not said."""

    fit = CodeField(required=False, allow_blank=True)
    role = serializers.ChoiceField(Role.choices, required=False, allow_blank=True)
    page, page_size = (serializers.CharField(required=False, allow_blank=True) for _ in range(2))


class PieceOrSet(Body):
    """Names a kind, or a set."""

    kind = CodeField(required=False)
    set = serializers.CharField(max_length=200, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("kind" in attrs) == ("set" in attrs):
            raise serializers.ValidationError({"kind": ["give either kind or set"]})
        return attrs


class OrderLineBody(PieceOrSet):
    """So many plates of a kind, or so many sets; a cost is of one plate, or of one set."""

    quantity = serializers.IntegerField(min_value=1, max_value=1_000_000)
    unit_cost = serializers.DecimalField(12, 4, min_value=0, required=False)


class OrderBody(Body):
    supplier = serializers.CharField(max_length=200)
    lines = serializers.ListField(child=OrderLineBody(), min_length=1, max_length=500)
    due = serializers.DateField(required=False)


class CameBody(PieceOrSet, TagsBody):
    """One plate of a delivery; a piece of a set may be named by the set and its mark."""

    readings = readings_field()

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "set" in attrs and not attrs.get("mark"):
            raise serializers.ValidationError({"mark": ["say which piece of the set it is, or give its kind"]})
        return super().validate(attrs)


class ReceiveBody(Body):
    plates = serializers.ListField(child=CameBody(), min_length=1, max_length=1_000)
    confirm = serializers.BooleanField(default=False)


def weeks(most: float) -> serializers.FloatField:
    return serializers.FloatField(min_value=0, max_value=most, required=False)


class RuleBody(Body):
    """How a fit and role is bought, or one size of it; what is left out is as a shop begins with."""

    fit = CodeField()
    role = serializers.ChoiceField(Role.choices)
    nominal = LengthField(required=False)
    method = serializers.ChoiceField(Method.choices, required=False)
    service = serializers.FloatField(min_value=0.5, max_value=0.9999, required=False)
    lead_weeks, lead_sd_weeks, safety_weeks, review_weeks = weeks(104), weeks(52), weeks(104), weeks(52)
    fill_to = serializers.IntegerField(min_value=0, max_value=100_000, required=False)
    fill_weeks = weeks(104)
    least = serializers.IntegerField(min_value=0, max_value=100_000, required=False)
    order_cost = serializers.DecimalField(12, 4, min_value=0, required=False)
    holding_share = serializers.FloatField(min_value=0.001, max_value=10, required=False)
