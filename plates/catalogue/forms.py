"""The forms of the catalogue: a fit, a kind, a pack spec with its slots."""

import re
from decimal import Decimal
from typing import Any

from django import forms

from plates.catalogue.kinds import Break
from plates.catalogue.models import Fit, Role, ToothSide
from plates.catalogue.selectors import fits
from plates.catalogue.services import faces_check
from plates.catalogue.spec_models import LIFTABLE, MEASURES, SOAKS, WindowRefused
from plates.catalogue.specs import Convention, SlotData, StackLimits, faces_of
from plates.catalogue.windows import Printed, Window, window_manual, window_rule
from plates.lengths import THICKEST_NM
from plates.measuring.uncertainty import METHODS
from shop.forms import CodeField, DecimalField, IntegerField, LengthField, PageForm
from shop.people.models import Person

#: Rows for slots on a fresh form, and the most of them.
FIRST_ROWS, MOST_ROWS = 3, 40


#: From how many on, and a price with four places at most.
_BREAK = re.compile(r"([0-9]{1,5})\s*:\s*([0-9]{1,8}(?:\.[0-9]{1,4})?)", re.ASCII)


def _text(label: str, most: int = 200, **more: Any) -> forms.CharField:
    return forms.CharField(label=label, required=False, max_length=most, **more)


def _fit(**more: Any) -> forms.ModelChoiceField:
    empty = "choose a fit"
    return forms.ModelChoiceField(queryset=None, to_field_name="code", label="Fit", empty_label=empty, **more)


class FitForm(PageForm):
    code = CodeField(label="Code")
    tooth_side = forms.ChoiceField(choices=ToothSide.choices, label="Teeth", initial="internal")
    teeth = IntegerField(label="Tooth count", min_value=0, max_value=10_000, help_text="0 where there are none.")
    outer = LengthField(label="Outer diameter", unit_needed=True, help_text="With its unit: 5.5 in or 139.7 mm.")
    inner = LengthField(label="Inner diameter", unit_needed=True, help_text="With its unit.")
    tooth_form = _text("Tooth form")
    index = _text("Missing or wide tooth")
    oil_holes = _text("Oil holes")


class KindForm(PageForm):
    code = CodeField(label="Code")
    fit = _fit()
    role = forms.ChoiceField(choices=Role.choices, label="Role")
    nominal = LengthField(label="Nominal thickness", longest_nm=THICKEST_NM)
    lined_faces = forms.TypedChoiceField(
        choices=[("", "both, or none when it is no friction"), ("1", "one"), ("2", "both")],
        coerce=int,
        empty_value=None,
        required=False,
        label="Lined faces",
    )
    tolerance = LengthField(label="Tolerance, plus and minus", required=False)
    reuse_minimum = LengthField(
        label="Reuse minimum", required=False, longest_nm=THICKEST_NM, help_text="From the manual."
    )
    taper_limit = LengthField(
        label="Taper limit", required=False, help_text="Its points range over no more. Beyond any limit: quarantined."
    )
    made_coned = LengthField(label="Made coned by", required=False, help_text="Only where it is coned on purpose.")
    cone_limit = LengthField(label="Cone limit", required=False, help_text="Counted from the cone it is made with.")
    warp_limit = LengthField(label="Warp limit", required=False)
    scan_codes = _text("Scan codes", help_text="Scan the label; a blank between two codes.")
    mark = _text("Mark on the plate")
    material = _text("Material")
    facing = _text("Facing")

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, person=person, **kwargs)
        self.fields["fit"].queryset = fits(person.shop_id)  # type: ignore[attr-defined]


class PriceForm(PageForm):
    focus = "unit_cost"
    unit_cost = DecimalField(
        label="A plate costs", min_value=0, max_digits=12, decimal_places=4, required=False,
        help_text="In the shop's own money; blank where it is not known.",
    )  # fmt: skip
    price_breaks = forms.CharField(
        label="Where more are cheaper", required=False, max_length=1000, widget=forms.Textarea(attrs={"rows": 4}),
        help_text="A line each: from how many at once, a colon, what each of them costs then. 50: 1.95",
    )  # fmt: skip

    def clean_price_breaks(self) -> list[Break]:
        rows = [line.strip() for line in self.cleaned_data["price_breaks"].splitlines() if line.strip()]
        if len(rows) > 20:
            raise forms.ValidationError("A kind has 20 of these at most.")
        found = []
        for row in rows:
            if not (said := _BREAK.fullmatch(row)):
                raise forms.ValidationError(f"{row[:40]!r} cannot be read: write it as 50: 1.95.")
            found.append(Break(int(said[1]), Decimal(said[2])))
        return found


