"""How the API shows what final checks teach."""

from typing import Any

from rest_framework import serializers

from plates.bench.models import FinalCheck
from plates.bench.proof.residuals import Group
from plates.lengths import half_even, length_json
from shop.api import LengthField, linked


def comeback_json(comeback: dict[str, Any] | None) -> dict[str, Any] | None:
    """How much of the change of a pack that came back its wear accounts for; None for any other match."""
    if comeback is None:
        return None
    lengths = {
        name: length_json(half_even(comeback[f"{name}_nm"]))
        for name in ("was", "now", "change", "accounted", "rest", "u")
    }
    worn = [
        {
            "slot": row["slot"],
            "count": row["count"],
            **{name: length_json(row[f"{name}_nm"]) for name in ("was", "now", "sum")},
        }
        for row in comeback["worn"]
    ]
    return {**lengths, "worn": worn, "text": comeback["text"]}


class ResidualAnswer(serializers.ModelSerializer[FinalCheck]):
    """One final check. ``apart`` is ``soaked``, ``comeback`` or ``room`` for what stands on no chart, else blank."""

    match = serializers.IntegerField(source="match.number")
    method, asked_method = serializers.CharField(), serializers.CharField()
    person = serializers.CharField(source="person.username")
    terminal = linked(allow_null=True)
    readings = serializers.ListField(child=serializers.CharField())
    predicted = LengthField(source="predicted_nm")
    measured = LengthField(source="clearance_nm")
    residual = LengthField(source="residual_nm")
    u = serializers.SerializerMethodField()
    apart = serializers.CharField()

    class Meta:
        model = FinalCheck
        fields = [
            "id", "match", "at", "method", "asked_method", "gauge", "person", "terminal", "soaked", "readings",
            "predicted", "u", "measured", "residual", "in_window", "apart",
        ]  # fmt: skip

    def get_u(self, check: FinalCheck) -> dict[str, Any]:
        """Standard uncertainty of the prediction."""
        return length_json(half_even(check.u_nm))


class LimitsAnswer(serializers.Serializer[Any]):
    """A chart about zero: its limits, and its last point."""

    low, high, last = LengthField(), LengthField(), LengthField()
    outside = serializers.IntegerField()


class GroupAnswer(serializers.Serializer[Group]):
    """The residuals of one method, gauge or person; all limits are null for fewer than 8 of them.

    Both charts stand about a ``centre`` of zero, as a residual should be; ``mean`` is what it was. Lengths are signed.
    """

    by, name = serializers.CharField(), serializers.CharField()
    points, apart = serializers.IntegerField(), serializers.IntegerField()
    centre, mean = LengthField(), LengthField(allow_null=True)
    individuals, moving_range, ewma = (LimitsAnswer(allow_null=True) for _ in range(3))
    since = serializers.DateTimeField(allow_null=True)
    finding = serializers.CharField(allow_null=True)

    def to_representation(self, instance: Group) -> dict[str, Any]:
        found = instance.found

        def chart(one: Any) -> dict[str, Any]:
            lengths = {"low": one.low, "high": one.high, "last": one.points[-1]}
            return {**{name: length_json(half_even(nm)) for name, nm in lengths.items()}, "outside": len(one.outside)}

        return {
            "by": instance.by,
            "name": instance.name,
            "points": len(instance.points),
            "apart": len(instance.apart),
            "centre": length_json(0),
            "mean": length_json(instance.mean_nm) if instance.points else None,
            "individuals": chart(instance.singles) if instance.enough else None,
            "moving_range": chart(instance.moving) if instance.enough else None,
            "ewma": chart(instance.smooth) if instance.enough else None,
            "since": found.since.isoformat() if found else None,
            "finding": instance.sentence(self.context["unit"]) or None,
        }
