"""How the buying room shows its rows over HTTP."""

from typing import Any

from rest_framework import serializers

from plates.buying.models import BuyRule, Order, OrderLine
from plates.buying.rules import RULE_FIGURES
from plates.catalogue.models import Role
from shop.api import LengthField, linked


class SizeAnswer(serializers.Serializer[Any]):
    """One size: from ≤ t < to. ``on_shelf`` counts held ones too; free = on_shelf - held + on_order - waiting."""

    fit, role = serializers.CharField(), serializers.ChoiceField(Role.choices)
    on_shelf, held, on_order = (serializers.IntegerField() for _ in range(3))
    waiting, free = serializers.IntegerField(), serializers.IntegerField()
    taken_13w, missed_13w = serializers.IntegerField(source="taken"), serializers.FloatField(source="missed")
    buy_below, fill_to, buy = (serializers.IntegerField() for _ in range(3))

    def get_fields(self) -> dict[str, serializers.Field]:
        span = {"from": LengthField(source="from_nm"), "to": LengthField(source="to_nm")}
        return {**super().get_fields(), **span}


class BuyAnswer(SizeAnswer):
    """A size to buy: which kind, how many plates in whole packs, what a plate of so many costs, and why."""

    kind = serializers.CharField(source="kind.code")
    pack_size = serializers.IntegerField(source="kind.pack_size")
    supplier = serializers.CharField(source="kind.supplier", default=None, allow_null=True)
    unit_cost = serializers.DecimalField(12, 4, allow_null=True)
    reasons = serializers.ListField(child=serializers.CharField())


class PieceAnswer(serializers.ModelSerializer[OrderLine]):
    """The pieces of one kind that sets bring; a cost is a piece's share of its set."""

    kind = linked()

    class Meta:
        model = OrderLine
        fields = ["kind", "quantity", "unit_cost", "received", "to_come"]


class UnfinishedAnswer(serializers.Serializer[Any]):
    """The first set of a line that is not whole: ``there`` of its pieces came."""

    number = serializers.SerializerMethodField()
    there, of = serializers.IntegerField(), serializers.IntegerField()
    missing = serializers.SerializerMethodField()

    def get_number(self, one: Any) -> int:
        return int(one.whole) + 1

    def get_missing(self, one: Any) -> list[str]:
        return [kind.code for kind in one.missing]


class OrderLineAnswer(serializers.Serializer[Any]):
    """What one line orders: plates of a ``kind``, or sets, counted and paid as whole ones. A set that is not whole has
    not been received.
    """

    kind = serializers.CharField(source="kind.code", default=None, allow_null=True)
    set = serializers.CharField(source="code", default=None, allow_null=True)
    quantity = serializers.IntegerField()
    unit_cost = serializers.DecimalField(12, 4, allow_null=True)
    received, to_come = serializers.IntegerField(), serializers.IntegerField()
    unfinished = UnfinishedAnswer(default=None, allow_null=True)
    pieces = PieceAnswer(source="pieces.all", many=True, default=list)


class OrderAnswer(serializers.ModelSerializer[Order]):
    supplier = linked("name")
    lines = OrderLineAnswer(source="ordered", many=True)

    class Meta:
        model = Order
        fields = ["id", "number", "supplier", "state", "lines", "made_at", "sent_at", "due", "ended_at"]


class ClaimOpenedAnswer(serializers.Serializer[Any]):
    """Of a plate that is not as it was ordered; it stands under ``claims/``."""

    id, plate = serializers.UUIDField(), serializers.UUIDField()
    why = serializers.CharField()


class OrderReceivedAnswer(OrderAnswer):
    """The order, the plates that came in, in the order given, and the claims on its supplier that this opened."""

    plates = serializers.ListField(child=serializers.UUIDField(), read_only=True)
    warnings = serializers.ListField(child=serializers.DictField(child=serializers.CharField()), read_only=True)
    claims = ClaimOpenedAnswer(many=True, read_only=True)

    class Meta(OrderAnswer.Meta):
        fields = [*OrderAnswer.Meta.fields, "plates", "warnings", "claims"]


class RuleAnswer(serializers.ModelSerializer[BuyRule]):
    fit = linked()
    nominal = LengthField(source="nominal_nm", allow_null=True)

    class Meta:
        model = BuyRule
        fields = ["id", "fit", "role", "nominal", *RULE_FIGURES]
