"""What the stock room reads over HTTP."""

from typing import Any

from rest_framework import serializers

from plates.catalogue.models import Role
from plates.stock.findings import Findings, Reading, Tags
from plates.stock.hand_outs import MOST_AT_ONCE
from plates.stock.models import Condition, Reason
from shop.api import Body, CodeField, LengthField, readings_field, text_field


def reading_of(pairs: list[tuple[str, int]]) -> Reading:
    return Reading([typed for typed, _ in pairs], [length_nm for _, length_nm in pairs])


class BinBody(Body):
    code, fit = CodeField(), CodeField()
    role = serializers.ChoiceField(Role.choices)

    def get_fields(self) -> dict[str, serializers.Field]:
        return {**super().get_fields(), "from": LengthField(zero=True), "to": LengthField()}


class FindingsBody(Body):
    """What a person sees on a plate beside its thickness, and who agreed to it; none of it has to be said."""

    cone, warp = LengthField(zero=True, required=False), LengthField(zero=True, required=False)
    hot_spot = serializers.BooleanField(required=False)
    agreed_by = text_field()


class TagsBody(FindingsBody):
    """What every way of booking plates may say of them."""

    condition = serializers.ChoiceField(Condition.choices, required=False)
    bin = CodeField(required=False, allow_null=True)
    gauge, owner, box, mark = text_field(), text_field(), text_field(), text_field()
    source = text_field()  # type: ignore[assignment]
    confirm = serializers.BooleanField(default=False)


class KindChoice(TagsBody):
    kind = CodeField(required=False)
    scan_code = serializers.CharField(max_length=200, required=False)
    transfer = serializers.UUIDField(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("kind" in attrs) == ("scan_code" in attrs):
            raise serializers.ValidationError({"kind": ["give either kind or scan_code"]})
        return attrs


class PlateBody(KindChoice):
    readings = readings_field()


class LotBody(KindChoice):
    count = serializers.IntegerField(min_value=1, max_value=2_000)
    readings = serializers.ListField(child=readings_field(), min_length=1, max_length=2_000)


class PutBackBody(FindingsBody):
    readings = readings_field()
    bin = CodeField(required=False, allow_null=True)
    condition = serializers.ChoiceField(Condition.choices, required=False)
    gauge = text_field()
    confirm = serializers.BooleanField(default=False)


class ReworkBody(FindingsBody):
    readings = readings_field()
    reason = serializers.CharField(max_length=500, default="reworked")
    kind = CodeField(required=False)
    bin = CodeField(required=False, allow_null=True)
    gauge = text_field()
    confirm = serializers.BooleanField(default=False)


class ScrapBody(Body):
    reason = serializers.CharField(max_length=500)


class BinCountBody(Body):
    bin = CodeField()
    count = serializers.IntegerField(min_value=1, max_value=MOST_AT_ONCE)


class HandOutBody(Body):
    """What leaves together: these plates, or so many of a bin, or of several."""

    plates = serializers.ListField(child=serializers.UUIDField(), required=False, min_length=1, max_length=MOST_AT_ONCE)
    bins = serializers.ListField(child=BinCountBody(), required=False, min_length=1, max_length=100)
    bin = CodeField(required=False)
    count = serializers.IntegerField(min_value=1, max_value=MOST_AT_ONCE, required=False)
    reason = serializers.ChoiceField(Reason.choices)
    to = text_field()
    due = serializers.DateField(required=False)
    price = serializers.DecimalField(12, 2, min_value=0, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if sum(name in attrs for name in ("plates", "bin", "bins")) != 1:
            raise serializers.ValidationError({"plates": ["give either plates, or a bin and a count, or bins"]})
        if ("bin" in attrs) != ("count" in attrs):
            raise serializers.ValidationError({"count": ["a bin and a count go together"]})
        return attrs


def tags_of(body: dict[str, Any]) -> Tags:
    names = ("condition", "source", "owner", "box", "mark", "gauge", "transfer")
    return Tags(**{name: body[name] for name in names if name in body}, findings=findings_of(body))


def findings_of(body: dict[str, Any]) -> Findings:
    return Findings(body.get("cone"), body.get("warp"), body.get("hot_spot"), body.get("agreed_by", ""))
