"""What the bench reads over HTTP, and the question that it makes."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from rest_framework import serializers

from plates.bench.overrides import NEVER, Override
from plates.bench.question import Entry, Loose, PackReading, Question, SecondReading
from plates.bench.room import BadRoom
from plates.catalogue.models import Role
from plates.catalogue.spec_models import LIFTABLE, WAVE_STATES, Slot, Spec
from plates.lengths import mean_nm
from plates.measuring.uncertainty import METHODS
from shop.api import LENGTH_SCHEMA, Body, CodeField, LengthField, readings_field
from shop.errors import Malformed


class EntryField(serializers.Field[Entry, Any, Any, Any]):
    """A length, or an object with thickness, must_go, cone, hot_spot."""

    def to_internal_value(self, data: Any) -> Entry:
        if isinstance(data, dict):
            body = EntryBody(data=data)
            body.is_valid(raise_exception=True)
            found = body.validated_data
            return Entry(
                thickness_nm=found["thickness"],
                must_go=found["must_go"],
                cone_nm=found.get("cone"),
                hot_spot=found["hot_spot"],
                gauge=found["gauge"],
            )
        return Entry(LengthField().run_validation(data))


class EntryBody(Body):
    thickness = LengthField()
    must_go = serializers.BooleanField(default=False)
    cone = LengthField(required=False, zero=True)
    hot_spot = serializers.BooleanField(default=False)
    gauge = serializers.CharField(max_length=200, allow_blank=True, default="")


class NominalBody(Body):
    nominal = serializers.BooleanField()


class InstalledField(serializers.Field[Any, Any, Any, Any]):
    """What is in one slot: a list of its entries, or ``{"nominal": true}``."""

    def to_internal_value(self, data: Any) -> list[Entry] | None:
        if isinstance(data, dict):
            body = NominalBody(data=data)
            body.is_valid(raise_exception=True)
            if not body.validated_data["nominal"]:
                raise serializers.ValidationError({"nominal": ["is true, or else list the plates"]})
            return None
        return serializers.ListField(child=EntryField(), max_length=60).run_validation(data)


_ENTRY_SCHEMA: dict[str, Any] = {
    "anyOf": [
        LENGTH_SCHEMA,
        {
            "type": "object",
            "properties": {
                "thickness": LENGTH_SCHEMA,
                "must_go": {"type": "boolean", "default": False},
                "cone": LENGTH_SCHEMA,
                "hot_spot": {"type": "boolean", "default": False},
                "gauge": {"type": "string", "maxLength": 200, "default": ""},
            },
            "required": ["thickness"],
            "additionalProperties": False,
        },
    ]
}


class InstalledSchema(OpenApiSerializerFieldExtension):
    target_class = InstalledField

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        at_book = {"type": "object", "properties": {"nominal": {"const": True}}, "required": ["nominal"]}
        return {"anyOf": [{"type": "array", "maxItems": 60, "items": _ENTRY_SCHEMA}, at_book]}


class LooseBody(Body):
    readings = readings_field(required=False)
    thickness = LengthField(required=False)
    count = serializers.IntegerField(min_value=1, max_value=100, default=1)
    source = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")  # type: ignore[assignment]
    gauge = serializers.CharField(max_length=200, allow_blank=True, default="")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("readings" in attrs) == ("thickness" in attrs):
            raise serializers.ValidationError({"thickness": ["give either readings or thickness"]})
        return attrs


class SecondBody(Body):
    """The same pack read once more, by another person or with another gauge."""

    readings = readings_field()
    person = serializers.CharField(max_length=150, required=False, allow_blank=True, default="")
    method = serializers.ChoiceField(METHODS, required=False, default="")
    gauge = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class OverrideBody(Body):
    """A rule of the spec lifted for this pack, and why: the owner signs it."""

    rule = serializers.ChoiceField([*LIFTABLE, *NEVER], help_text="wave and frictions are never lifted")
    reason = serializers.CharField(max_length=300)


class MatchBody(Body):
    spec = CodeField()
    readings = readings_field()
    method = serializers.ChoiceField(METHODS)
    installed = serializers.DictField(child=InstalledField())
    bench = serializers.DictField(child=LooseBody(many=True, max_length=60), required=False)  # type: ignore[call-arg]
    room = serializers.BooleanField(default=False, help_text="the readings are the room of the empty drum")
    left_out = serializers.ListField(child=serializers.CharField(max_length=60), required=False, max_length=40)
    job = serializers.CharField(max_length=60, required=False)
    gauge = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")
    plates_gauge = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")
    soaked = serializers.BooleanField(default=False)
    load = serializers.CharField(max_length=100, required=False, allow_blank=True, default="")
    second = SecondBody(required=False)
    counted = serializers.BooleanField(default=False)
    take = serializers.BooleanField(default=False)
    accept_marginal = serializers.BooleanField(default=False)
    max_changes = serializers.IntegerField(min_value=0, max_value=100, required=False, allow_null=True)
    used_ok = serializers.BooleanField(required=False, allow_null=True, default=None)
    open_boxes = serializers.BooleanField(default=False)
    wave_state = serializers.ChoiceField(WAVE_STATES, required=False)
    wave_free = LengthField(required=False)
    set_only = serializers.BooleanField(default=False, help_text="this used pack stays together")
    overrides = OverrideBody(many=True, required=False, max_length=20)  # type: ignore[call-arg]


class OptionBody(Body):
    option = serializers.IntegerField(min_value=1, max_value=1_000_000)
    counted = serializers.BooleanField(default=False)


class FinalBody(Body):
    readings = readings_field()
    method = serializers.ChoiceField(METHODS)
    gauge = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")
    soaked = serializers.BooleanField(default=False)
    wave_state = serializers.ChoiceField(WAVE_STATES, required=False)


def reading_of(body: dict[str, Any]) -> PackReading:
    """The body of a final check as a reading of the pack."""
    return PackReading(
        method=body["method"],
        texts=[typed for typed, _ in body["readings"]],
        readings_nm=[length_nm for _, length_nm in body["readings"]],
        gauge=body["gauge"],
        soaked=body["soaked"],
        wave_state=body.get("wave_state"),
    )


def overrides_of(body: dict[str, Any]) -> list[Override]:
    return [Override(one["rule"], one["reason"]) for one in body.get("overrides", [])]


def question_of(body: dict[str, Any], spec: Spec) -> Question:
    """The body as a question; raises Malformed with a pointer where it does not go with the spec."""
    left_out = list(dict.fromkeys(body.get("left_out", [])))
    for row, name in enumerate(left_out):
        slot = _slot_of(spec, name, f"/left_out/{row}")
        if body["room"] and slot.role == Role.WAVE:
            raise BadRoom("A wave plate is never left out.", [(f"/left_out/{row}", "a wave plate stays")])
        if not slot.swap:
            raise Malformed(
                f"Slot {name!r} is not one that is chosen to measure.", [(f"/left_out/{row}", "not a swap slot")]
            )
        if name in body["installed"]:
            raise Malformed(
                f"Slot {name!r} is left out, so nothing is installed in it.", [(f"/installed/{name}", "left out")]
            )
    bench = {}
    for name, rows in body.get("bench", {}).items():
        _slot_of(spec, name, f"/bench/{name}")
        bench[name] = [
            Loose(
                row["thickness"] if "thickness" in row else mean_nm(nm for _, nm in row["readings"]),
                row["count"],
                row["source"],
                row["gauge"] or body["plates_gauge"],
            )
            for row in rows
        ]
    pairs = body["readings"]
    return Question(
        method=body["method"],
        texts=[typed for typed, _ in pairs],
        readings_nm=[length_nm for _, length_nm in pairs],
        installed=installed_of(body["installed"], spec, body["plates_gauge"]),
        bench=bench,
        left_out=left_out,
        room=body["room"],
        max_changes=body.get("max_changes"),
        used_ok=body["used_ok"],
        open_boxes=body["open_boxes"],
        wave_state=body.get("wave_state", ""),
        wave_free_nm=body.get("wave_free"),
        gauge=body["gauge"],
        soaked=body["soaked"],
        load=body["load"],
        second=_second(body["second"]) if body.get("second") else None,
        set_only=body["set_only"],
    )


def _second(body: dict[str, Any]) -> SecondReading:
    pairs = body["readings"]
    return SecondReading(
        [typed for typed, _ in pairs], [nm for _, nm in pairs], body["person"], body["method"], body["gauge"]
    )


def _slot_of(spec: Spec, name: str, pointer: str) -> Slot:
    slots = {slot.name: slot for slot in spec.slots.all()}
    if name not in slots:
        raise Malformed(
            f"Spec {spec.code} has no slot {name!r}; it has {', '.join(slots)}.",
            [(pointer, "name a slot of the spec")],
        )
    return slots[name]


def installed_of(given: Mapping[str, list[Entry] | None], spec: Spec, gauge: str = "") -> dict[str, list[Entry]]:
    """What lies in each slot that is named. Raises Malformed where it does not go with the spec."""
    slots = {name: _slot_of(spec, name, f"/installed/{name}") for name in given}
    return {name: entries_of(slots[name], entries, gauge) for name, entries in given.items()}


def entries_of(slot: Slot, entries: list[Entry] | None, gauge: str = "") -> list[Entry]:
    """The entries of one slot, None for its book size. Raises Malformed where it has none, or counts other than given.
    """
    pointer = f"/installed/{slot.name}"
    if entries is None:
        if slot.nominal_nm is None:
            raise Malformed(f"Slot {slot.name!r} has no book size: read its plates.", [(pointer, "list the plates")])
        return [Entry(slot.nominal_nm, at_book=True)] * slot.count
    if len(entries) != slot.count:
        raise Malformed(
            f"Slot {slot.name!r} counts {slot.count}, and {len(entries)} are given.",
            [(pointer, f"list {slot.count} plates")],
        )
    return [replace(entry, gauge=entry.gauge or gauge) for entry in entries]
