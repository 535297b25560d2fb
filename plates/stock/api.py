"""The stock room over HTTP: bins, plates, lots, hand-outs, the ledger."""

from typing import Any

from django.db.models import QuerySet
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from plates.catalogue.models import Fit, Kind, Role
from plates.catalogue.selectors import fits, kind_by_code
from plates.lengths import LengthError, length_parse
from plates.stock import hand_outs, selectors, services
from plates.stock.models import Bin, Condition, HandOut, LedgerLine, Lot, Plate, State
from plates.stock.services import Reading, Received, Tags
from shop.api import Act, Body, CodeField, Collection, LengthField, One, by_code, readings_field, text_field
from shop.errors import Malformed


def reading_of(pairs: list[tuple[str, int]]) -> Reading:
    return Reading([typed for typed, _ in pairs], [length_nm for _, length_nm in pairs])


class BinBody(Body):
    code, fit = CodeField(), CodeField()
    role = serializers.ChoiceField(Role.choices)

    def get_fields(self) -> dict[str, serializers.Field]:
        return {**super().get_fields(), "from": LengthField(zero=True), "to": LengthField()}


class BinAnswer(serializers.ModelSerializer[Bin]):
    fit = serializers.SlugRelatedField("code", read_only=True)

    class Meta:
        model = Bin
        fields = ["id", "code", "fit", "role"]

    def get_fields(self) -> dict[str, serializers.Field]:
        return {**super().get_fields(), "from": LengthField(source="from_nm"), "to": LengthField(source="to_nm")}


class TagsBody(Body):
    """What every way of booking plates may say of them."""

    condition = serializers.ChoiceField(Condition.choices, required=False)
    bin = CodeField(required=False, allow_null=True)
    gauge, source, owner, box, mark = text_field(), text_field(), text_field(), text_field(), text_field()
    confirm = serializers.BooleanField(default=False)


