"""Which labels, and on what they are printed."""

from typing import Any

from django import forms

from plates.catalogue.models import Fit, Role
from plates.catalogue.selectors import fits
from plates.labels.sheets import SHEETS, SINGLES, Sheet, SheetRefused, Size
from plates.lengths import inch, mm
from shop.forms import IntegerField, LengthField, PageForm

SORTS = [("bin", "bins"), ("kind", "kinds"), ("job", "job tickets")]
PAPERS = [
    *((name, f"one by one, {size}") for name, size in SINGLES.items()),
    ("a4", "sheet of A4"),
    ("letter", "sheet of US Letter"),
]


class WhichForm(PageForm):
    """What is listed to choose from."""

    focus = "find"
    fit: "forms.ModelChoiceField[Fit]" = forms.ModelChoiceField(
        queryset=None, to_field_name="code", label="Fit", required=False, empty_label="any fit"
    )
    role = forms.ChoiceField(label="Role", choices=[("", "any role"), *Role.choices], required=False)
    find = forms.CharField(label="Part of the code", required=False, max_length=40)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["fit"].queryset = fits(self.person.shop_id)  # type: ignore[attr-defined]


class PaperForm(PageForm):
    """Single labels, or a sheet: what is left blank is as :data:`SHEETS` has it for that paper."""

    focus = ""
    paper = forms.ChoiceField(label="Printed on", choices=PAPERS, required=False)
    skip = IntegerField(
        label="Labels used already", min_value=0, max_value=500, required=False,
        help_text="Of a sheet: so many places are left out, row by row.",
    )  # fmt: skip
    wide = LengthField(label="Width of a label", required=False, unit_needed=True)
    tall = LengthField(label="Height of a label", required=False, unit_needed=True)
    left = LengthField(label="Left edge to the first label", required=False, unit_needed=True, zero=True)
    top = LengthField(label="Top edge to the first label", required=False, unit_needed=True, zero=True)
    across = LengthField(label="From one label to the next", required=False, unit_needed=True)
    down = LengthField(label="From one row to the next", required=False, unit_needed=True)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in self.MEASURES:
            a4, letter = (_usual(SHEETS[paper], name) for paper in ("a4", "letter"))
            self.fields[name].help_text = f"Blank: {mm(a4, 1)} mm on A4, {inch(letter, 1)} in on US Letter."

    POINTED = {f"/{name}": name for name in ("skip", "wide", "left", "across", "down")}
    MEASURES = ("wide", "tall", "left", "top", "across", "down")

    @property
    def another(self) -> bool:
        """Whether a measure of the sheet was given."""
        return any(self.data.get(name) for name in self.MEASURES)

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if not self.errors:
            said["paper"] = said["paper"] or next(iter(SINGLES))
            try:
                said["sheet"] = self._sheet(said["paper"])
            except SheetRefused as refusal:
                self.refuse(refusal)
        return said

    def _sheet(self, paper: str) -> Sheet | None:
        usual = SHEETS.get(paper)
        if usual is None:
            return None
        wide_nm, tall_nm, left_nm, top_nm, across_nm, down_nm = (
            _usual(usual, name) if self.length(name) is None else self.length(name) or 0 for name in self.MEASURES
        )
        return Sheet(usual.paper, Size(wide_nm, tall_nm), left_nm, top_nm, across_nm, down_nm)


def _usual(sheet: Sheet, name: str) -> int:
    """What a sheet has for a field of the form, in nanometres."""
    length_nm: int = getattr(sheet.label if name in ("wide", "tall") else sheet, f"{name}_nm")
    return length_nm
