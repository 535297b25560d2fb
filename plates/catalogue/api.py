"""The catalogue over HTTP: fits, kinds, pack specs."""

from typing import Any

from django.db.models import QuerySet
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from plates.catalogue import selectors, services
from plates.catalogue.models import MEASURES, WAVE_STATES, Fit, Kind, Role, Slot, Spec, ToothSide
from plates.catalogue.windows import Printed, Window, counted_frictions, window_manual, window_rule
from plates.lengths import length_json
from shop.api import Body, CodeField, Collection, LengthField, One, TypedLengthField, by_code, text_field


class FitBody(Body):
    code = CodeField()
    tooth_side = serializers.ChoiceField(ToothSide.choices)
    teeth = serializers.IntegerField(min_value=0, max_value=10_000)
    outer = LengthField()
    inner = LengthField()
    tooth_form, index, oil_holes = text_field(), text_field(), text_field()


class FitAnswer(serializers.ModelSerializer[Fit]):
    outer, inner = LengthField(source="outer_nm"), LengthField(source="inner_nm")

    class Meta:
        model = Fit
        fields = ["id", "code", "tooth_side", "teeth", "outer", "inner", "tooth_form", "index", "oil_holes"]


class KindBody(Body):
    code = CodeField()
    fit = CodeField()
    role = serializers.ChoiceField(Role.choices)
    nominal = LengthField()
    lined_faces = serializers.IntegerField(min_value=0, max_value=2, required=False)
    tolerance = LengthField(required=False)
    reuse_minimum = LengthField(required=False)
    made_coned = LengthField(required=False)
    set_of, mark, material, facing, groove, supplier = (
        text_field(),
        text_field(),
        text_field(),
        text_field(),
        text_field(),
        text_field(),
    )
    scan_codes = serializers.ListField(child=serializers.CharField(max_length=200), required=False, max_length=50)
    unit_cost = serializers.DecimalField(12, 4, min_value=0, required=False)
    pack_size = serializers.IntegerField(min_value=1, max_value=1_000_000, required=False)
    lead_days = serializers.IntegerField(min_value=0, max_value=10_000, required=False)


class KindAnswer(serializers.ModelSerializer[Kind]):
    fit = serializers.SlugRelatedField("code", read_only=True)
    supplier = serializers.SlugRelatedField("name", read_only=True)
    scan_codes = serializers.SlugRelatedField("code", many=True, read_only=True)
    nominal = LengthField(source="nominal_nm")
    tolerance = LengthField(source="tolerance_nm", allow_null=True)
    reuse_minimum = LengthField(source="reuse_minimum_nm", allow_null=True)
    made_coned = LengthField(source="made_coned_nm", allow_null=True)

    class Meta:
        model = Kind
        fields = [
            "id", "code", "fit", "role", "nominal", "lined_faces", "tolerance", "reuse_minimum", "set_of", "mark",
            "material", "facing", "groove", "made_coned", "scan_codes", "supplier", "unit_cost", "pack_size", "lead_days",
        ]  # fmt: skip


class PrintedBody(Body):
    low, high = TypedLengthField(zero=True), TypedLengthField()


