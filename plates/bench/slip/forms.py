"""What a person types with a plate in the hand: its reading at the bin, and what becomes of one that came out."""

import uuid
from collections.abc import Iterable, Sequence
from typing import Any

from django import forms

from plates.bench.slip.outs import FATES, Out
from plates.bench.slip.pull import Pull
from plates.catalogue.models import Kind
from plates.catalogue.selectors import kinds
from plates.lengths import THICKEST_NM, length_parse
from plates.stock.findings import Findings, Reading, second_people
from plates.stock.forms import CONDITIONS
from plates.stock.selectors import bins
from shop.api import by_code
from shop.forms import LengthField, PageForm, ReadingsField, Said
from shop.people.models import Person

FINDS = "Press the micrometer: the reading finds its row."
GAUGE_HELP = "Its code, for as long as you read with it."


def reading_of(said: Iterable[Said]) -> Reading:
    """What was typed, as the stock room takes it."""
    points = list(said)
    return Reading([one.text for one in points], [one.nm for one in points], [one.typed for one in points])


def second_choice(person: Person) -> list[tuple[str, str]]:
    """Who else may agree, where the shop wants a second person; else nothing."""
    if not person.shop.second_person:
        return []
    return [("", "nobody yet"), *((other.username, other.username) for other in second_people(person))]


class PullForm(PageForm):
    """One press of the micrometer; the gauge stays. ``plate`` and ``then`` come with an answer to a mismatch."""

    focus = "reading"
    reading = ReadingsField(
        label="Reading of the next one in the hand",
        longest_nm=THICKEST_NM,
        help_text=f"{FINDS} Enter on the blank field goes on unread.",
    )
    gauge = forms.CharField(label="Gauge", required=False, max_length=200, help_text=GAUGE_HELP)
    plate = forms.UUIDField(required=False, widget=forms.HiddenInput)
    then = forms.ChoiceField(
        choices=[("", ""), ("keep", "keep"), ("rematch", "rematch")], required=False, widget=forms.HiddenInput
    )
    agreed = forms.BooleanField(required=False, widget=forms.HiddenInput)
    agreed_by = forms.CharField(required=False, max_length=200, widget=forms.HiddenInput)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, person=person, **kwargs)
        self.fields["reading"].widget.attrs |= {"class": "big", "enterkeyhint": "done"}
        self.fields["gauge"].widget.attrs |= {"autocomplete": "off", "spellcheck": "false"}

    def pull(self, plate: uuid.UUID) -> Pull:
        said = self.cleaned_data
        return Pull(
            plate=plate,
            reading=reading_of(said["reading"]),
            gauge=said["gauge"].strip(),
            then=said["then"],
            agreed=said["agreed"],
            agreed_by=said["agreed_by"],
        )


class OutForm(PageForm):
    """What becomes of one plate that came out. One key is enough; the rest is for a plate that is looked at more."""

    focus = ""
    POINTED = {
        "/outs/0/readings": "reading",
        **{f"/outs/0/{name}": name for name in ("kind", "bin", "gauge", "to_job", "agreed_by")},
    }
    slot = forms.CharField(max_length=60, widget=forms.HiddenInput)
    thickness = forms.CharField(max_length=60, widget=forms.HiddenInput)
    fate = forms.ChoiceField(choices=list(FATES.items()), widget=forms.HiddenInput)
    reading = ReadingsField(
        label="Read again",
        required=False,
        longest_nm=THICKEST_NM,
        help_text="Left blank, it stays as it was read.",
    )
    kind = forms.CharField(label="Kind", required=False, widget=forms.Select)
    bin = forms.CharField(label="Bin", required=False, max_length=40, help_text="Left blank: the one that spans it.")
    condition = forms.ChoiceField(
        label="Condition", choices=[("", "used, where it ran"), *CONDITIONS], required=False
    )
    gauge = forms.CharField(label="Gauge", required=False, max_length=200, help_text="With a reading.")
    cone = LengthField(label="Cone", required=False, zero=True)
    hot_spot = forms.BooleanField(label="It has a hot spot", required=False)
    to_job = forms.CharField(label="Job of the other pack", required=False, max_length=60)
    agreed_by = forms.ChoiceField(label="Agreed by", required=False)
    confirm = forms.BooleanField(label="It is so: book it as it is", required=False)

    def __init__(
        self,
        *args: Any,
        person: Person,
        fitting: Iterable[Kind],
        second: Sequence[tuple[str, str]],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, person=person, **kwargs)
        codes = [(kind.code, kind.code) for kind in fitting]
        self.fields["kind"].widget.choices = [("", "the nearest"), *codes]
        if second:
            self.fields["agreed_by"].choices = second  # type: ignore[attr-defined]
        else:
            del self.fields["agreed_by"]

    def mark_wrong(self) -> bool:
        """Give the focus to the first field that a person can put right; False when there is none."""
        wrong = next((field for field in self.visible_fields() if field.errors), None)
        if wrong is None:
            return False
        wrong.field.widget.attrs["autofocus"] = True
        return True

    def out(self) -> Out:
        """Raises Malformed for a bin or kind that is not there, LengthError for a thickness that is none."""
        said, shop_id = self.cleaned_data, self.person.shop_id
        points: list[Said] = said["reading"]
        return Out(
            slot=said["slot"],
            thickness=Reading([said["thickness"]], [length_parse(said["thickness"])]),
            fate=said["fate"],
            reading=reading_of(points) if points else None,
            kind=by_code(kinds(shop_id), said["kind"], "/outs/0/kind") if said["kind"] else None,
            bin=by_code(bins(shop_id), code, "/outs/0/bin") if (code := said["bin"].strip()) else None,
            condition=said["condition"] or None,
            gauge=said["gauge"].strip(),
            findings=Findings(self.length("cone"), None, said["hot_spot"] or None, said.get("agreed_by", "")),
            to_job=said["to_job"].strip(),
            confirm=said["confirm"],
        )
