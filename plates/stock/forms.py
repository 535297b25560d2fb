"""What the counter types: kind, reading, bin."""

import re
from typing import Any

from django import forms

from plates.catalogue.models import Fit, Kind, Role
from plates.catalogue.selectors import fits
from plates.lengths import THICKEST_NM
from plates.stock.findings import Findings, Reading, second_people
from plates.stock.hand_outs import MOST_AT_ONCE
from plates.stock.models import Bin, Condition, Reason
from plates.stock.selectors import bin_typed
from shop.forms import CodeField, DecimalField, IntegerField, LengthField, PageForm, ReadingsField, Said
from shop.people.models import Person

CONDITIONS = [(Condition.NEW, "new"), (Condition.USED, "used")]


def reading_typed(said: list[Said]) -> Reading:
    """The points of one plate as the stock room takes them, with what was really typed."""
    return Reading([one.text for one in said], [one.nm for one in said], [one.typed for one in said])


class PlateForm(PageForm):
    """One plate that was read: its points, what else was found on it, and by which gauge."""

    focus = "reading"
    reading = ReadingsField(
        longest_nm=THICKEST_NM,
        help_text="Press the micrometer. Several points of the same one: a blank between them.",
    )
    condition = forms.ChoiceField(choices=CONDITIONS, initial="new", widget=forms.RadioSelect, label="Condition")
    gauge = forms.CharField(
        label="Gauge", required=False, max_length=200, help_text="Its code, for as long as it is read with."
    )
    agreed_by = forms.ChoiceField(label="Agreed by, for a used one", required=False)
    cone = LengthField(label="Cone", required=False, zero=True)
    warp = LengthField(label="Warp", required=False, zero=True)
    hot_spot = forms.BooleanField(label="It has a hot spot", required=False)
    confirm = forms.BooleanField(label="It is so: book it as it is", required=False)

    POINTED = {"/gauge": "gauge", "/agreed_by": "agreed_by", "/readings": "reading"}

    def __init__(self, *args: Any, person: Person, kind: Kind, **kwargs: Any) -> None:
        super().__init__(*args, person=person, **kwargs)
        self.fields["reading"].label = f"Reading of one {kind.get_role_display()}"
        self.fields["reading"].widget.attrs |= {"class": "big", "enterkeyhint": "done"}
        self.fields["gauge"].widget.attrs |= {"autocomplete": "off", "spellcheck": "false"}
        if person.shop.second_person:
            names = [other.username for other in second_people(person)]
            self.fields["agreed_by"].choices = [("", "nobody yet"), *((name, name) for name in names)]  # type: ignore[attr-defined]
        else:
            del self.fields["agreed_by"]

    def said(self) -> Reading:
        return reading_typed(self.cleaned_data["reading"])

    def findings(self) -> Findings:
        """What else was found. A hot spot that is not ticked was not said."""
        said = self.cleaned_data
        return Findings(self.length("cone"), self.length("warp"), said["hot_spot"] or None, said.get("agreed_by", ""))


