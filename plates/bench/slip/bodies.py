"""What the bench reads over HTTP of plates in the hand: the pull check, and what came out of a pack."""

import uuid
from typing import Any

from rest_framework import serializers

from plates.bench.slip.outs import FATES, Out
from plates.bench.slip.pull import Pull
from plates.catalogue.selectors import kinds
from plates.stock.bodies import FindingsBody, findings_of, reading_of
from plates.stock.models import Condition
from plates.stock.selectors import bins
from shop.api import Body, CodeField, TypedLengthField, by_code, readings_field, text_field


class PullBody(Body):
    """``then``: what to do when the reading agrees with no plate that it can be; ``agreed``: the reading is right,
    though no plate of its kind can be so thick.
    """

    plate = serializers.UUIDField()
    readings = readings_field()
    gauge = text_field()
    then = serializers.ChoiceField(["keep", "rematch"], required=False)
    agreed = serializers.BooleanField(default=False)
    agreed_by = text_field()


def pull_of(body: dict[str, Any]) -> Pull:
    return Pull(
        plate=body["plate"],
        reading=reading_of(body["readings"]),
        gauge=body.get("gauge", "").strip(),
        then=body.get("then", ""),
        agreed=body["agreed"],
        agreed_by=body.get("agreed_by", ""),
    )


class OutBody(FindingsBody):
    """One plate that came out: which, and what becomes of it; the rest is for a plate that goes to the shelf."""

    slot = serializers.CharField(max_length=60)
    thickness = TypedLengthField()
    fate = serializers.ChoiceField(list(FATES))
    kind = CodeField(required=False)
    readings = readings_field(required=False)
    bin = CodeField(required=False)
    gauge = text_field()
    condition = serializers.ChoiceField(Condition.choices, required=False)
    to_job = serializers.CharField(max_length=60, required=False)
    confirm = serializers.BooleanField(default=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("to_job") and attrs["fate"] != "pack":
            raise serializers.ValidationError({"to_job": ["goes with the fate pack only"]})
        return attrs


class OutsBody(Body):
    outs = OutBody(many=True, min_length=1, max_length=100)  # type: ignore[call-arg]


def outs_of(body: dict[str, Any], shop_id: uuid.UUID) -> list[Out]:
    """The body as plates with their fates; raises Malformed for a kind or bin that is not there."""
    return [_out(one, shop_id, f"/outs/{place}") for place, one in enumerate(body["outs"])]


def _out(one: dict[str, Any], shop_id: uuid.UUID, at: str) -> Out:
    return Out(
        slot=one["slot"],
        thickness=reading_of([one["thickness"]]),
        fate=one["fate"],
        reading=reading_of(one["readings"]) if "readings" in one else None,
        kind=by_code(kinds(shop_id), one["kind"], f"{at}/kind") if "kind" in one else None,
        bin=by_code(bins(shop_id), one["bin"], f"{at}/bin") if "bin" in one else None,
        condition=one.get("condition"),
        gauge=one.get("gauge", "").strip(),
        findings=findings_of(one),
        to_job=one.get("to_job", ""),
        confirm=one["confirm"],
    )
