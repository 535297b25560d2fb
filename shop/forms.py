"""Form fields of the trade: what a person may type, understood exactly, with the error beside the field."""

import re
from collections.abc import Mapping
from typing import Any, NamedTuple

from django import forms
from django.urls import reverse_lazy
from django.utils.text import format_lazy

from plates.lengths import LengthError, both, length_parse, reading_parse
from shop.api import CODE
from shop.errors import Malformed, Refusal
from shop.people.badges import is_badge
from shop.people.models import Person
from shop.texts import NOT_PLAIN, line_refused, plain_number

#: Points of one plate, or readings of one pack.
MOST_READINGS = 12


#: What a field for lengths carries: both units of what is typed appear below it, where scripts run.
ECHO = {
    "inputmode": "decimal",
    "autocomplete": "off",
    "hx-get": reverse_lazy("echo"),
    "hx-trigger": "input changed delay:120ms",
    "hx-target": "next .echo",
    "hx-sync": "this:replace",
}


class Said(NamedTuple):
    """A length as typed, its unit written behind it, and in nanometres.

    ``typed`` is what was really typed, for keeping; where no unit was, the one it was read in stands in brackets.
    """

    text: str
    nm: int
    typed: str = ""


#: White space that parts two readings, not a figure from its unit nor the two sides of a subtraction.
_APART = re.compile(r'(?<![-\s])\s++(?!-)(?!(?:in|thou|mm|um|")(?![a-z0-9.]))', re.IGNORECASE)


def reading_said(text: str, unit_first: str, longest_nm: int | None = None) -> Said:
    """One typed reading, above zero, as :func:`~plates.lengths.reading_parse` has it. Raises :class:`LengthError`."""
    text = text.strip()
    plain = re.sub(r"\s*-\s*", "-", text.lower().replace('"', " in").strip())
    plain = re.sub(r"\s*(in|thou|mm|um)$", r" \1", plain)
    typed = reading_parse(plain, unit_first, longest_nm)
    if typed.nm == 0:
        raise LengthError("A reading is above zero.")
    if plain.endswith(typed.unit):
        return Said(plain, typed.nm, text)
    return Said(f"{plain} {typed.unit}", typed.nm, f"{text} [{typed.unit}]")


def readings_said(text: str, unit_first: str, longest_nm: int | None = None) -> list[Said]:
    """Readings typed one after another, blanks between them: ``74 75 73``. Raises :class:`LengthError`."""
    if "," in text:
        raise LengthError("Write a point, not a comma, in a figure, and a blank between two readings.")
    said = [reading_said(part, unit_first, longest_nm) for part in _APART.split(text.strip()) if part]
    if len(said) > MOST_READINGS:
        raise LengthError(f"{len(said)} readings are too many at once; give at most {MOST_READINGS}.")
    return said


def other_unit(text: str) -> str:
    """The same typed figures, meant in the other unit: ``1.955 in`` becomes ``1.955 mm``."""
    figure, unit = text.rsplit(" ", 1)
    return f"{figure} {'in' if unit in ('mm', 'um') else 'mm'}"


class LengthField(forms.CharField):
    """One length. Cleans to :class:`Said`, or None when blank; ``zero``: nothing at all is a length here too;
    ``longest_nm``: nothing that is typed here is longer.
    """

    unit_first = "in"

    def __init__(
        self, *, zero: bool = False, unit_needed: bool = False, longest_nm: int | None = None, **kwargs: Any
    ) -> None:
        self.zero, self.unit_needed, self.longest_nm = zero, unit_needed, longest_nm
        kwargs.setdefault("max_length", 60)
        super().__init__(**kwargs)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        attrs = {**super().widget_attrs(widget), **ECHO}
        if self.longest_nm:
            attrs["hx-get"] = format_lazy("{}?longest={}", ECHO["hx-get"], self.longest_nm)
        return attrs

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            if self.unit_needed:
                said = Said(text, length_parse(text))
            elif self.zero and (typed := reading_parse(text, self.unit_first)).nm == 0:
                said = Said(f"0 {typed.unit}", 0)
            else:
                said = reading_said(text, self.unit_first, self.longest_nm)
        except LengthError as error:
            raise forms.ValidationError(str(error)) from None
        if said.nm == 0 and not self.zero:
            raise forms.ValidationError("A length here is above zero.")
        return said