class ScanForm(PlateForm):
    """A plate at *Scan in*: it may be kept apart."""

    box = forms.CharField(
        label="Sealed box or kit", required=False, max_length=200, help_text="What is in it is offered when asked for."
    )
    owner = forms.CharField(
        label="Whose plates", required=False, max_length=200, help_text="A customer's go into no other job."
    )

    POINTED = {**PlateForm.POINTED, "/bin": "reading"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("box", "owner"):
            self.fields[name].widget.attrs |= {"autocomplete": "off", "spellcheck": "false"}


class LotCountForm(PageForm):
    """How many plates a delivery has."""

    focus = "count"

    def __init__(self, *args: Any, least: int, most: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        said = f"Type how many plates came, {least} to {most}. A larger delivery is booked as several lots."
        errors = dict.fromkeys(("required", "invalid", "min_value", "max_value"), said)
        self.fields["count"] = IntegerField(
            label="How many plates are in the delivery?", min_value=least, max_value=most, error_messages=errors,
            help_text="All of one kind, new. Type the number and press Enter.",
            widget=forms.TextInput(
                attrs={"class": "big", "inputmode": "numeric", "autocomplete": "off", "autofocus": True}
            ),
        )  # fmt: skip


class LotReadForm(PageForm):
    """One plate of a lot: its points."""

    focus = "reading"
    reading = ReadingsField()

    POINTED = {"/gauge": "reading", "/readings": "reading", "/bin": "reading"}

    def __init__(self, *args: Any, kind: Kind, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reading"].label = f"Reading of one {kind.get_role_display()} of the lot"
        self.fields["reading"].widget.attrs |= {"class": "big", "enterkeyhint": "done"}

    def said(self) -> Reading:
        return reading_typed(self.cleaned_data["reading"])


class ReadAgainForm(PlateForm):
    """A plate that is read again to be put back: a hot spot that was found may be found gone."""

    hot_spot = forms.ChoiceField(  # type: ignore[assignment]
        label="Hot spot", choices=[("", "as it is known"), ("yes", "yes"), ("no", "none")], required=False
    )

    def findings(self) -> Findings:
        spot = {"yes": True, "no": False}.get(self.cleaned_data["hot_spot"])
        return Findings(self.length("cone"), self.length("warp"), spot, self.cleaned_data.get("agreed_by", ""))


class ScrapForm(PageForm):
    focus = ""
    reason = forms.CharField(label="Why it is scrapped", max_length=500)


#: What a letter behind the count means.
LETTERS = {
    "c": Reason.CASH,
    "l": Reason.LENT,
    "o": Reason.OWN_USE,
    "t": Reason.TRANSFER,
    "w": Reason.WARRANTY,
    "x": Reason.LOST,
}
_OF_A_BIN = re.compile(r"(\S{1,40})\s+(\d{1,4})", re.ASCII)


class HandOutForm(PageForm):
    """How many leave a bin, and why: ``2c`` and Enter are three keys. What leaves other bins with them goes on the same
    hand-out: one note for one box.
    """

    focus = "count"
    POINTED = {"/to": "to"}
    count = forms.CharField(
        label="How many, and why",
        max_length=6,
        help_text="2c: two for cash. c cash, l lent, o own use, t to another shop of ours, w warranty, x lost.",
    )
    reason = forms.ChoiceField(
        label="Why, where no letter says so",
        choices=[("", "choose"), *Reason.choices],
        required=False,
    )
    to = forms.CharField(label="To whom", max_length=200, required=False)
    others = forms.CharField(
        label="Of other bins with them",
        max_length=2_000,
        required=False,
        help_text="Bin and how many, a comma between: B-15 2, B-16 1. All go on one note.",
    )
    due = forms.DateField(label="Back by, of lent ones", required=False, widget=forms.DateInput(attrs={"type": "date"}))
    price = DecimalField(label="Price of all", required=False, min_value=0, max_digits=12, decimal_places=2)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, person=person, **kwargs)
        self.fields["count"].widget.attrs |= {"class": "big", "autocomplete": "off", "enterkeyhint": "done"}

    def clean_others(self) -> list[tuple[Bin, int]]:
        """Each bin named, with how many leave it."""
        found = []
        for text in filter(None, re.split(r"\s*[,;]\s*", self.cleaned_data["others"].strip())):
            typed = _OF_A_BIN.fullmatch(text)
            if typed is None or int(typed[2]) == 0:
                raise forms.ValidationError(f"Type a bin and how many, as B-15 2: “{text}” is not that.")
            named = bin_typed(self.person.shop_id, typed[1])
            if named is None:
                raise forms.ValidationError(f"No bin is called {typed[1]}. Type what stands on its label.")
            found.append((named, int(typed[2])))
        return found

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        typed = re.fullmatch(r"(\d{1,4})\s*([a-z]?)", said.get("count", "").lower(), re.ASCII)
        if "count" not in said:
            return said
        if typed is None or not 1 <= int(typed[1]) <= MOST_AT_ONCE or typed[2] not in ("", *LETTERS):
            self.add_error("count", f"Type how many, 1 to {MOST_AT_ONCE}, and one of {', '.join(LETTERS)}: 2c.")
            return said
        said["count"] = int(typed[1])
        said["reason"] = LETTERS.get(typed[2]) or said.get("reason")
        if not said["reason"]:
            self.add_error("reason", "Say why: choose it here, or type its letter behind the count.")
        return said


class BinForm(PageForm):
    code = CodeField(label="Bin", help_text="What stands on its label, as B-14.")
    fit: "forms.ModelChoiceField[Fit]" = forms.ModelChoiceField(
        queryset=None, to_field_name="code", label="Fit", empty_label="choose a fit"
    )
    role = forms.ChoiceField(choices=Role.choices, label="Holds")
    from_ = LengthField(
        label="From", zero=True, longest_nm=THICKEST_NM, help_text="This thickness still belongs in it."
    )
    to = LengthField(label="To", longest_nm=THICKEST_NM, help_text="This thickness belongs in the next bin.")

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, person=person, **kwargs)
        self.fields["fit"].queryset = fits(person.shop_id)  # type: ignore[attr-defined]
