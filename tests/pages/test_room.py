"""*Close a pack* from an empty drum: what stays, what is to be chosen, and the room between them."""

from typing import Any

import pytest

from plates.bench.models import Match
from plates.catalogue.spec_models import Spec
from plates.catalogue.specs import Convention, SlotData, spec_make
from plates.catalogue.windows import window_manual
from plates.lengths import length_parse
from shop.people.models import Person
from tests.factories import FitFactory, KindFactory, shelve
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db
AT = "/close-a-pack/DRUM/"
WAVE = (length_parse("0.065 in"), length_parse("0.060 in"))


def drum(owner: Person, reads: str = "flat", wave: Any = WAVE, pressure: str | None = "0.200 in", **more: Any) -> Spec:
    steels = FitFactory.create(shop=owner.shop, code="S")
    frictions = FitFactory.create(shop=owner.shop, code="F", tooth_side="external")
    ring = FitFactory.create(shop=owner.shop, code="R", tooth_side="none", teeth=0)
    slots = [
        SlotData("wave", "wave", steels, 1),
        SlotData("steels", "steel", steels, 6, swap=True, nominal_nm=length_parse("0.077 in")),
        SlotData("frictions", "friction", frictions, 6, lined_faces=2, nominal_nm=length_parse("0.080 in")),
        SlotData("pressure plate", "pressure", steels, 1, nominal_nm=length_parse(pressure) if pressure else None),
        SlotData("ring", "snap_ring", ring, 1, swap=True, nominal_nm=length_parse("0.062 in")),
    ]
    shelve(owner, KindFactory.create(fit=steels), *["0.0770 in"] * 6)
    rings = KindFactory.create(fit=ring, role="snap_ring", nominal_nm=length_parse("0.062 in"))
    shelve(owner, rings, "0.0620 in", "0.0640 in")
    spec: Spec = spec_make(
        person=owner, code="DRUM", title="Drum", measures=more.pop("measures", "gap"), slots=slots, wave_nm=wave,
        window=window_manual(low="0.048 in", high="0.072 in", reference="Invented manual, p. 7"),
        reads=Convention(wave=reads), **more,
    )  # fmt: skip
    return spec


def emptied(owner: Person, **more: Any) -> Counter:
    drum(owner, **more)
    counter = Counter(owner)
    counter.open(AT)
    counter.send(AT, {"room": "on"})
    return counter


def test_the_switch_asks_for_what_stays_and_marks_what_is_chosen(owner: Person) -> None:
    counter = emptied(owner)
    text = counter.text
    assert "Room as read, piston face to ring groove" in text
    assert "To be chosen: 6 from the shelf" in text and "To be chosen: 1 from the shelf" in text
    assert "frictions: 6 friction, fit F Stays. Left blank, all 6 count at book size: 0.0800 in" in text
    assert "counts flat, as the window is read" in text and "it counts at book size: 0.0600 in" in text
    form = counter.form(AT)["fields"]
    assert (form["method"], form["at"]) == (["depth"], ["reading"])
    assert 'value="feeler"' not in counter.html.split("<details")[0]
    assert Match.objects.count() == 0
    counter.send(AT, {"room": None})
    assert "Clearance as read" in counter.text and "frictions: 6" not in counter.text
    assert counter.form(AT)["fields"]["method"] == ["feeler"]


def test_without_a_script_enter_turns_the_page_over(owner: Person) -> None:
    drum(owner)
    counter = Counter(owner)
    counter.open(AT)
    text = counter.send(AT, {"room": "on", "go": "next"})
    assert "Room as read" in text and "Nothing was read yet" not in text
    assert counter.form(AT)["fields"]["at"] == ["reading"]


def test_enter_alone_leads_from_the_room_to_the_proof(owner: Person) -> None:
    counter = emptied(owner)
    counter.send(AT, {"reading": "1.490-.166 1.324 in", "go": "next"})
    for at in ("slot1", "slot3", "slot4", "job"):  # wave, frictions, pressure plate
        counter.send(AT, {"go": "next"})
        assert counter.form(AT)["fields"]["at"] == [at]
    text = counter.send(AT, {"go": "next"})
    assert counter.path == "/matches/1/"
    assert "DRUM is to be filled" in text and "The empty drum leaves 0.5840 in" in text
    assert "Predicted 0.0600 in" in text and "7 changes" in text
    assert "Read the assembled pack as its manual says before you trust it" in text
    assert "<h2 id=\"estimates\"" not in counter.html
    form = counter.form("/matches/1/take/")
    counter.post(form["action"], form["fields"])
    slip = counter.open("/matches/1/slip/")
    assert "6" in slip and "ring" in slip
    assert "Left by the empty drum" in counter.open("/matches/1/build-sheet/")
    counter.open("/matches/1/")
    counter.send("/matches/1/final/", {"reading": "60 60 61", "go": "done"})
    assert "it came out in the window" in counter.text


