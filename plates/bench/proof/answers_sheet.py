"""How the API shows a build sheet."""

from typing import Any

from rest_framework import serializers

from plates.bench.answers import match_json, odd_json
from plates.bench.models import FinalCheck, Match
from plates.bench.proof.build_sheet import BuildSheet, Measured
from plates.lengths import half_even, length_json
from shop.api import LengthField

#: What a sheet says in the words of the match.
OF_MATCH = (
    "number", "state", "job", "spec", "revision", "measures", "window", "slip", "outs", "cautions", "overrides",
    "comeback_of",
)  # fmt: skip


def _measured(one: Measured | None) -> dict[str, Any] | None:
    if one is None:
        return None
    names = ("person", "terminal", "method", "gauge", "soaked", "readings")
    return {
        "at": one.at.isoformat(),
        **{name: getattr(one, name) for name in names},
        "as_read": length_json(one.as_read_nm),
        "clearance": length_json(one.clearance_nm),
    }


def _earlier(check: FinalCheck) -> dict[str, Any]:
    return {
        "at": check.at.isoformat(),
        "person": check.person.username,
        "terminal": check.terminal.code if check.terminal else None,
        "predicted": length_json(check.predicted_nm),
        "measured": length_json(check.clearance_nm),
        "residual": length_json(check.residual_nm),
    }


def sheet_json(sheet: BuildSheet) -> dict[str, Any]:
    """The sheet as the page has it."""
    match: Match = sheet.match
    whole = match_json(match)
    return {
        **{name: whole[name] for name in OF_MATCH},
        "title": match.spec.title,
        "taken_by": match.taken_by.username if match.taken_by else None,
        "taken_terminal": match.taken_terminal.code if match.taken_terminal else None,
        "taken_at": match.taken_at.isoformat() if match.taken_at else None,
        "stack": [
            {
                "slot": layer.slot,
                "role": layer.role,
                "place": layer.place,
                "thickness": None if layer.thickness_nm is None else length_json(layer.thickness_nm),
                "new": layer.new,
                "kind": layer.kind or None,
                "bin": layer.bin or None,
                "origin": layer.origin,
            }
            for layer in sheet.stack
        ],
        "odd": [odd_json(one) for one in sheet.odd],
        "before": _measured(sheet.before),
        "predicted": length_json(sheet.built["predicted_nm"]),
        "u": length_json(half_even(sheet.built["u_nm"])),
        "probability": sheet.built["probability"],
        "after": _measured(sheet.after),
        "residual": None if sheet.residual_nm is None else length_json(sheet.residual_nm),
        "earlier": [_earlier(check) for check in sheet.earlier],
        "usual": sheet.usual,
    }


class SheetAnswer(serializers.Serializer[BuildSheet]):
    """Answers with :func:`sheet_json`. ``stack`` stands from the base up, ``new`` marks what came in."""

    number, revision = serializers.IntegerField(), serializers.IntegerField()
    spec, title = serializers.CharField(), serializers.CharField()
    state = serializers.ChoiceField(["taken", "closed"])
    job = serializers.CharField(allow_null=True)
    measures = serializers.CharField()
    window, before = serializers.DictField(), serializers.DictField()
    stack, odd, slip, outs, cautions, earlier, overrides = (
        serializers.ListField(child=serializers.DictField()) for _ in range(7)
    )
    predicted, u = LengthField(), LengthField()
    probability = serializers.FloatField()
    after = serializers.DictField(allow_null=True)
    residual = LengthField(allow_null=True)
    comeback_of = serializers.IntegerField(allow_null=True)
    taken_by, taken_at = serializers.CharField(allow_null=True), serializers.DateTimeField(allow_null=True)
    taken_terminal = serializers.CharField(allow_null=True)
    usual = serializers.ListField(child=serializers.CharField())

    def to_representation(self, instance: BuildSheet) -> dict[str, Any]:
        return sheet_json(instance)
