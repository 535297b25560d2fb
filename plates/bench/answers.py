"""The one form in which the API shows a match."""

from typing import Any

from rest_framework import serializers

from plates.bench.budget import budget_of
from plates.bench.models import Match, MatchState
from plates.bench.odd import odd_ones
from plates.bench.overrides import overrides_shown
from plates.bench.proof.answers import comeback_json
from plates.bench.reading import band_of
from plates.bench.slip.answers import offered, outs_json, pulled_json
from plates.catalogue.spec_models import MEASURES
from plates.catalogue.windows import counted_frictions
from plates.lengths import half_even, length_json
from plates.measuring.uncertainty import Part
from shop.api import LengthField


def slip_row(row: dict[str, Any], places: dict[str, str]) -> dict[str, Any]:
    """``places``: where an odd one goes, of each slot that holds clearly different plates. ``out_of``: the match, its
    option and the place among that option's outs, of a plate out of another pack.
    """
    out_of = row.get("out_of")
    return {
        "plate": row["plate"],
        "kind": row["kind"],
        "bin": row["bin"],
        "thickness": length_json(row["thickness_nm"]),
        "slot": row["slot"],
        "place": places.get(row["slot"]),
        "source": row["source"],
        "out_of": out_of and {name: out_of[name] for name in ("match", "number", "option", "row")},
    }


def part_json(part: Part) -> dict[str, Any]:
    return {
        "name": part.name,
        "u": length_json(half_even(part.u_nm)),
        "distribution": part.distribution,
        "times": part.times,
        "shared": part.shared or None,
        "contribution": length_json(half_even(part.contribution_nm)),
    }


def odd_json(one: dict[str, Any]) -> dict[str, Any]:
    return {"slot": one["slot"], "place": one["place"], "differ": length_json(one["differ_nm"])}


def _moves_json(option: dict[str, Any], places: dict[str, str]) -> dict[str, Any]:
    return {
        "out": [{"slot": row["slot"], "thickness": length_json(row["thickness_nm"])} for row in option["out"]],
        "in": [slip_row(row, places) for row in option["in"]],
    }


def option_json(option: dict[str, Any], match: Match) -> dict[str, Any]:
    odd = odd_ones(match.question, option)
    places = {one["slot"]: one["place"] for one in odd}
    return {
        "number": option["number"],
        "way": option["way"],
        "changes": option["changes"],
        "predicted": length_json(option["predicted_nm"]),
        "u": length_json(half_even(option["u_nm"])),
        "probability": option["probability"],
        "confidence": option["confidence"],
        "up_to": length_json(option["up_to_nm"]) if option["up_to_nm"] != option["predicted_nm"] else None,
        "guard_band": None if option["guard_nm"] is None else length_json(option["guard_nm"]),
        "budget": [part_json(part) for part in budget_of(option, match.spec.measures)],
        **_moves_json(option, places),
        "odd": [odd_json(one) for one in odd],
    }


def range_json(row: dict[str, Any]) -> dict[str, Any]:
    return {
        **{name: row[name] for name in ("slot", "fit", "role", "count")},
        "from": length_json(row["from_nm"]),
        "to": length_json(row["to_nm"]),
    }


def hold_json(hold: dict[str, Any]) -> dict[str, Any]:
    names = ("match", "number", "job", "person", "until", "with", "changes", "probability", "confidence")
    return {
        **{name: hold[name] for name in names},
        "plates": [slip_row(row, {}) for row in hold["plates"]],
        "predicted": length_json(hold["predicted_nm"]),
        "u": length_json(half_even(hold["u_nm"])),
    }


def shortfall_json(shortfall: dict[str, Any]) -> dict[str, Any]:
    """What was asked long ago may lack what a shortfall names today."""
    nearest = shortfall["nearest"]
    return {
        "reason": shortfall["reason"],
        "nearest": nearest
        and {
            "predicted": length_json(nearest["predicted_nm"]),
            "u": length_json(half_even(nearest["u_nm"])),
            "changes": nearest["changes"],
            **_moves_json({"out": [], "in": [], **nearest}, {}),
        },
        "would_close": [range_json(row) for row in shortfall["would_close"]],
        "say": shortfall.get("say", []),
        "holds": [hold_json(hold) for hold in shortfall.get("holds", [])],
    }


