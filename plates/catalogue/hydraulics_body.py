"""How a spec's hydraulics and its estimates come in and go out over HTTP."""

from collections.abc import Mapping
from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from plates.catalogue.estimates import Estimate
from plates.catalogue.hydraulics import LENGTHS, Hydraulics, Pressure, hydraulics_of
from plates.lengths import length_json
from plates.measuring.quantities import (
    DENSITY,
    FORCE,
    PRESSURE,
    RATE,
    VISCOSITY,
    VOLUME,
    WARMER,
    Quantity,
    QuantityError,
    Scale,
    quantity_parse,
)
from shop.api import Body, LengthField


class QuantityField(serializers.Field[Any, Any, Any, Any]):
    """A text with its unit, as ``"40 psi"``."""

    def __init__(self, scale: Scale, **kwargs: Any) -> None:
        self.scale = scale
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> Any:
        try:
            return quantity_parse(data if isinstance(data, str) else "", self.scale)
        except QuantityError as error:
            raise serializers.ValidationError(str(error)) from None

    def to_representation(self, value: Quantity) -> str:
        return value.text


class PrintedPressure(Body):
    """A pressure as the manual prints it in two units."""

    value, also = QuantityField(PRESSURE), QuantityField(PRESSURE, required=False)
    governs = serializers.ChoiceField(list(PRESSURE.units), required=False)


class PressureField(QuantityField):
    """A pressure as a text, or ``{"value", "also", "governs"}`` where the manual prints two units."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(PRESSURE, **kwargs)

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, Mapping):
            return Pressure(super().to_internal_value(data))
        body = PrintedPressure(data=data)
        body.is_valid(raise_exception=True)
        said = body.validated_data
        return Pressure(said["value"], said.get("also"), said.get("governs", ""))


class QuantitySchema(OpenApiSerializerFieldExtension):
    target_class = QuantityField
    match_subclasses = True

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        units = "|".join(self.target.scale.units)
        text = {"type": "string", "pattern": rf"^([0-9]{{1,9}}(\.[0-9]{{1,9}})?|\.[0-9]{{1,9}}) ?({units})$"}
        if not isinstance(self.target, PressureField):
            return text
        governs = {"type": "string", "enum": list(PRESSURE.units)}
        printed = {"value": text, "also": text, "governs": governs}
        return {"oneOf": [text, {"type": "object", "properties": printed, "required": ["value"]}]}


class HydraulicsBody(Body):
    """What the estimates need; every member may be left out, and each estimate appears when what it needs is known.

    Diameters of piston, feed orifice and rubbing faces; ``pressure``: net across the orifice; ``apply_pressure``: on
    the piston while it holds; the return spring's force at rest and rate; the drum around the steel stack, the stack's
    length, and how much warmer it runs than the bench.
    """

    piston_outer, piston_inner = LengthField(required=False), LengthField(required=False, zero=True)
    orifice = LengthField(required=False)
    pressure, apply_pressure = PressureField(required=False), PressureField(required=False)
    spring_rest, spring_rate = QuantityField(FORCE, required=False), QuantityField(RATE, required=False)
    friction = serializers.DecimalField(4, 3, min_value=0, max_value=1, required=False)
    face_outer, face_inner = LengthField(required=False), LengthField(required=False)
    discharge = serializers.DecimalField(4, 3, min_value=0, max_value=1, required=False)
    density, viscosity = QuantityField(DENSITY, required=False), QuantityField(VISCOSITY, required=False)
    drum = serializers.ChoiceField(["aluminium", "steel"], required=False)
    stack, warmer = LengthField(required=False), QuantityField(WARMER, required=False)


def hydraulics_answer(stored: dict[str, Any] | None) -> dict[str, Any] | None:
    """As it was given: lengths as every answer shows them, everything else as written."""
    if stored is None:
        return None
    known: Hydraulics = hydraulics_of(stored)
    lengths = {name: getattr(known, f"{name}_nm") for name in LENGTHS}
    shown = {name: length_json(length_nm) for name, length_nm in lengths.items() if length_nm is not None}
    return {**shown, **known.given}


class EstimateQuery(Body):
    """The clearance to look at; its standard uncertainty and the control unit's learned fill, where they are known."""

    clearance = LengthField()
    u = LengthField(required=False)
    learned = QuantityField(VOLUME, required=False)

    def validate_learned(self, learned: Quantity) -> Quantity:
        if not learned.si:
            raise serializers.ValidationError("A learned fill is above zero.")
        return learned


class ValueAnswer(serializers.Serializer[Any]):
    """A figure in both unit systems, each with its unit."""

    us, metric = serializers.CharField(), serializers.CharField()


class EstimateAnswer(serializers.Serializer[Estimate]):
    """One estimate; ``value`` is null where it is refused, and ``refused`` says why."""

    code, title = serializers.CharField(), serializers.CharField()
    value = serializers.SerializerMethodField("value_of")
    u, note, formula = serializers.CharField(), serializers.CharField(), serializers.CharField()
    assumptions = serializers.ListField(child=serializers.CharField())
    refused = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]

    @extend_schema_field(ValueAnswer(allow_null=True))
    def value_of(self, one: Estimate) -> dict[str, str] | None:
        return None if one.refused else {"us": one.us, "metric": one.metric}
