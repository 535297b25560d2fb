"""What the counter types: kind, reading, bin."""

import uuid
from datetime import UTC, datetime
from typing import Any

from django import forms

from plates.catalogue.models import Fit, Kind, Role
from plates.catalogue.selectors import fits
from plates.stock.models import Condition
from plates.stock.services import Reading
from shop.forms import CodeField, LengthField, PageForm, ReadingsField, Said
from shop.people.models import Person
from shop.rows import uuid7

CONDITIONS = [(Condition.NEW, "new"), (Condition.USED, "used")]


class ScanForm(PageForm):
    """One plate: a press of the micrometer. Kind, condition and batch stay as they are from plate to plate."""

    focus = "reading"
    reading = ReadingsField(help_text="Press the micrometer. Several points of the same one: a blank between them.")
    condition = forms.ChoiceField(choices=CONDITIONS, initial="new", widget=forms.RadioSelect, label="Condition")
    confirm = forms.BooleanField(required=False)

    def __init__(self, *args: Any, person: Person, kind: Kind, **kwargs: Any) -> None:
        super().__init__(*args, person=person, **kwargs)
        self.fields["reading"].label = f"Reading of one {kind.get_role_display()}"
        self.fields["reading"].widget.attrs |= {"class": "big", "enterkeyhint": "done"}

    def said(self) -> Reading:
        """The reading as the stock room takes it."""
        readings: list[Said] = self.cleaned_data["reading"]
        return Reading([said.text for said in readings], [said.nm for said in readings])


class BinForm(PageForm):
    code = CodeField(label="Bin", help_text="What stands on its label, as B-14.")
    fit: "forms.ModelChoiceField[Fit]" = forms.ModelChoiceField(
        queryset=None, to_field_name="code", label="Fit", empty_label="choose a fit"
    )
    role = forms.ChoiceField(choices=Role.choices, label="Holds")
    from_ = LengthField(label="From", zero=True, help_text="This thickness still belongs in it.")
    to = LengthField(label="To", help_text="This thickness belongs in the next bin.")

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, person=person, **kwargs)
        self.fields["fit"].queryset = fits(person.shop_id)  # type: ignore[attr-defined]


def batch_of(text: str) -> uuid.UUID | None:
    """The batch named in an address: a time-ordered key, or None when it is not one."""
    try:
        batch = uuid.UUID(text)
        batch_began(batch)
    except (ValueError, OverflowError):
        return None
    return batch if batch.version == 7 else None


def batch_new() -> uuid.UUID:
    return uuid7()


def batch_began(batch: uuid.UUID) -> datetime:
    """When a batch began: it stands in its key."""
    return datetime.fromtimestamp((batch.int >> 80) / 1000, UTC)