def override_json(one: dict[str, Any]) -> dict[str, Any]:
    return {**one, "at": one["at"].isoformat()}


def kept_json(row: dict[str, Any]) -> dict[str, Any]:
    span = {name: None if row[f"{name}_nm"] is None else length_json(row[f"{name}_nm"]) for name in ("from", "to")}
    return {name: row[name] for name in ("slot", "reason", "count", "closes", "text", "kinds", "matches")} | span


def match_json(match: Match) -> dict[str, Any]:
    """The one form of every answer about a match."""
    shown = offered(match)
    built = match.built_now
    odd = odd_ones(match.question, built) if built else []
    places = {one["slot"]: one["place"] for one in odd}
    state = getattr(match, "state_now", match.state)
    ran_out = state != match.state
    return {
        "id": str(match.pk),
        "number": match.number,
        "state": state,
        "job": match.job.code if match.job else None,
        "spec": match.spec.code,
        "revision": match.spec.revision,
        "revised_since": match.spec.replaced_by_id is not None,
        "measures": match.spec.measures,
        "clearance": length_json(match.clearance_nm),
        "as_read": length_json(match.as_read_nm),
        "room": match.question.get("room", False),
        "method": match.method,
        "readings": match.readings,
        "u": length_json(half_even(match.u_nm)),
        "window": {
            "low": length_json(match.low_nm),
            "high": length_json(match.high_nm),
            "target": length_json(match.target_nm),
            "source": match.source,
            "reference": match.reference,
            "counted_frictions": counted_frictions(match.faces),
        },
        "verdict": match.verdict,
        "band": band_of(match),
        "options": [option_json(option, match) for option in shown],
        "shortfall": shortfall_json(match.shortfall) if match.shortfall else None,
        "kept_away": [kept_json(row) for row in match.kept_away],
        "cautions": match.cautions,
        "overrides": [override_json(one) for one in overrides_shown(match)],
        "option_taken": None if ran_out else match.option_taken,
        "held_until": match.held_until.isoformat() if match.held_until and not ran_out else None,
        "slip": [{**slip_row(row, places), "pulled": pulled_json(row)} for row in match.slip],
        "outs": outs_json(match),
        "residual": None if match.residual_nm is None else length_json(match.residual_nm),
        "comeback_of": match.comeback["of"] if match.comeback else None,
        "comeback": comeback_json(match.comeback),
        "person": match.person.username,
        "terminal": match.terminal.code if match.terminal else None,
        "asked_at": match.asked_at.isoformat() if hasattr(match.asked_at, "isoformat") else None,
    }


class MatchAnswer(serializers.Serializer[Match]):
    """Answers with :func:`match_json`; the fields describe that shape to the schema."""

    id, number = serializers.UUIDField(), serializers.IntegerField()
    state = serializers.ChoiceField(MatchState.choices)
    job = serializers.CharField(allow_null=True)
    spec, measures = serializers.CharField(), serializers.ChoiceField(MEASURES)
    revision, revised_since = serializers.IntegerField(), serializers.BooleanField()
    clearance, as_read, u = LengthField(), LengthField(), LengthField()
    room = serializers.BooleanField()
    method, readings = serializers.CharField(), serializers.ListField(child=serializers.CharField())
    window = serializers.DictField()
    verdict = serializers.ChoiceField(["in_window", "high", "low"])
    band = serializers.ChoiceField(["window", "allowed", "beyond"])
    options, kept_away, cautions, overrides, slip, outs = (
        serializers.ListField(child=serializers.DictField()) for _ in range(6)
    )
    shortfall = serializers.DictField(allow_null=True)
    option_taken = serializers.IntegerField(allow_null=True)
    held_until = serializers.DateTimeField(allow_null=True)
    residual = LengthField(allow_null=True)
    comeback_of = serializers.IntegerField(allow_null=True)
    comeback = serializers.DictField(allow_null=True)
    terminal = serializers.CharField(allow_null=True)
    person, asked_at = serializers.CharField(), serializers.DateTimeField()

    def to_representation(self, instance: Match) -> dict[str, Any]:
        return match_json(instance)