class SlotForm(PageForm):
    focus = ""
    name = forms.CharField(label="Slot", max_length=60, required=False)
    role = forms.ChoiceField(choices=Role.choices, label="Role")
    fit = _fit(required=False)
    count = IntegerField(label="Count", min_value=0, max_value=60, required=False)
    nominal = LengthField(label="Book size", required=False, longest_nm=THICKEST_NM)
    reuse_minimum = LengthField(label="Reuse minimum", required=False, longest_nm=THICKEST_NM)
    cone_limit = LengthField(label="Cone limit", required=False)
    thinnest = LengthField(label="Thinnest that goes in", required=False, longest_nm=THICKEST_NM)
    thickest = LengthField(label="Thickest that goes in", required=False, longest_nm=THICKEST_NM)
    place = _text("Where an odd one goes")
    lined_faces = forms.TypedChoiceField(
        choices=[("", "both"), ("1", "one")], coerce=int, empty_value=None, required=False, label="Lined faces"
    )
    swap = forms.BooleanField(label="may be exchanged to set the pack", required=False)
    extra = IntegerField(
        label="Extra", min_value=0, max_value=20, required=False, help_text="More than the count, where proven."
    )
    fits = _text("Further proven fits", most=2100, help_text="Their codes, a blank between two.")
    material = _text("Material")
    facing = _text("Facing")

    def __init__(self, *args: Any, person: Person, fit_rows: list[Fit], **kwargs: Any) -> None:
        super().__init__(*args, person=person, **kwargs)
        self.by_code = {fit.code: fit for fit in fit_rows}
        choices = [("", "choose a fit"), *((code, code) for code in self.by_code)]
        self.fields["fit"] = forms.ChoiceField(choices=choices, required=False, label="Fit")

    @property
    def blank(self) -> bool:
        return not any(self.data.get(self.add_prefix(name), "").strip() for name in ("name", "fit", "count", "nominal"))

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if not self.blank:
            for name in ("name", "fit"):
                if not said.get(name) and name not in self.errors:
                    self.add_error(name, "Fill this in, or clear the whole row.")
            if said.get("count") is None and "count" not in self.errors:
                self.add_error("count", "How many of them?")
            if strange := [code for code in said.get("fits", "").split() if code not in self.by_code]:
                self.add_error("fits", f"There is no fit {strange[0]!r} in this shop.")
        return said

    def slot(self) -> SlotData:
        """The row as the service takes it. Raises BadFigures."""
        said = self.cleaned_data
        faces = said["lined_faces"] if said["role"] == "friction" else None
        return SlotData(
            name=said["name"],
            role=said["role"],
            fit=self.by_code[said["fit"]],
            count=said["count"],
            lined_faces=faces_check(role=said["role"], lined_faces=faces),
            swap=said["swap"],
            extra=said["extra"] or 0,
            nominal_nm=self.length("nominal"),
            reuse_minimum_nm=self.length("reuse_minimum"),
            cone_limit_nm=self.length("cone_limit"),
            thinnest_nm=self.length("thinnest"),
            thickest_nm=self.length("thickest"),
            place=said["place"],
            material=said["material"],
            facing=said["facing"],
            fits=[self.by_code[code] for code in said["fits"].split()],
        )


