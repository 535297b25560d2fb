"""Counting a bin at the counter: one press of the micrometer a plate, then a second look at what differs."""

import uuid
from collections.abc import Callable
from typing import Any

from django import forms
from django.http import Http404, HttpResponse
from django.shortcuts import resolve_url
from django.views.decorators.http import require_GET, require_POST

from plates.catalogue.selectors import kind_by_code
from plates.lengths import THICKEST_NM, both
from plates.stock import counts, selectors
from plates.stock.bin_pages import bin_or_404
from plates.stock.count_book import Fate, SecondLook, count_book
from plates.stock.count_models import BinCount
from plates.stock.counts import Counted
from plates.stock.findings import second_people
from plates.stock.forms import reading_typed
from plates.stock.models import Condition, Plate, State
from shop.errors import Refusal
from shop.forms import PageForm, ReadingsField, line_typed
from shop.once import Answer, Once
from shop.people.models import Person
from shop.rows import id_of
from shop.web import PageRequest, act, forbidden, key_new, page, shown


class ReadForm(PageForm):
    focus = "reading"
    POINTED = {"/readings": "reading", "/gauge": "reading"}
    reading = ReadingsField(label="Reading", longest_nm=THICKEST_NM, help_text="Press the micrometer, once a plate.")

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, person=person, **kwargs)
        self.fields["reading"].widget.attrs |= {"class": "big", "enterkeyhint": "done"}


class LookForm(PageForm):
    """A second look at what differs: fields for each plate missing or doubtful and each reading without a plate."""

    focus = ""

    def __init__(self, *args: Any, count: BinCount, found: Counted, person: Person, **kwargs: Any) -> None:
        self.found = found
        lost = counts.lost_before(count, [found.readings_nm[row] for row in found.over]) if found.over else []
        super().__init__(*args, person=person, **kwargs)
        for plate in found.missing:
            self.fields[f"gone-{plate.pk}"] = forms.BooleanField(required=False, label="It is not there")
            self._read_again(f"plate-{plate.pk}", "Or it is there, and reads")
        for _, plate in found.doubtful:
            self._read_again(f"plate-{plate.pk}", "Read it once more")
        for row in found.over:
            choices = [("", "choose"), ("twice", "one that was read twice")]
            choices += [(f"back:{one.pk}", self._lost_said(one)) for one in lost]
            choices += [
                (f"{condition}:{kind.code}", f"a {condition} {kind.code}")
                for kind in counts.kinds_read(found, row)
                for condition in (Condition.NEW.value, Condition.USED.value)
            ]
            self.fields[f"fate-{row}"] = forms.ChoiceField(choices=choices, required=False, label="It is")
            self._read_again(f"row-{row}", "Read it once more")
        if person.shop.second_person and found.over:
            names = [(other.username, other.username) for other in second_people(person)]
            self.fields["agreed_by"] = forms.ChoiceField(
                choices=[("", "nobody yet"), *names], required=False, label="Agreed by, for used ones"
            )

    def _read_again(self, name: str, label: str) -> None:
        field = ReadingsField(label=label, required=False, longest_nm=THICKEST_NM)
        field.unit_first = self.person.shop.unit_first
        self.fields[name] = field

    def _lost_said(self, plate: Plate) -> str:
        at = plate.hand_out.at if plate.hand_out else None
        return f"the {plate.kind.code} of {both(plate.thickness_nm, self.person.shop.unit_first)} lost {at:%Y-%m-%d}"

    def look(self) -> SecondLook:
        said = self.cleaned_data
        differ = [*self.found.missing, *(plate for _, plate in self.found.doubtful)]
        return SecondLook(
            gone=frozenset(plate.pk for plate in self.found.missing if said[f"gone-{plate.pk}"]),
            plates={one.pk: reading_typed(said[f"plate-{one.pk}"]) for one in differ if said[f"plate-{one.pk}"]},
            rows={row: reading_typed(said[f"row-{row}"]) for row in self.found.over if said[f"row-{row}"]},
            fates={row: self._fate(said[f"fate-{row}"]) for row in self.found.over if said[f"fate-{row}"]},
            agreed_by=said.get("agreed_by", ""),
        )

    def _fate(self, chosen: str) -> Fate:
        if chosen == "twice":
            return Fate()
        what, _, which = chosen.partition(":")
        if what == "back":
            return Fate(back=uuid.UUID(which))
        return Fate(kind=kind_by_code(shop_id=self.person.shop_id, kind=which), condition=what)

    def refuse(self, refusal: Refusal) -> bool:
        """Each thing to look at again beside its field; one that has moved since has none."""
        for pointer, detail in refusal.errors:
            place, _, which = pointer.strip("/").partition("/")
            name = {"plates": f"plate-{which}", "rows": f"row-{which}", "agreed_by": "agreed_by"}.get(place, "")
            self.add_error(name if name in self.fields else None, detail)
        return bool(refusal.errors)

    def missing(self) -> list[dict[str, Any]]:
        return [
            {"plate": one, "held": one.state == State.HELD, "fields": [self[f"gone-{one.pk}"], self[f"plate-{one.pk}"]]}
            for one in self.found.missing
        ]

    def doubtful(self) -> list[dict[str, Any]]:
        return [
            {"plate": one, "first_nm": self.found.readings_nm[row], "fields": [self[f"plate-{one.pk}"]]}
            for row, one in self.found.doubtful
        ]

    def over(self) -> list[dict[str, Any]]:
        return [
            {"first_nm": self.found.readings_nm[row], "fields": [self[f"fate-{row}"], self[f"row-{row}"]]}
            for row in self.found.over
        ]


