"""What a person may ask of the cover of a pack: the span, and what lies in the slots that may change."""

from typing import Any

from plates.bench.question import Entry, Question, may_adjust
from plates.catalogue.spec_models import Slot, Spec
from plates.lengths import THICKEST_NM, exact_text
from shop.forms import LengthField, PageForm, ReadingsField

#: Left blank, the span of a gap ends at so many times the window's high limit: beyond, a reading is taken for a slip.
FAR_OUT = 4
#: That of a height reaches so many widths of the window beyond it to either side.
BEYOND = 15


class CoverForm(PageForm):
    """Nothing has to be filled in but the plates of a slot that has no book size."""

    focus = ""
    first = LengthField(label="Readings from", required=False)
    last = LengthField(label="to", required=False)

    def __init__(self, spec: Spec, *args: Any, **kwargs: Any) -> None:
        stays = not may_adjust(spec, Question("feeler", [], [], {}))
        self.slots: list[Slot] = [] if stays else [slot for slot in spec.slots.all() if slot.swap or slot.extra]
        beyond_nm = BEYOND * (spec.high_nm - spec.low_nm)
        self.ends_nm = spec.low_nm, FAR_OUT * spec.high_nm
        if spec.measures == "height":
            self.ends_nm = max(1, spec.low_nm - beyond_nm), spec.high_nm + beyond_nm
        super().__init__(*args, **kwargs)
        for slot in self.slots:
            field = self.fields[f"slot{slot.position}"] = _plates(slot)
            field.unit_first = self.person.shop.unit_first
        for name, end_nm in zip(("first", "last"), self.ends_nm, strict=True):
            self.fields[name].help_text = f"Left blank: {exact_text(end_nm)}."

    @property
    def complete(self) -> bool:
        """Whether it can be answered with nothing filled in."""
        return not any(field.required for field in self.fields.values())

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        for slot in self.slots:
            plates = said.get(f"slot{slot.position}")
            if plates and len(plates) != slot.count:
                self.add_error(f"slot{slot.position}", f"It counts {slot.count}; {len(plates)} are given.")
        if not self.errors and self.span()[0] > self.span()[1]:
            self.add_error("last", "The span ends before it begins.")
        return said

    def span(self) -> tuple[int, int]:
        from_nm, to_nm = self.length("first"), self.length("last")
        return self.ends_nm[0] if from_nm is None else from_nm, self.ends_nm[1] if to_nm is None else to_nm

    def installed(self) -> dict[str, list[Entry]]:
        plates = {slot.name: self.cleaned_data[f"slot{slot.position}"] for slot in self.slots}
        return {name: [Entry(one.nm) for one in some] for name, some in plates.items() if some}


def _plates(slot: Slot) -> ReadingsField:
    book_nm = slot.nominal_nm
    said = "No book size: read them." if book_nm is None else f"Left blank: at book size, {exact_text(book_nm)}."
    label = f"{slot.name}, {slot.count} in the pack"
    return ReadingsField(label=label, required=book_nm is None, max_length=400, help_text=said, longest_nm=THICKEST_NM)
