"""What the bench reads over HTTP of plates in the hand: the pull check, and what came out of a pack."""

import uuid
from collections.abc import Sequence
from typing import Any

from rest_framework import serializers

from plates.bench.slip.outs import FATES, Out
from plates.bench.slip.pull import Pull
from plates.catalogue.models import Kind
from plates.stock.bodies import FindingsBody, findings_of, reading_of
from plates.stock.models import Bin, Condition
from plates.stock.selectors import bins
from shop.api import Body, CodeField, TypedLengthField, by_codes, readings_field, text_field


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


class OutsBody(Body):
    outs = OutBody(many=True, min_length=1, max_length=100)  # type: ignore[call-arg]


def outs_of(body: dict[str, Any], shop_id: uuid.UUID) -> list[Out]:
    """The body as plates with their fates; raises Malformed for a kind or bin that is not there."""
    outs = body["outs"]
    kind = _named(outs, "kind", Kind.objects.filter(shop_id=shop_id).select_related("fit"))
    home = _named(outs, "bin", bins(shop_id))
    return [_out(one, kind.get(place), home.get(place)) for place, one in enumerate(outs)]


def _named(outs: Sequence[dict[str, Any]], what: str, queryset: Any) -> dict[int, Any]:
    """The rows that outs name by code, by the place of the out; one query."""
    named = {place: one[what] for place, one in enumerate(outs) if what in one}
    found = by_codes(queryset, {f"/outs/{place}/{what}": code for place, code in named.items()})
    return {place: found[code] for place, code in named.items()}


def _out(one: dict[str, Any], kind: Kind | None, home: Bin | None) -> Out:
    return Out(
        slot=one["slot"],
        thickness=reading_of([one["thickness"]]),
        fate=one["fate"],
        reading=reading_of(one["readings"]) if "readings" in one else None,
        kind=kind,
        bin=home,
        condition=one.get("condition"),
        gauge=one.get("gauge", "").strip(),
        findings=findings_of(one),
        to_job=one.get("to_job", ""),
        confirm=one["confirm"],
    )
