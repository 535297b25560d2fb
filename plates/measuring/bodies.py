"""What the measuring room reads over HTTP."""

from typing import Any

from rest_framework import serializers

from plates.measuring.models import GaugeType
from shop.api import Body, CodeField, LengthField, TypedLengthField, readings_field, text_field


class GaugeBody(Body):
    code = CodeField()
    type = serializers.ChoiceField(GaugeType.choices)
    resolution = LengthField(required=False)
    limit = LengthField(required=False)
    interval_days = serializers.IntegerField(min_value=0, max_value=36_500, required=False)
    note = text_field()


class CheckBody(Body):
    standard = LengthField()
    readings = readings_field()
    then = serializers.ChoiceField(["", "zeroed", "in_force"], default="")
    confirm = serializers.BooleanField(default=False)


class WithdrawBody(Body):
    reason = serializers.CharField(max_length=500)


class ReturnBody(Body):
    pass


def _names() -> serializers.ListField:
    return serializers.ListField(child=serializers.CharField(max_length=60), max_length=20)


def _rows(child: serializers.Field[Any, Any, Any, Any], most: int) -> serializers.ListField:
    return serializers.ListField(child=child, min_length=1, max_length=most)


class StudyBody(Body):
    gauge = CodeField()
    people, plates = _names(), _names()
    readings = _rows(_rows(_rows(TypedLengthField(), 20), 6), 6)