class ReadingsField(LengthField):
    """Several readings in one field. Cleans to a list of :class:`Said`."""

    default_error_messages = {"required": "Nothing was read. Type a reading and press Enter."}

    def clean(self, value: Any) -> Any:
        text = forms.CharField.clean(self, value)
        try:
            said = readings_said(text or "", self.unit_first, self.longest_nm)
        except LengthError as error:
            raise forms.ValidationError(str(error)) from None
        return said


class CodeField(forms.RegexField):
    """A code: 1 to 40 of letters, digits, point, underscore, hyphen."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("error_messages", {"invalid": "A code is 1 to 40 of letters, digits, . _ and -."})
        super().__init__(regex=CODE, max_length=40, **kwargs)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {**super().widget_attrs(widget), "autocomplete": "off", "spellcheck": "false"}


def _plain(value: Any, refused: Any) -> Any:
    """Digits of ASCII alone, where Python would take those of any script."""
    if isinstance(value, str) and value.strip() and not plain_number(value):
        raise forms.ValidationError(refused)
    return value


class DecimalField(forms.DecimalField):
    """A plain number: a price, a share."""

    default_error_messages = {"invalid": NOT_PLAIN}

    def to_python(self, value: Any) -> Any:
        return super().to_python(_plain(value, self.error_messages["invalid"]))


class FloatField(forms.FloatField):
    """A plain number that need not be exact."""

    default_error_messages = {"invalid": NOT_PLAIN}

    def to_python(self, value: Any) -> Any:
        return super().to_python(_plain(value, self.error_messages["invalid"]))


class IntegerField(forms.IntegerField):
    """A plain whole number."""

    default_error_messages = {"invalid": "Write a whole number with the digits 0 to 9."}

    def to_python(self, value: Any) -> Any:
        return super().to_python(_plain(value, self.error_messages["invalid"]))


#: Why no field keeps what a badge says.
BADGE = "This is a badge: it signs in, under Change person, and is kept nowhere else. Empty the field and type it anew."


def _badge_check(text: str) -> None:
    if is_badge(text):
        raise forms.ValidationError(BADGE)


def _line_check(text: str) -> None:
    if why := line_refused(text):
        raise forms.ValidationError(why)


def line_typed(data: Mapping[str, str], name: str, most: int = 200) -> str:
    """One line out of a form that is read by hand, cut to ``most``. Raises Malformed."""
    text = data.get(name, "").strip()
    if why := BADGE if is_badge(text) else line_refused(text):
        raise Malformed(why, [(f"/{name}", "one line")])
    return text[:most]


class PageForm(forms.Form):
    """A form of the counter: refuses on the server, in words, and reads lengths in the shop's unit first."""

    use_required_attribute = False
    #: The field that has the focus when the page comes up.
    focus = "code"
    #: Which field stands for a member that a service points at.
    POINTED: dict[str, str] = {}

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person
        for name, field in self.fields.items():
            if isinstance(field, LengthField):
                field.unit_first = person.shop.unit_first
            # A secret is read by nobody, and may hold whatever its keyboard writes.
            no_line = isinstance(field.widget, forms.Textarea | forms.PasswordInput)
            no_text = isinstance(field, LengthField | forms.UUIDField)
            if isinstance(field, forms.CharField) and not no_text and not no_line:
                checks = [_badge_check] if isinstance(field, CodeField) else [_badge_check, _line_check]
                field.validators = [*field.validators, *checks]
            if not isinstance(field, ReadingsField):
                field.error_messages["required"] = "Fill this in."
            if name == self.focus:
                field.widget.attrs["autofocus"] = True

    def refuse(self, refusal: Refusal) -> bool:
        """Say the refusal beside the field that it points at; False when it points at none of them."""
        field = next((self.POINTED[at] for at, _ in refusal.errors if at in self.POINTED), None)
        if field is None:
            return False
        self.add_error(field, refusal.detail)
        return True

    def length(self, name: str) -> int | None:
        """Nanometres of a length field, or None when it was left blank."""
        said = self.cleaned_data.get(name)
        return said.nm if said else None


def understood(text: str, unit_first: str, longest_nm: int | None = None) -> list[str]:
    """Both units of each reading typed. Raises :class:`LengthError`."""
    return [both(said.nm, unit_first) for said in readings_said(text, unit_first, longest_nm)]
