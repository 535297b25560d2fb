"""The form of a revision: that of a new pack spec, filled with what stands, and why it is to be otherwise."""

from typing import Any

from django import forms

from plates.catalogue.forms import SpecForm
from plates.catalogue.hydraulics import LENGTHS, PRESSURES, hydraulics_of
from plates.catalogue.spec_models import Slot, Spec
from plates.lengths import exact_text, mean_nm


class ReviseForm(SpecForm):
    focus = "title"
    code = None  # type: ignore[assignment]  # it stays
    reason = forms.CharField(
        label="Why is it revised?", max_length=500, help_text="Stands beside what changed, under your name."
    )


def _typed(lengths_nm: dict[str, int | None]) -> dict[str, str]:
    return {name: exact_text(length_nm) for name, length_nm in lengths_nm.items() if length_nm is not None}


def spec_typed(spec: Spec) -> dict[str, Any]:
    """The fields of :class:`ReviseForm` as they would be typed for what stands."""
    window: dict[str, str] = {}
    if spec.source == "manual":
        window = {"low": exact_text(spec.low_nm, spec.unit), "high": exact_text(spec.high_nm, spec.unit)}
    if spec.target_nm != mean_nm([spec.low_nm, spec.high_nm]):
        window["target"] = exact_text(spec.target_nm)
    same = (
        "title", "measures", "source", "reference", "reads_wave", "reads_method", "reads_soak", "reads_load",
        "set_only", "liftable",
    )  # fmt: skip
    lengths = ("limit_low", "limit_high", "wave_free", "wave_flat", "spread", "splines")
    return {
        **{name: getattr(spec, name) for name in same},
        **window,
        **_typed({name: getattr(spec, f"{name}_nm") for name in lengths}),
        "fixed": not spec.adjustable,
    }


def slot_typed(slot: Slot) -> dict[str, Any]:
    """The fields of a slot's row."""
    lengths = ("nominal", "reuse_minimum", "cone_limit", "thinnest", "thickest")
    return {
        **{name: getattr(slot, name) for name in ("name", "role", "count", "swap", "place", "material", "facing")},
        **_typed({name: getattr(slot, f"{name}_nm") for name in lengths}),
        "fit": slot.fit.code,
        "extra": slot.extra or "",
        "lined_faces": slot.lined_faces if slot.lined_faces == 1 else "",
        "fits": " ".join(sorted(further.fit.code for further in slot.further_fits.all())),
    }


def hydraulics_typed(spec: Spec) -> dict[str, Any]:
    """The fields of the hydraulics: what is no length as it was written."""
    known = hydraulics_of(spec.hydraulics)
    said = {**known.given, **_typed({name: getattr(known, f"{name}_nm") for name in LENGTHS})}
    for name in PRESSURES:
        if isinstance(printed := said.get(name), dict):
            said |= {name: printed["value"], f"{name}_also": printed["also"]}
            said[f"{name}_governs"] = printed.get("governs", "")
    return said
