"""What the catalogue reads over HTTP, and the slots and windows that it makes."""

from typing import Any

from rest_framework import serializers

from plates.catalogue import services, specs
from plates.catalogue.hydraulics_body import HydraulicsBody
from plates.catalogue.models import Fit, Role, ToothSide
from plates.catalogue.spec_models import LIFTABLE, MEASURES, SOAKS, WAVE_STATES
from plates.catalogue.windows import Printed, Window, window_manual, window_rule
from plates.measuring.uncertainty import METHODS
from shop.api import Body, CodeField, LengthField, TypedLengthField, by_code, text_field


class FitBody(Body):
    code = CodeField()
    tooth_side = serializers.ChoiceField(ToothSide.choices)
    teeth = serializers.IntegerField(min_value=0, max_value=10_000)
    outer = LengthField()
    inner = LengthField()
    tooth_form, index, oil_holes = text_field(), text_field(), text_field()


#: The members of a kind that are lengths.
KIND_LENGTHS = ("nominal", "tolerance", "reuse_minimum", "made_coned", "taper_limit", "cone_limit", "warp_limit")


class PriceBreakBody(Body):
    """Plates cost so much each when so many or more are ordered at once."""

    unit_cost = serializers.DecimalField(12, 4, min_value=0)

    def get_fields(self) -> dict[str, serializers.Field]:
        return {"from": serializers.IntegerField(min_value=2, max_value=100_000), **super().get_fields()}


class KindBody(Body):
    code = CodeField()
    fit = CodeField()
    role = serializers.ChoiceField(Role.choices)
    nominal = LengthField()
    lined_faces = serializers.IntegerField(min_value=0, max_value=2, required=False)
    tolerance = LengthField(required=False)
    reuse_minimum = LengthField(required=False)
    made_coned = LengthField(required=False)
    taper_limit, cone_limit = LengthField(required=False), LengthField(required=False)
    warp_limit = LengthField(required=False)
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
    price_breaks = PriceBreakBody(many=True, required=False, max_length=20)  # type: ignore[call-arg]
    pack_size = serializers.IntegerField(min_value=1, max_value=1_000_000, required=False)
    lead_days = serializers.IntegerField(min_value=0, max_value=10_000, required=False)


class PrintedBody(Body):
    low, high = TypedLengthField(zero=True), TypedLengthField()


class WindowBody(Body):
    source = serializers.ChoiceField(["rule", "manual"])  # type: ignore[assignment]
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
    reuse_minimum, cone_limit = LengthField(required=False), LengthField(required=False)
    thinnest, thickest = LengthField(required=False), LengthField(required=False)
    fits = serializers.ListField(child=CodeField(), required=False, max_length=50)
    material, facing, place = text_field(), text_field(), text_field()


class FiguresBody(Body):
    title = serializers.CharField(max_length=200)
    measures = serializers.ChoiceField(MEASURES)
    window = WindowBody()
    slots = SlotBody(many=True, min_length=1, max_length=40)  # type: ignore[call-arg]
    target = LengthField(required=False)
    limit_low, limit_high = LengthField(required=False, zero=True), LengthField(required=False)
    wave = WaveBody(required=False)
    reads_wave = serializers.ChoiceField(WAVE_STATES, required=False)
    reads_method = serializers.ChoiceField(METHODS, required=False)
    reads_soak = serializers.ChoiceField(SOAKS, required=False)
    reads_load = serializers.CharField(max_length=100, required=False)
    hydraulics = HydraulicsBody(required=False)
    adjustable = serializers.BooleanField(default=True)
    set_only = serializers.BooleanField(default=False)
    spread = LengthField(required=False, zero=True, help_text="how much the steels of one pack may differ")
    splines = LengthField(required=False, help_text="how high all plates but the snap rings may stand")
    liftable = serializers.ListField(
        child=serializers.ChoiceField(list(LIFTABLE)), required=False, help_text="rules that the owner may lift"
    )


class SpecBody(FiguresBody):
    code = CodeField()


class ReviseBody(FiguresBody):
    """The whole pack spec as it is to be from now on: what is left out is no longer there."""

    revision = serializers.IntegerField(min_value=1, help_text="the one that this replaces")
    reason = serializers.CharField(max_length=500)


def beside(body: dict[str, Any], name: str) -> int | None:
    """Target and outer limits may stand in the window or beside it."""
    found: int | None = body.get(name, body["window"].get(name))
    return found


def slot_of(slot: dict[str, Any], at: str, fits: dict[str, Fit]) -> specs.SlotData:
    def fit_of(code: str, pointer: str) -> Fit:
        if code not in fits:
            by_code(Fit.objects.none(), code, pointer)
        return fits[code]

    return specs.SlotData(
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
        reuse_minimum_nm=slot.get("reuse_minimum"),
        cone_limit_nm=slot.get("cone_limit"),
        thinnest_nm=slot.get("thinnest"),
        thickest_nm=slot.get("thickest"),
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
