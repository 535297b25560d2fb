"""How the catalogue shows its rows over HTTP."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from plates.catalogue import selectors
from plates.catalogue.hydraulics_body import hydraulics_answer
from plates.catalogue.models import Fit, Kind, PriceBreak
from plates.catalogue.spec_models import Slot, Spec
from plates.catalogue.windows import counted_frictions
from plates.lengths import length_json
from shop.api import LengthField, linked


class FitAnswer(serializers.ModelSerializer[Fit]):
    outer, inner = LengthField(source="outer_nm"), LengthField(source="inner_nm")

    class Meta:
        model = Fit
        fields = ["id", "code", "tooth_side", "teeth", "outer", "inner", "tooth_form", "index", "oil_holes"]


class PriceBreakAnswer(serializers.ModelSerializer[PriceBreak]):
    class Meta:
        model = PriceBreak
        fields = ["unit_cost"]

    def get_fields(self) -> dict[str, serializers.Field]:
        return {"from": serializers.IntegerField(source="from_count"), **super().get_fields()}


class KindAnswer(serializers.ModelSerializer[Kind]):
    fit = linked()
    supplier = linked("name", allow_null=True)
    scan_codes = linked(many=True)
    price_breaks = PriceBreakAnswer(many=True)
    nominal = LengthField(source="nominal_nm")
    tolerance = LengthField(source="tolerance_nm", allow_null=True)
    reuse_minimum = LengthField(source="reuse_minimum_nm", allow_null=True)
    made_coned = LengthField(source="made_coned_nm", allow_null=True)
    taper_limit = LengthField(source="taper_limit_nm", allow_null=True)
    cone_limit = LengthField(source="cone_limit_nm", allow_null=True)
    warp_limit = LengthField(source="warp_limit_nm", allow_null=True)

    class Meta:
        model = Kind
        fields = [
            "id", "code", "fit", "role", "nominal", "lined_faces", "tolerance", "reuse_minimum", "set_of", "mark",
            "material", "facing", "groove", "made_coned", "taper_limit", "cone_limit", "warp_limit", "scan_codes",
            "supplier", "unit_cost", "price_breaks", "pack_size", "lead_days",
        ]  # fmt: skip


class SlotAnswer(serializers.ModelSerializer[Slot]):
    fit = linked()
    fits = serializers.SerializerMethodField()
    nominal = LengthField(source="nominal_nm", allow_null=True)
    reuse_minimum = LengthField(source="reuse_minimum_nm", allow_null=True)
    cone_limit = LengthField(source="cone_limit_nm", allow_null=True)
    thinnest = LengthField(source="thinnest_nm", allow_null=True)
    thickest = LengthField(source="thickest_nm", allow_null=True)

    class Meta:
        model = Slot
        fields = [
            "name", "role", "fit", "count", "lined_faces", "swap", "extra", "nominal", "reuse_minimum",
            "cone_limit", "thinnest", "thickest", "fits", "material", "facing", "place",
        ]  # fmt: skip

    def get_fits(self, slot: Slot) -> list[str]:
        return sorted(further.fit.code for further in slot.further_fits.all())


class RevisedAnswer(serializers.ModelSerializer[Spec]):
    """Who made a revision, when and why."""

    by, at = linked("username", source="revised_by"), serializers.DateTimeField(source="revised_at")

    class Meta:
        model = Spec
        fields = ["by", "at", "reason"]


class SpecAnswer(serializers.ModelSerializer[Spec]):
    window = serializers.SerializerMethodField()
    counted_frictions = serializers.SerializerMethodField()
    limit_low = LengthField(source="limit_low_nm", allow_null=True)
    limit_high = LengthField(source="limit_high_nm", allow_null=True)
    wave = serializers.SerializerMethodField()
    hydraulics = serializers.SerializerMethodField()
    spread = LengthField(source="spread_nm", allow_null=True)
    splines = LengthField(source="splines_nm", allow_null=True)
    slots = SlotAnswer(many=True)
    reads_wave, reads_soak = serializers.CharField(), serializers.CharField()  # blank where the spec says nothing
    replaced_by = linked("revision", allow_null=True)
    revised = serializers.SerializerMethodField()

    class Meta:
        model = Spec
        fields = [
            "id", "code", "revision", "replaced_by", "revised", "title", "measures",
            "window", "counted_frictions", "limit_low", "limit_high", "wave",
            "reads_wave", "reads_method", "reads_soak", "reads_load", "hydraulics", "adjustable", "set_only",
            "spread", "splines", "liftable", "slots",
        ]  # fmt: skip

    @extend_schema_field(RevisedAnswer(allow_null=True))
    def get_revised(self, spec: Spec) -> Any:
        return RevisedAnswer(spec).data if spec.revision > 1 else None

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

    def get_hydraulics(self, spec: Spec) -> dict[str, Any] | None:
        return hydraulics_answer(spec.hydraulics)