class WindowBody(Body):
    source = serializers.ChoiceField(["rule", "manual"])
    low, high = TypedLengthField(zero=True, required=False), TypedLengthField(required=False)
    reference = serializers.CharField(max_length=500, required=False)
    also = PrintedBody(required=False, help_text="the same limits as the manual prints them in the other unit")
    governs = serializers.ChoiceField(["in", "mm"], required=False, help_text="which unit is right where they disagree")

    target = LengthField(required=False)
    limit_low, limit_high = LengthField(required=False, zero=True), LengthField(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        manual = ("low", "high", "reference")
        if attrs["source"] == "manual":
            missing = {name: ["a manual's window gives it"] for name in manual if name not in attrs}
            if missing:
                raise serializers.ValidationError(missing)
        elif extra := [name for name in (*manual, "also", "governs") if name in attrs]:
            raise serializers.ValidationError({name: ["goes with the source manual only"] for name in extra})
        return attrs


class WaveBody(Body):
    free, flat = LengthField(), LengthField()


class SlotBody(Body):
    name = serializers.CharField(max_length=60)
    role = serializers.ChoiceField(Role.choices)
    fit = CodeField()
    count = serializers.IntegerField(min_value=0, max_value=60)
    lined_faces = serializers.IntegerField(min_value=0, max_value=2, required=False)
    swap = serializers.BooleanField(default=False)
    extra = serializers.IntegerField(min_value=0, max_value=20, default=0)
    nominal = LengthField(required=False)
    fits = serializers.ListField(child=CodeField(), required=False, max_length=50)
    material, facing, place = text_field(), text_field(), text_field()


class SpecBody(Body):
    code = CodeField()
    title = serializers.CharField(max_length=200)
    measures = serializers.ChoiceField(MEASURES)
    window = WindowBody()
    slots = SlotBody(many=True, min_length=1, max_length=40)
    target = LengthField(required=False)
    limit_low, limit_high = LengthField(required=False, zero=True), LengthField(required=False)
    wave = WaveBody(required=False)
    reads_wave = serializers.ChoiceField(WAVE_STATES, required=False)
    adjustable = serializers.BooleanField(default=True)
    set_only = serializers.BooleanField(default=False)


class SlotAnswer(serializers.ModelSerializer[Slot]):
    fit = serializers.SlugRelatedField("code", read_only=True)
    fits = serializers.SerializerMethodField()
    nominal = LengthField(source="nominal_nm", allow_null=True)

    class Meta:
        model = Slot
        fields = [
            "name", "role", "fit", "count", "lined_faces", "swap", "extra", "nominal", "fits", "material", "facing", "place",
        ]  # fmt: skip

    def get_fits(self, slot: Slot) -> list[str]:
        return sorted(further.fit.code for further in slot.further_fits.all())


class SpecAnswer(serializers.ModelSerializer[Spec]):
    window = serializers.SerializerMethodField()
    counted_frictions = serializers.SerializerMethodField()
    limit_low = LengthField(source="limit_low_nm", allow_null=True)
    limit_high = LengthField(source="limit_high_nm", allow_null=True)
    wave = serializers.SerializerMethodField()
    slots = SlotAnswer(many=True)

    class Meta:
        model = Spec
        fields = [
            "id", "code", "title", "measures", "window", "counted_frictions", "limit_low", "limit_high", "wave",
            "reads_wave", "adjustable", "set_only", "slots",
        ]  # fmt: skip

    def get_window(self, spec: Spec) -> dict[str, Any]:
        return {
            "low": length_json(spec.low_nm),
            "high": length_json(spec.high_nm),
            "target": length_json(spec.target_nm),
            "source": spec.source,
            "reference": spec.reference,
            "unit": spec.unit,
        }

    def get_counted_frictions(self, spec: Spec) -> float:
        return counted_frictions(selectors.spec_faces(list(spec.slots.all())))

    def get_wave(self, spec: Spec) -> dict[str, Any] | None:
        if spec.wave_free_nm is None or spec.wave_flat_nm is None:
            return None
        return {"free": length_json(spec.wave_free_nm), "flat": length_json(spec.wave_flat_nm)}


class CatalogueRows:
    """Rendering of what was just made, with its links."""

    def rendered(self: Any, row: Any) -> Any:
        return self.get_serializer(self.get_queryset().get(pk=row.pk)).data


class Fits(CatalogueRows, Collection):
    body_class, serializer_class = FitBody, FitAnswer
    filterset_fields = {"tooth_side": ["exact"], "teeth": ["exact"]}

    def get_queryset(self) -> QuerySet[Fit]:
        return selectors.fits(self.request.user.shop_id)

    @extend_schema(request=FitBody, responses={201: FitAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, self.rendered)

    def make(self, body: dict[str, Any]) -> Fit:
        lengths = {f"{name}_nm": body.pop(name) for name in ("outer", "inner")}
        return services.fit_make(person=self.request.user, **body, **lengths)


class KindFilter(filters.FilterSet):
    fit = filters.CharFilter("fit__code")

    class Meta:
        model = Kind
        fields = ["fit", "role"]


class Kinds(CatalogueRows, Collection):
    body_class, serializer_class, filterset_class = KindBody, KindAnswer, KindFilter

    def get_queryset(self) -> QuerySet[Kind]:
        return selectors.kinds(self.request.user.shop_id)

    @extend_schema(request=KindBody, responses={201: KindAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, self.rendered)

    def make(self, body: dict[str, Any]) -> Kind:
        fit = by_code(selectors.fits(self.request.user.shop_id), body.pop("fit"), "/fit")
        names = [name for name in ("nominal", "tolerance", "reuse_minimum", "made_coned") if name in body]
        lengths = {f"{name}_nm": body.pop(name) for name in names}
        return services.kind_make(person=self.request.user, fit=fit, **body, **lengths)


class Specs(CatalogueRows, Collection):
    body_class, serializer_class = SpecBody, SpecAnswer
    filterset_fields = {"measures": ["exact"], "adjustable": ["exact"]}

    def get_queryset(self) -> QuerySet[Spec]:
        return selectors.specs(self.request.user.shop_id)

    @extend_schema(request=SpecBody, responses={201: SpecAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, self.rendered)

    def make(self, body: dict[str, Any]) -> Spec:
        person = self.request.user
        codes = {code for slot in body["slots"] for code in (slot["fit"], *slot.get("fits", []))}
        fits = {fit.code: fit for fit in selectors.fits(person.shop_id).filter(code__in=codes)}
        slots = [slot_of(slot, f"/slots/{row}", fits) for row, slot in enumerate(body["slots"])]
        wave = body.get("wave")
        return services.spec_make(
            person=person,
            code=body["code"],
            title=body["title"],
            measures=body["measures"],
            window=window_of(body, services.faces_of(slots)),
            slots=slots,
            limit_low_nm=beside(body, "limit_low"),
            limit_high_nm=beside(body, "limit_high"),
            wave_nm=(wave["free"], wave["flat"]) if wave else None,
            reads_wave=body.get("reads_wave", ""),
            adjustable=body["adjustable"],
            set_only=body["set_only"],
        )


def beside(body: dict[str, Any], name: str) -> int | None:
    """Target and outer limits may stand in the window or beside it."""
    found: int | None = body.get(name, body["window"].get(name))
    return found


def slot_of(slot: dict[str, Any], at: str, fits: dict[str, Fit]) -> services.SlotData:
    def fit_of(code: str, pointer: str) -> Fit:
        if code not in fits:
            by_code(Fit.objects.none(), code, pointer)
        return fits[code]

    return services.SlotData(
        name=slot["name"],
        role=slot["role"],
        fit=fit_of(slot["fit"], f"{at}/fit"),
        count=slot["count"],
        lined_faces=services.faces_check(
            role=slot["role"], lined_faces=slot.get("lined_faces"), pointer=f"{at}/lined_faces"
        ),
        swap=slot["swap"],
        extra=slot["extra"],
        nominal_nm=slot.get("nominal"),
        material=slot.get("material", ""),
        facing=slot.get("facing", ""),
        place=slot.get("place", ""),
        fits=[fit_of(code, f"{at}/fits/{column}") for column, code in enumerate(slot.get("fits", []))],
    )


def window_of(body: dict[str, Any], faces: int) -> Window:
    window, target_nm = body["window"], beside(body, "target")
    if window["source"] == "rule":
        return window_rule(faces=faces, measures=body["measures"], target_nm=target_nm)
    also = window.get("also")
    return window_manual(
        low=window["low"][0],
        high=window["high"][0],
        reference=window["reference"],
        also=Printed(also["low"][0], also["high"][0]) if also else None,
        governs=window.get("governs", ""),
        target_nm=target_nm,
    )


class OneFit(One):
    serializer_class, lookup_field = FitAnswer, "code"

    def get_queryset(self) -> QuerySet[Fit]:
        return selectors.fits(self.request.user.shop_id)


class OneKind(One):
    serializer_class, lookup_field = KindAnswer, "code"

    def get_queryset(self) -> QuerySet[Kind]:
        return selectors.kinds(self.request.user.shop_id)


class OneSpec(One):
    serializer_class, lookup_field = SpecAnswer, "code"

    def get_queryset(self) -> QuerySet[Spec]:
        return selectors.specs(self.request.user.shop_id)
