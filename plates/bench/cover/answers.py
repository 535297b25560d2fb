"""How the API shows the cover of a pack."""

from typing import Any

from rest_framework import serializers

from plates.bench.cover.ask import Cover
from plates.catalogue.models import Role
from plates.lengths import length_json
from shop.api import LengthField


def cover_json(found: Cover) -> dict[str, Any]:
    return {
        "segments": [
            {"from": length_json(one.from_nm), "to": length_json(one.to_nm), "changes": one.changes}
            for one in found.segments
        ],
        "loses": [{"plate": str(key), "lost": length_json(lost_nm)} for key, lost_nm in found.losses.items()],
        "gains": [
            {
                "fit": one.fit,
                "role": one.role,
                "thickness": length_json(one.thickness_nm),
                "slots": list(one.slots),
                "gained": length_json(one.gained_nm),
            }
            for one in found.gains
        ],
    }


class SegmentAnswer(serializers.Serializer[Any]):
    """Readings from one to the other, both inclusive; the next segment begins one nanometre further."""

    to = LengthField()
    changes = serializers.IntegerField(
        allow_null=True, help_text="The fewest changes that bring each of them into the window; null: none do."
    )

    def get_fields(self) -> dict[str, Any]:
        return {"from": LengthField(), **super().get_fields()}


class LossAnswer(serializers.Serializer[Any]):
    plate = serializers.UUIDField()
    lost = LengthField(help_text="How much of the span nothing closes any more once this plate alone has left.")


class GainAnswer(serializers.Serializer[Any]):
    fit, role, thickness = serializers.CharField(), serializers.ChoiceField(Role.choices), LengthField()
    slots = serializers.ListField(child=serializers.CharField())
    gained = LengthField(help_text="How much more of the span one more plate of this size closes.")


class CoverAnswer(serializers.Serializer[Any]):
    """``segments`` ascending, gapless, neighbours different. ``loses`` and ``gains`` are empty unless asked for."""

    segments = SegmentAnswer(many=True)
    loses, gains = LossAnswer(many=True), GainAnswer(many=True)