def test_what_is_read_and_what_stays_after_all(owner: Person) -> None:
    counter = emptied(owner)
    counter.send(AT, {"slot2-how": "change", "at": "slot2"})
    assert counter.form(AT)["fields"]["at"] == ["slot2"]
    counter.send(AT, {"reading": "1.324 in 1.324 in", "slot2": ".077 .077 .077 .077 .077 .077"})
    counter.send(AT, {"slot3": ".081 .081 .08 .08 .08 .08", "go": "ask"})
    match = Match.objects.get()
    assert match.question["left_out"] == ["ring"]
    assert match.clearance_nm == length_parse("0.120 in")
    assert {row["slot"] for one in match.options for row in one["in"]} == {"ring"}


def test_asked_again_the_form_is_as_it_was(owner: Person) -> None:
    counter = emptied(owner)
    counter.send(AT, {"reading": "1.324 in 1.324 in", "slot3": ".08 .08 .08 .08 .08 .079", "go": "ask"})
    assert counter.path == "/matches/1/"
    counter.open(AT, again="1")
    fields = counter.form(AT)["fields"]
    assert (fields["room"], fields["slot2-how"], fields["slot5-how"]) == (["on"], ["out"], ["out"])
    assert fields["slot3-kept"] == ["0.0800 in"] * 5 + ["0.0790 in"]
    assert "slot1-kept" not in fields
    counter.send(AT, {"go": "ask"})
    first, second = Match.objects.order_by("number")
    assert first.clearance_nm == second.clearance_nm and first.question == second.question


@pytest.mark.parametrize(
    ("typed", "clearance"), [({}, "0.5790 in"), ({"wave_free": ".068"}, "0.5760 in")]
)  # free: .065 by the book, .068 by itself
def test_a_wave_counted_free_asks_for_its_height(owner: Person, typed: dict[str, str], clearance: str) -> None:
    counter = emptied(owner, reads="free")
    assert "0.0650 in (1.651 mm) unless its own free height is given" in counter.text
    assert f"leaves {clearance}" in counter.send(AT, {"reading": "1.324 in 1.324 in", "go": "ask", **typed})


def test_a_window_that_does_not_say_asks_how_the_pack_will_be_read(owner: Person) -> None:
    counter = emptied(owner, reads="")
    assert "The assembled pack will be read with the wave plate" in counter.text
    assert "does not say whether its window" in counter.send(AT, {"reading": "1.324 in 1.324 in", "go": "ask"})
    counter.send(AT, {"wave_state": "flat"})
    assert "leaves 0.5840 in" in counter.send(AT, {"go": "ask"})


def test_what_has_no_book_size_is_to_be_read(owner: Person) -> None:
    counter = emptied(owner, pressure=None, wave=None)
    text = counter.send(AT, {"reading": "1.324 in 1.324 in", "go": "ask"})
    assert "wave has no book size: read its 1." in text and "pressure plate has no book size: read its 1." in text
    counter.send(AT, {"slot1": ".06", "slot4": ".2", "go": "ask"})
    assert "leaves 0.5840 in" in counter.text


@pytest.mark.parametrize("spec", [{"measures": "height"}, {"adjustable": False}, {"set_only": True}])
def test_no_switch_where_nothing_is_chosen(owner: Person, spec: dict[str, Any]) -> None:
    drum(owner, **spec)
    counter = Counter(owner)
    assert "The drum is empty" not in counter.open(AT)
    counter.send(AT, {"room": "on", "reading": "60 60 60", "go": "ask"})
    assert Match.objects.filter(question__room=True).count() == 0


def test_a_room_that_is_too_small_says_so(owner: Person) -> None:
    counter = emptied(owner)
    assert "nothing is left to be filled" in counter.send(AT, {"reading": ".7 .7", "go": "ask"})
    assert Match.objects.count() == 0
