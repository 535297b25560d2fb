"""What is asked about the cover of a pack over HTTP."""

from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from rest_framework import serializers

from plates.bench.bodies import InstalledField
from shop.api import LENGTH_SCHEMA, Body, CodeField, LengthField


class SizesField(serializers.Field[Any, Any, Any, Any]):
    """``true`` for all that are catalogued, or a list of thicknesses. To None, or nanometres."""

    def to_internal_value(self, data: Any) -> list[int] | None:
        if isinstance(data, bool):
            return None if data else []
        if not isinstance(data, list):
            raise serializers.ValidationError("Give true, false or a list of thicknesses.")
        return serializers.ListField(child=LengthField(), max_length=200).run_validation(data)


class SizesSchema(OpenApiSerializerFieldExtension):
    target_class = SizesField

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        some = {"type": "array", "maxItems": 200, "items": LENGTH_SCHEMA}
        return {"anyOf": [{"type": "boolean"}, some], "default": False}


class CoverBody(Body):
    """A span of readings in the window's convention, both ends inclusive. Slots left out of ``installed`` stand at book
    size. ``without``: ids of plates; the answer then says what each one's leaving loses. ``sizes``: ``true``, or a list
    of thicknesses; the answer then says what one more plate of each would gain.
    """

    spec = CodeField()
    installed = serializers.DictField(child=InstalledField(), default=dict)
    to = LengthField()
    without = serializers.ListField(child=serializers.UUIDField(), max_length=1000, default=list)
    sizes = SizesField(default=list)

    def get_fields(self) -> dict[str, Any]:
        return {**super().get_fields(), "from": LengthField(zero=True)}