class SpecForm(PageForm):
    code = CodeField(label="Code")
    title = forms.CharField(label="Title", max_length=200, help_text="What a rebuilder looks for.")
    measures = forms.ChoiceField(choices=MEASURES, label="Measured as", widget=forms.RadioSelect, initial="gap")
    source = forms.ChoiceField(
        choices=[("manual", "the manual's window"), ("rule", "the rule of the trade, where no manual gives a figure")],
        label="Window",
        widget=forms.RadioSelect,
        initial="manual",
    )
    low = LengthField(label="Low limit", required=False, zero=True)
    high = LengthField(label="High limit", required=False)
    reference = _text("Document and page", most=500)
    also_low = LengthField(label="Low limit, other unit", required=False, zero=True, unit_needed=True)
    also_high = LengthField(
        label="High limit, other unit", required=False, unit_needed=True, help_text="Only where the manual prints both."
    )
    governs = forms.ChoiceField(
        choices=[("", "they agree"), ("in", "inch governs"), ("mm", "mm governs")],
        required=False,
        label="Where the two units disagree",
    )
    target = LengthField(label="Target", required=False, help_text="Left blank: the middle.")
    reads_wave = forms.ChoiceField(
        choices=[("", "no wave plate, or not said"), ("free", "free"), ("flat", "flat")],
        required=False,
        label="Window is read with the wave plate",
    )
    reads_method = forms.ChoiceField(
        choices=[("", "not said"), *METHODS],
        required=False,
        label="The manual reads it by",
    )
    reads_soak = forms.ChoiceField(choices=[("", "not said"), *SOAKS], required=False, label="Frictions when read")
    reads_load = _text("Load on the stack, where the manual prescribes one")
    limit_low = LengthField(label="Lowest allowed, not to build to", required=False, zero=True)
    limit_high = LengthField(label="Highest allowed, not to build to", required=False)
    wave_free = LengthField(label="Wave plate, free height", required=False)
    wave_flat = LengthField(label="Wave plate, flat thickness", required=False)
    fixed = forms.BooleanField(label="The manual gives no adjustment", required=False)
    set_only = forms.BooleanField(label="Replaced as a set only", required=False)
    spread = LengthField(
        label="Steels may differ by", required=False, zero=True, help_text="Left blank: by as much as there is."
    )
    splines = LengthField(
        label="Plates may stand so high",
        required=False,
        help_text="All but the snap rings, so that the last one stays on its splines.",
    )
    liftable = forms.MultipleChoiceField(
        choices=[(rule, words) for rule, words in LIFTABLE.items()],
        required=False,
        label="What the owner may lift, with a reason",
        widget=forms.CheckboxSelectMultiple,
    )

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("source") == "manual":
            for name in ("low", "high", "reference"):
                if not said.get(name) and name not in self.errors:
                    self.add_error(name, "A manual's window gives this.")
        if bool(said.get("wave_free")) != bool(said.get("wave_flat")):
            self.add_error("wave_flat", "Free height and flat thickness go together.")
        if bool(said.get("also_low")) != bool(said.get("also_high")):
            self.add_error("also_high", "Both limits in the other unit, or neither.")
        return said

    def reads(self) -> Convention:
        """How the manual reads the pack."""
        return Convention(*(self.cleaned_data[f"reads_{name}"] for name in ("wave", "method", "soak", "load")))

    def limits(self) -> StackLimits:
        """What the whole stack keeps to."""
        return StackLimits(self.length("spread"), self.length("splines"), self.cleaned_data["liftable"])

    def window(self, slots: list[SlotData]) -> Window:
        """The window as said. Raises WindowRefused, UnitsDisagree."""
        said, target_nm = self.cleaned_data, self.length("target")
        for name in ("low", "high", "also_low", "also_high"):
            if said[name] and "-" in said[name].text:
                raise WindowRefused("Type a manual's limits as they are printed, not as a subtraction.")
        if said["source"] == "rule":
            return window_rule(faces=faces_of(slots), measures=said["measures"], target_nm=target_nm)
        also = Printed(said["also_low"].text, said["also_high"].text) if said["also_low"] else None
        return window_manual(
            low=said["low"].text,
            high=said["high"].text,
            reference=said["reference"],
            also=also,
            governs=said["governs"],
            target_nm=target_nm,
        )

    @property
    def wave_nm(self) -> tuple[int, int] | None:
        free_nm, flat_nm = self.length("wave_free"), self.length("wave_flat")
        return (free_nm, flat_nm) if free_nm is not None and flat_nm is not None else None