class KindChoice(TagsBody):
    kind = CodeField(required=False)
    scan_code = serializers.CharField(max_length=200, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("kind" in attrs) == ("scan_code" in attrs):
            raise serializers.ValidationError({"kind": ["give either kind or scan_code"]})
        return attrs


class PlateBody(KindChoice):
    readings = readings_field()


class LotBody(KindChoice):
    count = serializers.IntegerField(min_value=1, max_value=2_000)
    readings = serializers.ListField(child=readings_field(), min_length=1, max_length=2_000)


class PutBackBody(Body):
    readings = readings_field()
    bin = CodeField(required=False, allow_null=True)
    condition = serializers.ChoiceField(Condition.choices, required=False)
    gauge = text_field()
    confirm = serializers.BooleanField(default=False)


class ReworkBody(Body):
    readings = readings_field()
    reason = serializers.CharField(max_length=500, default="reworked")
    kind = CodeField(required=False)
    bin = CodeField(required=False, allow_null=True)
    gauge = text_field()
    confirm = serializers.BooleanField(default=False)


class ScrapBody(Body):
    reason = serializers.CharField(max_length=500)


class HandOutBody(Body):
    plates = serializers.ListField(child=serializers.UUIDField(), required=False, min_length=1, max_length=1_000)
    bin = CodeField(required=False)
    count = serializers.IntegerField(min_value=1, max_value=1_000, required=False)
    reason = serializers.ChoiceField(["cash", "lent", "own_use", "warranty", "lost"])
    to = text_field()
    due = serializers.DateField(required=False)
    price = serializers.DecimalField(12, 2, min_value=0, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("plates" in attrs) == ("bin" in attrs):
            raise serializers.ValidationError({"plates": ["give either plates, or a bin and a count"]})
        if ("bin" in attrs) != ("count" in attrs):
            raise serializers.ValidationError({"count": ["a bin and a count go together"]})
        return attrs


class PlateAnswer(serializers.ModelSerializer[Plate]):
    kind, fit, bin, job = (serializers.SlugRelatedField("code", read_only=True) for _ in range(4))
    match = serializers.UUIDField(source="match_id", allow_null=True)
    lot = serializers.UUIDField(source="lot_id", allow_null=True)
    reworked_from = serializers.UUIDField(source="reworked_from_id", allow_null=True)
    thickness, spread = LengthField(source="thickness_nm"), LengthField(source="spread_nm")
    state = serializers.ChoiceField(State.choices, source="state_now")
    measured = serializers.SerializerMethodField()

    class Meta:
        model = Plate
        fields = [
            "id", "kind", "fit", "role", "bin", "lot", "thickness", "spread", "measured", "state", "condition", "source",
            "owner", "box", "mark", "gauge", "match", "job", "held_until", "reworked_from", "received_at", "revision",
        ]  # fmt: skip

    def get_measured(self, plate: Plate) -> bool:
        return plate.u_nm == 0


class Warnings(serializers.Serializer[Any]):
    code, text = serializers.CharField(), serializers.CharField()


class ReceivedAnswer(PlateAnswer):
    warnings = Warnings(many=True)

    class Meta(PlateAnswer.Meta):
        fields = [*PlateAnswer.Meta.fields, "warnings"]


class LotAnswer(serializers.ModelSerializer[Lot]):
    kind = serializers.SlugRelatedField("code", read_only=True)
    mean, spread = LengthField(source="mean_nm"), LengthField(source="spread_nm")
    plates = serializers.SerializerMethodField()

    class Meta:
        model = Lot
        fields = ["id", "kind", "count", "measured", "mean", "spread", "source", "received_at", "plates"]

    def get_plates(self, lot: Lot) -> list[str]:
        return sorted(str(plate.pk) for plate in lot.plates.all())


class LotReceivedAnswer(LotAnswer):
    plates = PlateAnswer(many=True)
    warnings = Warnings(many=True)

    class Meta(LotAnswer.Meta):
        fields = [*LotAnswer.Meta.fields, "warnings"]


class HandOutAnswer(serializers.ModelSerializer[HandOut]):
    person = serializers.SlugRelatedField("username", read_only=True)
    plates = serializers.SerializerMethodField()

    class Meta:
        model = HandOut
        fields = ["id", "reason", "to", "due", "price", "person", "at", "plates"]

    def get_plates(self, hand_out: HandOut) -> list[str]:
        return sorted(str(plate.pk) for plate in hand_out.plates.all())


class LineAnswer(serializers.ModelSerializer[LedgerLine]):
    plate = serializers.UUIDField(source="plate_id")
    kind = serializers.SlugRelatedField("code", source="plate.kind", read_only=True)
    bin, job = (serializers.SlugRelatedField("code", read_only=True) for _ in range(2))
    match = serializers.UUIDField(source="match_id", allow_null=True)
    match_number = serializers.IntegerField(source="match.number", default=None, allow_null=True)
    hand_out = serializers.UUIDField(source="hand_out_id", allow_null=True)
    person = serializers.SlugRelatedField("username", read_only=True)
    thickness, spread = LengthField(source="thickness_nm"), LengthField(source="spread_nm")

    class Meta:
        model = LedgerLine
        fields = [
            "id", "plate", "seq", "at", "act", "delta", "balance", "state", "kind", "bin", "thickness", "spread", "match",
            "match_number", "job", "hand_out", "held_until", "readings", "gauge", "reason", "person",
        ]  # fmt: skip


class LengthFilter(filters.CharFilter):
    """A length with its unit in an address, as 0.0771 in."""

    def filter(self, queryset: Any, value: str) -> Any:
        if not value:
            return queryset
        try:
            return super().filter(queryset, length_parse(value))
        except LengthError as error:
            raise Malformed(str(error), [(f"/{self.field_name}", "give a length with its unit")]) from None


class PlateFilter(filters.FilterSet):
    fit = filters.CharFilter("fit__code")
    kind = filters.CharFilter("kind__code")
    bin = filters.CharFilter("bin__code")
    role = filters.ChoiceFilter(choices=Role.choices)
    state = filters.ChoiceFilter("state_now", choices=State.choices)
    condition = filters.ChoiceFilter(choices=Condition.choices)
    thickness_min = LengthFilter("thickness_nm", "gte")
    thickness_max = LengthFilter("thickness_nm", "lte")
    ordering = filters.OrderingFilter(
        fields=(
            ("thickness_nm", "thickness"),
            ("received_at", "received_at"),
            ("kind__code", "kind"),
            ("bin__code", "bin"),
        )
    )


class LedgerFilter(filters.FilterSet):
    plate = filters.UUIDFilter("plate_id")
    match = filters.UUIDFilter("match_id")
    job = filters.CharFilter("job__code")
    kind = filters.CharFilter("plate__kind__code")
    person = filters.CharFilter("person__username")
    since = filters.IsoDateTimeFilter("at", "gte")


class InStock:
    """What the views of this room share."""

    request: Any

    def kind_of(self, body: dict[str, Any]) -> Kind:
        found = kind_by_code(
            shop_id=self.request.user.shop_id, kind=body.get("kind", ""), scan_code=body.get("scan_code", "")
        )
        if found is None:
            name = "kind" if "kind" in body else "scan_code"
            raise Malformed(
                f"Nothing in this shop's catalogue has the {name} {body[name]!r}.",
                [(f"/{name}", "not in the catalogue")],
            )
        return found

    def bin_of(self, body: dict[str, Any]) -> Bin | None:
        code = body.get("bin")
        return by_code(selectors.bins(self.request.user.shop_id), code, "/bin") if code else None

    def received(self, made: Received) -> dict[str, Any]:
        plate = selectors.plates(self.request.user.shop_id).get(pk=made.plates[0].pk)
        return {**PlateAnswer(plate).data, "warnings": made.warnings}


class Bins(InStock, Collection):
    body_class, serializer_class = BinBody, BinAnswer
    filterset_fields = {"role": ["exact"]}

    def get_queryset(self) -> QuerySet[Bin]:
        return selectors.bins(self.request.user.shop_id)

    @extend_schema(request=BinBody, responses={201: BinAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, lambda made: self.get_serializer(made).data)

    def make(self, body: dict[str, Any]) -> Bin:
        fit: Fit = by_code(fits(self.request.user.shop_id), body["fit"], "/fit")
        return services.bin_make(
            person=self.request.user,
            code=body["code"],
            fit=fit,
            role=body["role"],
            from_nm=body["from"],
            to_nm=body["to"],
        )


class Plates(InStock, Collection):
    body_class, serializer_class, filterset_class = PlateBody, PlateAnswer, PlateFilter

    def get_queryset(self) -> QuerySet[Plate]:
        return selectors.plates(self.request.user.shop_id)

    @extend_schema(request=PlateBody, responses={201: ReceivedAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, self.received)

    def make(self, body: dict[str, Any]) -> Received:
        return services.plate_receive(
            person=self.request.user,
            kind=self.kind_of(body),
            reading=reading_of(body["readings"]),
            tags=tags_of(body),
            chosen_bin=self.bin_of(body),
            confirm=body["confirm"],
            made_key=self.once.made_key,
        )


def tags_of(body: dict[str, Any]) -> Tags:
    names = ("condition", "source", "owner", "box", "mark", "gauge")
    return Tags(**{name: body[name] for name in names if name in body})


class PlateAct(InStock, Act):
    """An action on one plate."""

    serializer_class = PlateAnswer

    def get_queryset(self) -> QuerySet[Plate]:
        return selectors.plates(self.request.user.shop_id)


class PutBack(PlateAct):
    body_class = PutBackBody

    @extend_schema(request=PutBackBody, responses={200: ReceivedAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(self.make, self.received)

    def make(self, body: dict[str, Any]) -> Received:
        return services.plate_put_back(
            person=self.request.user,
            plate_id=self.row_id(),
            reading=reading_of(body["readings"]),
            chosen_bin=self.bin_of(body),
            condition=body.get("condition"),
            gauge=body.get("gauge", ""),
            confirm=body["confirm"],
        )


class Rework(PlateAct):
    body_class = ReworkBody

    @extend_schema(request=ReworkBody, responses={200: ReceivedAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(self.make, self.received)

    def make(self, body: dict[str, Any]) -> Received:
        return services.plate_rework(
            person=self.request.user,
            plate_id=self.row_id(),
            reading=reading_of(body["readings"]),
            reason=body["reason"],
            kind=self.kind_of(body) if "kind" in body else None,
            chosen_bin=self.bin_of(body),
            gauge=body.get("gauge", ""),
            confirm=body["confirm"],
            made_key=self.once.made_key,
        )


class Scrap(PlateAct):
    body_class = ScrapBody

    @extend_schema(request=ScrapBody, responses={200: PlateAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(
            lambda body: services.plate_scrap(person=request.user, plate_id=self.row_id(), reason=body["reason"]),
            lambda plate: PlateAnswer(self.get_queryset().get(pk=plate.pk)).data,
        )


class Lots(InStock, Collection):
    body_class, serializer_class = LotBody, LotAnswer

    def get_queryset(self) -> QuerySet[Lot]:
        return selectors.lots(self.request.user.shop_id)

    @extend_schema(request=LotBody, responses={201: LotReceivedAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, self.render)

    def make(self, body: dict[str, Any]) -> Received:
        return services.lot_receive(
            person=self.request.user,
            kind=self.kind_of(body),
            count=body["count"],
            readings=[reading_of(pairs) for pairs in body["readings"]],
            tags=tags_of(body),
            chosen_bin=self.bin_of(body),
            confirm=body["confirm"],
            made_key=self.once.made_key,
        )

    def render(self, made: Received) -> dict[str, Any]:
        plates = selectors.plates(self.request.user.shop_id).filter(lot=made.lot).order_by("id")
        return {
            **LotAnswer(made.lot).data,
            "plates": PlateAnswer(plates, many=True).data,
            "warnings": made.warnings,
        }


class HandOuts(InStock, Collection):
    body_class, serializer_class = HandOutBody, HandOutAnswer

    def get_queryset(self) -> QuerySet[HandOut]:
        return selectors.hand_outs(self.request.user.shop_id)

    @extend_schema(request=HandOutBody, responses={201: HandOutAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, lambda made: self.get_serializer(self.get_queryset().get(pk=made.pk)).data)

    def make(self, body: dict[str, Any]) -> HandOut:
        return hand_outs.hand_out_make(
            person=self.request.user,
            reason=body["reason"],
            plate_ids=body.get("plates", ()),
            from_bin=self.bin_of(body),
            count=body.get("count", 0),
            to=body.get("to", ""),
            due=body.get("due"),
            price=body.get("price"),
            made_key=self.once.made_key,
        )


class Ledger(Collection):
    serializer_class, filterset_class = LineAnswer, LedgerFilter

    def get_queryset(self) -> QuerySet[LedgerLine]:
        return selectors.ledger(self.request.user.shop_id)


class OneBin(One):
    serializer_class, lookup_field = BinAnswer, "code"

    def get_queryset(self) -> QuerySet[Bin]:
        return selectors.bins(self.request.user.shop_id)


class OnePlate(One):
    serializer_class = PlateAnswer

    def get_queryset(self) -> QuerySet[Plate]:
        return selectors.plates(self.request.user.shop_id)


class OneLot(One):
    serializer_class = LotAnswer

    def get_queryset(self) -> QuerySet[Lot]:
        return selectors.lots(self.request.user.shop_id)


class OneHandOut(One):
    serializer_class = HandOutAnswer

    def get_queryset(self) -> QuerySet[HandOut]:
        return selectors.hand_outs(self.request.user.shop_id)


class OneLedgerLine(One):
    serializer_class = LineAnswer

    def get_queryset(self) -> QuerySet[LedgerLine]:
        return selectors.ledger(self.request.user.shop_id)
