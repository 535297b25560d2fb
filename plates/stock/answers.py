"""How the stock room shows its rows over HTTP."""

import uuid
from typing import Any

from rest_framework import serializers

from plates.lengths import length_json
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Bin, HandOut, Lot, Plate, State
from shop.api import KeptFields, LengthField, linked


class BinAnswer(serializers.ModelSerializer[Bin]):
    fit = linked()

    class Meta:
        model = Bin
        fields = ["id", "code", "fit", "role"]

    def get_fields(self) -> dict[str, serializers.Field]:
        return {**super().get_fields(), "from": LengthField(source="from_nm"), "to": LengthField(source="to_nm")}


class PlateAnswer(KeptFields, serializers.ModelSerializer[Plate]):
    kind, fit = linked(), linked()
    bin, job = (linked(allow_null=True) for _ in range(2))
    match = serializers.UUIDField(source="match_id", allow_null=True)
    lot = serializers.UUIDField(source="lot_id", allow_null=True)
    reworked_from = serializers.UUIDField(source="reworked_from_id", allow_null=True)
    thickness, spread = LengthField(source="thickness_nm"), LengthField(source="spread_nm")
    state = serializers.ChoiceField(State.choices, source="state_now")
    measured = serializers.SerializerMethodField()

    class Meta:
        model = Plate
        fields = [
            "id", "kind", "fit", "role", "bin", "lot", "thickness", "spread", "measured", "state", "condition",
            "source", "owner", "box", "mark", "gauge", "match", "job", "held_until", "reworked_from", "transfer",
            "received_at", "revision",
        ]  # fmt: skip

    def get_measured(self, plate: Plate) -> bool:
        return plate.u_nm == 0

    def to_representation(self, plate: Any) -> dict[str, Any]:
        """What the fields would make of it, at once: a page holds up to a thousand plates."""
        time = self.fields["received_at"].to_representation
        return {
            "id": str(plate.pk),
            "kind": plate.kind.code,
            "fit": plate.fit.code,
            "role": plate.role,
            "bin": plate.bin.code if plate.bin else None,
            "lot": _id(plate.lot_id),
            "thickness": length_json(plate.thickness_nm),
            "spread": length_json(plate.spread_nm),
            "measured": self.get_measured(plate),
            "state": plate.state_now,
            "condition": plate.condition,
            "source": plate.source,
            "owner": plate.owner,
            "box": plate.box,
            "mark": plate.mark,
            "gauge": plate.gauge,
            "match": _id(plate.match_id),
            "job": plate.job.code if plate.job else None,
            "held_until": time(plate.held_until),
            "reworked_from": _id(plate.reworked_from_id),
            "transfer": _id(plate.transfer),
            "received_at": time(plate.received_at),
            "revision": plate.revision,
        }


def _id(key: uuid.UUID | None) -> str | None:
    return str(key) if key else None


class Warnings(serializers.Serializer[Any]):
    code, text = serializers.CharField(), serializers.CharField()


class ReceivedAnswer(PlateAnswer):
    warnings = Warnings(many=True)

    class Meta(PlateAnswer.Meta):
        fields = [*PlateAnswer.Meta.fields, "warnings"]


class LotAnswer(serializers.ModelSerializer[Lot]):
    kind = linked()
    mean, spread = LengthField(source="mean_nm"), LengthField(source="spread_nm")
    plates = serializers.SerializerMethodField()

    class Meta:
        model = Lot
        fields = ["id", "kind", "count", "measured", "mean", "spread", "source", "received_at", "plates"]

    def get_plates(self, lot: Lot) -> list[str]:
        return sorted(str(plate.pk) for plate in lot.plates.all())


class LotReceivedAnswer(LotAnswer):
    plates = PlateAnswer(many=True)  # type: ignore[assignment]
    warnings = Warnings(many=True)

    class Meta(LotAnswer.Meta):
        fields = [*LotAnswer.Meta.fields, "warnings"]


class HandOutAnswer(serializers.ModelSerializer[HandOut]):
    person = linked("username")
    plates = serializers.SerializerMethodField()

    class Meta:
        model = HandOut
        fields = ["id", "reason", "to", "due", "price", "person", "at", "plates"]

    def get_plates(self, hand_out: HandOut) -> list[str]:
        return sorted(str(line.plate_id) for line in hand_out.lines.all())


class FindingsAnswer(serializers.Serializer[Any]):
    """What else was found on a plate: null where it was not looked at."""

    cone = LengthField(source="cone_nm", default=None, allow_null=True)
    warp = LengthField(source="warp_nm", default=None, allow_null=True)
    hot_spot = serializers.BooleanField(default=None, allow_null=True)
    agreed_by = serializers.CharField(default="")


class LineAnswer(KeptFields, serializers.ModelSerializer[LedgerLine]):
    plate = serializers.UUIDField(source="plate_id")
    kind = linked(source="plate.kind")
    bin, job = (linked(allow_null=True) for _ in range(2))
    match = serializers.UUIDField(source="match_id", allow_null=True)
    match_number = serializers.IntegerField(source="match.number", default=None, allow_null=True)
    hand_out = serializers.UUIDField(source="hand_out_id", allow_null=True)
    person = linked("username")
    terminal = linked(allow_null=True)
    thickness, spread = LengthField(source="thickness_nm"), LengthField(source="spread_nm")
    findings = FindingsAnswer()

    class Meta:
        model = LedgerLine
        fields = [
            "id", "plate", "seq", "at", "act", "delta", "balance", "state", "kind", "bin", "thickness", "spread",
            "match", "match_number", "job", "hand_out", "held_until", "readings", "findings", "gauge",
            "reason", "person", "terminal",
        ]  # fmt: skip
