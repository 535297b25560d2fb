"""What the owner types about people, terminals and the shop, and everybody about the own password and PIN."""

from typing import Any

from django import forms

from plates.lengths import inch, mm
from shop.forms import CodeField, DecimalField, IntegerField, LengthField, PageForm
from shop.people.models import GIVEN_DAYS, Person, Role
from shop.people.services import LONGEST_NAME
from shop.people.settings import LENGTHS, MINUTES, NAMES


def secret_field(label: str, **kwargs: Any) -> forms.CharField:
    """A field that shows dots and is never filled in again."""
    autocomplete = kwargs.pop("autocomplete", "new-password")
    widget = forms.PasswordInput(attrs={"autocomplete": autocomplete})
    return forms.CharField(label=label, strip=False, max_length=128, widget=widget, **kwargs)


def _pin(label: str) -> forms.CharField:
    field = secret_field(label, autocomplete="off", help_text="4 to 8 digits.")
    field.widget.attrs |= {"inputmode": "numeric", "maxlength": 8}
    return field


class ProvenForm(PageForm):
    """What opens doors to somebody, or more of them: the owner says who sits there once more."""

    now = secret_field("Your own password, or PIN", autocomplete="current-password")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order_fields([*(name for name in self.fields if name != "now"), "now"])


#: What becomes of a password that the owner sets for somebody.
_GIVEN = f"Good for {GIVEN_DAYS} days: whoever gets it chooses another one at sign-in."


class NewPersonForm(ProvenForm):
    focus = "username"
    POINTED = {"/username": "username", "/password": "password"}
    username = forms.CharField(label="Name", max_length=40, help_text="Typed at every sign-in; stands on slips.")
    role = forms.ChoiceField(choices=Role.choices, widget=forms.RadioSelect, initial=Role.BENCH)
    password = secret_field("First password", help_text=f"At least 10 characters. {_GIVEN}")


class RoleForm(ProvenForm):
    POINTED = {"/role": "role"}
    role = forms.ChoiceField(choices=Role.choices, widget=forms.RadioSelect)


class PasswordForm(ProvenForm):
    POINTED = {"/password": "password"}
    password = secret_field("New password", help_text=f"At least 10 characters. {_GIVEN}")


class PinForm(ProvenForm):
    POINTED = {"/pin": "pin"}
    pin = _pin("New PIN")


class OwnPasswordForm(PageForm):
    POINTED = {"/password": "password"}
    password = secret_field("New password", help_text="At least 10 characters.")
    password_now = secret_field("Password now", autocomplete="current-password")
    field_order = ["password_now", "password"]


class OwnPinForm(PageForm):
    POINTED = {"/pin": "pin", "/now": "now"}
    pin = _pin("New PIN")
    now = secret_field("Password now, or PIN now", autocomplete="current-password")
    field_order = ["now", "pin"]


class TerminalForm(PageForm):
    focus = ""
    POINTED = {"/code": "code"}
    code = CodeField(label="Name of the terminal", help_text="Where it stands, as bench-2.")


class SettingsForm(PageForm):
    """Every setting of the shop; cleans to the fields of the shop."""

    focus = "name"
    name = forms.CharField(label=NAMES["name"], max_length=LONGEST_NAME)
    unit_first = forms.ChoiceField(
        label=NAMES["unit_first"], choices=[("in", "inch"), ("mm", "millimetre")], widget=forms.RadioSelect
    )
    second_person = forms.BooleanField(label="Old plates need a second person who agrees", required=False)
    code_required = forms.BooleanField(label="Whoever signs in by password gives a one-time code, too", required=False)
    sure_level = DecimalField(
        label="Sure from, in percent", max_digits=5, decimal_places=2, help_text="Of landing in the window."
    )
    hold_minutes = IntegerField(label="A hold runs out after, in minutes")
    lock_minutes = IntegerField(label="Lock after, in minutes", help_text="Of nobody doing anything.")
    spread_nm = LengthField(
        label="Readings of one pack may spread", help_text="Or a quarter of the window, whichever is more."
    )
    u_feeler_nm, u_indicator_nm, u_depth_nm, u_air_nm = (
        LengthField(label=NAMES[f"u_{method}_nm"]) for method in ("feeler", "indicator", "depth", "air")
    )
    u_single_nm, u_wave_nm, u_micrometer_nm, u_stacked_nm = (
        LengthField(label=NAMES[f"u_{name}_nm"]) for name in ("single", "wave", "micrometer", "stacked")
    )
    POINTED = {f"/{field}": field for field in NAMES}
    #: The figures under a heading of their own.
    UNCERTAINTIES = [field for field in LENGTHS if field.startswith("u_")]

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        shop = person.shop
        initial = {field: getattr(shop, field) for field in NAMES}
        initial["sure_level"] = f"{shop.sure_level * 100:g}"
        for field in LENGTHS:
            initial[field] = _said(initial[field], shop.unit_first)
        super().__init__(*args, person=person, initial=initial, **kwargs)
        for field in ("sure_level", *MINUTES):
            self.fields[field].widget = forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"})

    def values(self) -> dict[str, Any]:
        """By the fields of the shop, as :func:`settings_change` takes them."""
        said = dict(self.cleaned_data)
        said["sure_level"] = float(said["sure_level"] / 100)
        return {**said, **{field: said[field].nm for field in LENGTHS}}


def _said(length_nm: int, unit_first: str) -> str:
    """A length to the last nanometre, in the unit in which that needs the fewest places."""
    if unit_first == "in" and length_nm % 2540 == 0:
        return f"{inch(length_nm)} in"
    return f"{mm(length_nm, 6).rstrip('0').rstrip('.')} mm"
