"""The forms of the estimates: what a spec knows of its unit's hydraulics, and the clearance to look at."""

from typing import Any

from django import forms

from plates.catalogue.hydraulics import LENGTHS, Hydraulics, Pressure, hydraulics_read
from plates.measuring.quantities import (
    DENSITY,
    FORCE,
    PRESSURE,
    RATE,
    VISCOSITY,
    VOLUME,
    WARMER,
    QuantityError,
    Scale,
    quantity_parse,
)
from shop.forms import DecimalField, LengthField, PageForm


class QuantityField(forms.CharField):
    """A quantity with its unit. Cleans to a Quantity, or None when blank."""

    def __init__(self, scale: Scale, label: str, **kwargs: Any) -> None:
        self.scale = scale
        example = kwargs.pop("help_text", "")
        super().__init__(label=label, required=False, max_length=40, help_text=example, **kwargs)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {**super().widget_attrs(widget), "autocomplete": "off", "spellcheck": "false"}

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            return quantity_parse(text, self.scale)
        except QuantityError as error:
            raise forms.ValidationError(str(error)) from None


def _length(label: str, **more: Any) -> LengthField:
    return LengthField(label=label, required=False, unit_needed=True, **more)


def _share(label: str, **more: Any) -> DecimalField:
    return DecimalField(label=label, required=False, min_value=0, max_value=1, max_digits=4, decimal_places=3, **more)


def _governs() -> forms.ChoiceField:
    choices = [("", "they agree"), *((unit, f"{unit} governs") for unit in PRESSURE.units)]
    return forms.ChoiceField(choices=choices, required=False, label="Where the two disagree")


class HydraulicsForm(PageForm):
    focus = ""
    prefix = "hydraulics"
    piston_outer = _length("Piston, outer diameter", help_text="With its unit, as all lengths here: 5.5 in.")
    piston_inner = _length("Piston, inner diameter", zero=True, help_text="0 in where it is a full disc.")
    orifice = _length("Feed orifice, diameter")
    pressure = QuantityField(PRESSURE, "Pressure across the orifice", help_text="Net, of oil: 40 psi or 276 kPa.")
    pressure_also = QuantityField(PRESSURE, "The same, other unit", help_text="Only where both are printed.")
    pressure_governs = _governs()
    apply_pressure = QuantityField(PRESSURE, "Apply pressure", help_text="Of the oil, while the pack holds.")
    apply_pressure_also = QuantityField(PRESSURE, "The same, other unit", help_text="Only where both are printed.")
    apply_pressure_governs = _governs()
    spring_rest = QuantityField(FORCE, "Return springs, force at rest", help_text="All together: 250 lbf or 1100 N.")
    spring_rate = QuantityField(RATE, "Return springs, rate", help_text="All together: 2400 lbf/in or 420 N/mm.")
    friction = _share("Coefficient of friction")
    face_outer, face_inner = _length("Rubbing faces, outer diameter"), _length("Rubbing faces, inner diameter")
    discharge = _share("Discharge coefficient", help_text="Left blank: 0.65.")
    density = QuantityField(DENSITY, "Density of the oil", help_text="Left blank: 820 kg/m3.")
    viscosity = QuantityField(VISCOSITY, "Viscosity of the oil", help_text="Left blank: warm oil, 7 mm2/s.")
    drum = forms.ChoiceField(
        choices=[("", "not known"), ("aluminium", "aluminium"), ("steel", "steel")], required=False, label="Drum of"
    )
    stack = _length("Stack, length inside the drum")
    warmer = QuantityField(WARMER, "Runs warmer than the bench by", help_text="70 K")

    def hydraulics(self) -> Hydraulics | None:
        """The figures as said, None where all is blank. Raises BadFigures, UnitsDisagree."""
        known = {name: value for name, value in self.cleaned_data.items() if value not in (None, "")}
        said = {**known, **{name: self.length(name) for name in LENGTHS if name in known}}
        for name in ("pressure", "apply_pressure"):
            also, governs = said.pop(f"{name}_also", None), said.pop(f"{name}_governs", "")
            if name in said:
                said[name] = Pressure(said[name], also, governs)
        return hydraulics_read(said) if said else None

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        for name in ("pressure", "apply_pressure"):
            if (said.get(f"{name}_also") or said.get(f"{name}_governs")) and not said.get(name):
                self.add_error(name, "Give the pressure itself as well.")
        return said


class EstimateForm(PageForm):
    """A clearance to look at, as a reading is typed."""

    focus = "clearance"
    clearance = LengthField(label="Clearance")
    learned = QuantityField(VOLUME, "Learned fill", help_text="What the control unit has learned: 12 mL or 0.73 in3.")

    def clean_learned(self) -> Any:
        learned = self.cleaned_data["learned"]
        if learned and not learned.si:
            raise forms.ValidationError("A learned fill is above zero.")
        return learned
