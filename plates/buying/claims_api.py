"""Claims on suppliers over HTTP."""

from typing import Any

from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from plates.buying import selectors
from plates.buying.claim_models import SETTLED, Claim, ClaimState
from plates.buying.claims import claims_settle
from shop.api import Act, Body, Collection, LengthField, One, Signed, linked


class ClaimFilter(filters.FilterSet):
    state = filters.ChoiceFilter(choices=ClaimState.choices)
    order = filters.NumberFilter("plate__order_line__order__number")
    supplier = filters.CharFilter("plate__order_line__order__supplier__name")


class SettleBody(Body):
    """What became of a claim, and what was agreed with the supplier."""

    state = serializers.ChoiceField(SETTLED)
    note = serializers.CharField(max_length=500)


class ClaimAnswer(serializers.ModelSerializer[Claim]):
    """One plate to be claimed: its thickness as it came in, and by how much it may be off."""

    kind = serializers.CharField(source="plate.kind.code")
    order = serializers.IntegerField(source="plate.order_line.order.number")
    supplier = serializers.CharField(source="plate.order_line.order.supplier.name")
    thickness, tolerance = LengthField(source="thickness_nm"), LengthField(source="tolerance_nm")
    nominal = LengthField(source="plate.kind.nominal_nm")
    person = linked("username", allow_null=True)

    class Meta:
        model = Claim
        fields = [
            "id", "order", "supplier", "plate", "kind", "thickness", "nominal", "tolerance", "why", "state",
            "opened_at", "note", "person", "settled_at",
        ]  # fmt: skip


class ClaimRows(Signed):
    serializer_class = ClaimAnswer
    rows = staticmethod(selectors.claims)

    def rendered(self, claim: Claim) -> Any:
        return ClaimAnswer(self.get_queryset().get(pk=claim.pk)).data


class Claims(ClaimRows, Collection):
    """What is or was claimed on suppliers; a claim opens by itself as its plate is received."""

    http_method_names = ["get", "head", "options"]
    filterset_class = ClaimFilter


class OneClaim(ClaimRows, One):
    """One claim."""


class Settle(ClaimRows, Act):
    """What became of a claim; a plate that is sent back leaves under warranty."""

    body_class = SettleBody

    @extend_schema(request=SettleBody, responses={200: ClaimAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(self.settle, self.rendered)

    def settle(self, body: dict[str, Any]) -> Claim:
        return claims_settle(person=self.person, claim_ids=[self.row_id()], made_key=self.once.made_key, **body)[0]