def count_or_404(request: PageRequest, pk: str) -> BinCount:
    key = id_of(pk)
    if key is None:
        raise Http404("That is not the id of a count.")
    found = selectors.counts(request.user.shop_id).filter(pk=key).first()
    if found is None:
        raise Http404("No count has this id.")
    return found


def _to(count: BinCount) -> Answer:
    return Answer(303, {"to": resolve_url("count", count.pk)})


@require_POST
@page
def begin(request: PageRequest, code: str) -> HttpResponse:
    found, gauge = bin_or_404(request, code), line_typed(request.POST, "gauge")

    def make(once: Once) -> BinCount:
        return counts.count_begin(person=once.person, found=found, gauge=gauge, made_key=once.made_key)

    return act(request, lambda once: once.run(lambda: make(once), _to))


@require_GET
@page
def count(request: PageRequest, pk: str) -> HttpResponse:
    return _count_page(request, count_or_404(request, pk))


def _count_page(
    request: PageRequest, one: BinCount, form: ReadForm | None = None, look: LookForm | None = None
) -> HttpResponse:
    """While plates are being read nothing of what the ledger has is shown."""
    why = forbidden(request.user, "stock")
    context: dict[str, Any] = {"count": one, "forbidden": why, "key": key_new(), "other_key": key_new()}
    if one.dropped_at is not None:
        return shown(request, "plates/count_dropped.html", context)
    if one.booked_at is not None:
        ids = {plate for plates in one.outcome.values() for plate in plates}
        plates = Plate.objects.filter(shop_id=one.shop_id).select_related("kind", "match", "bin").in_bulk(ids)
        by_id = {str(key): plate for key, plate in plates.items()}
        context["became"] = {name: [by_id[plate] for plate in plates] for name, plates in one.outcome.items()}
        return shown(request, "plates/count_booked.html", context)
    context["may_drop"] = counts.may_drop(request.user, one)
    if one.all_read_at is not None:
        try:
            found = look.found if look else counts.counted(one)
        except Refusal as refusal:  # the gauge was withdrawn meanwhile: dropping it is the way out
            return shown(request, "plates/count_look.html", {**context, "refusal": refusal})
        look = look or LookForm(count=one, found=found, person=request.user)
        return shown(request, "plates/count_look.html", {**context, "found": found, "form": look})
    context["last"] = one.readings[-1]["typed"] if one.readings else None
    return shown(request, "plates/count.html", {**context, "form": form or ReadForm(person=request.user)})


@require_POST
@page
def read(request: PageRequest, pk: str) -> HttpResponse:
    """One press of the micrometer."""
    one, form = count_or_404(request, pk), ReadForm(request.POST, person=request.user)
    if not form.is_valid():
        return _count_page(request, one, form)

    def add(once: Once) -> BinCount:
        reading = reading_typed(form.cleaned_data["reading"])
        return counts.count_read(person=once.person, count_id=one.pk, reading=reading)

    try:
        return act(request, lambda once: once.run(lambda: add(once), _to))
    except Refusal as refusal:
        if not form.refuse(refusal):
            raise
    return _count_page(request, one, form)


def _step(request: PageRequest, pk: str, step: Callable[..., BinCount]) -> HttpResponse:
    """A service that needs no more than to know which count it is."""
    one = count_or_404(request, pk)
    return act(request, lambda once: once.run(lambda: step(person=once.person, count_id=one.pk), _to))


@require_POST
@page
def unread(request: PageRequest, pk: str) -> HttpResponse:
    return _step(request, pk, counts.count_unread)


@require_POST
@page
def all_read(request: PageRequest, pk: str) -> HttpResponse:
    return _step(request, pk, counts.count_all_read)


@require_POST
@page
def drop(request: PageRequest, pk: str) -> HttpResponse:
    return _step(request, pk, counts.count_drop)


@require_POST
@page
def book(request: PageRequest, pk: str) -> HttpResponse:
    """What differs is booked as the second look says."""
    one = count_or_404(request, pk)
    if one.booked_at is not None or one.dropped_at is not None or one.all_read_at is None:
        return act(request, lambda once: once.run(lambda: _book(once, one, SecondLook()), _to))
    form = LookForm(request.POST, count=one, found=counts.counted(one), person=request.user)
    if form.is_valid():
        try:
            return act(request, lambda once: once.run(lambda: _book(once, one, form.look()), _to))
        except Refusal as refusal:
            if not form.refuse(refusal):
                form.add_error(None, refusal.detail)
    return _count_page(request, one, look=form)


def _book(once: Once, one: BinCount, look: SecondLook) -> BinCount:
    return count_book(person=once.person, count_id=one.pk, look=look, made_key=once.made_key)
