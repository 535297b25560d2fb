"""What the bench reads over HTTP of a pack that came back."""

from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from rest_framework import serializers

from plates.bench.bodies import FinalBody
from plates.bench.proof.comebacks import WornSlot
from shop.api import LENGTH_SCHEMA, Body, LengthField


class SameOrEach(serializers.Field[list[int], Any, Any, Any]):
    """One length for all plates of a slot, or a list of one for each; in nanometres."""

    def to_internal_value(self, data: Any) -> list[int]:
        if isinstance(data, list):
            return serializers.ListField(child=LengthField(), min_length=1, max_length=60).run_validation(data)
        return [LengthField().run_validation(data)]


class SameOrEachSchema(OpenApiSerializerFieldExtension):
    target_class = SameOrEach

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        each = {"type": "array", "minItems": 1, "maxItems": 60, "items": LENGTH_SCHEMA}
        return {"anyOf": [LENGTH_SCHEMA, each]}


class WornBody(Body):
    """``was`` left out: as the plates went in, or at book size where nobody read them."""

    was = SameOrEach(required=False)
    now = SameOrEach()


class ComebackBody(FinalBody):
    worn = serializers.DictField(child=WornBody(), required=False)
    counted = serializers.BooleanField(default=False)


def worn_of(body: dict[str, Any]) -> dict[str, WornSlot]:
    return {name: WornSlot(one["now"], one.get("was")) for name, one in body.get("worn", {}).items()}
