"""*Close a pack*, from the readings to the final check, without a script."""

import re

import pytest

from plates.bench.models import Match
from plates.catalogue.spec_models import Spec
from plates.catalogue.windows import Window
from plates.lengths import length_parse
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from tests.factories import FitFactory, PersonFactory, pack, shelve
from tests.pages.conftest import Bench
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db
AT = "/close-a-pack/PACK/"


@pytest.fixture
def asking(counter: Counter) -> Counter:
    counter.open(AT)
    return counter


def read(counter: Counter, steels: str = ".0698 .0699 .0700 .0701 .0702", readings: str = "74 74 74") -> Counter:
    """Type the story's loose pack, Enter after each field, up to the answer."""
    counter.send(AT, {"reading": readings, "go": "next"})
    counter.send(AT, {"go": "next"})
    counter.send(AT, {"slot1": steels, "go": "next"})
    counter.send(AT, {"job": "J-1182", "go": "next"})
    return counter


def test_the_spec_is_found_by_what_people_call_things(counter: Counter) -> None:
    counter.open("/close-a-pack/", find="pack")
    assert counter.path == AT
    counter.open("/close-a-pack/", find="disc")
    assert counter.path == AT
    assert "No pack spec has" in counter.open("/close-a-pack/", find="gearwheel")


def test_enter_adds_readings_and_goes_on_from_field_to_field(asking: Counter) -> None:
    for count, typed in enumerate(["74", "74", "75"], start=1):
        asking.send(AT, {"reading": typed, "go": "next"})
        assert len(asking.form(AT)["fields"]["reading-kept"]) == count
        assert asking.form(AT)["fields"]["at"] == ["reading"]
    assert "0.0740 in (1.880 mm)" in asking.text
    asking.send(AT, {"go": "next"})
    assert asking.form(AT)["fields"]["at"] == ["slot1"]
    assert "all 5 count at book size: 0.0770 in (1.956 mm)" in asking.text
    asking.send(AT, {"go": "next"})
    assert asking.form(AT)["fields"]["at"] == ["job"]
    assert Match.objects.count() == 0
    asking.send(AT, {"go": "next"})
    assert asking.path == "/matches/1/"


def test_tenths_of_thou_are_thou_in_every_field_of_the_pack(asking: Counter) -> None:
    assert "0.0745 in (1.892 mm)" in asking.echo("reading", "74.5")
    assert "0.0699 in (1.775 mm)" in asking.echo("slot1", "69.9")
    read(asking, steels="69.8 69.9 70.0 70.1 70.2", readings="74.5 74.5 73.5")
    question = Match.objects.get().question
    assert question["readings_nm"] == [length_parse(one) for one in ("74.5 thou", "74.5 thou", "73.5 thou")]
    (steels,) = question["installed"].values()
    assert steels[0]["thickness_nm"] == length_parse("69.8 thou")


def test_a_loose_pack_is_answered_in_words_with_margin_before_percentage(asking: Counter) -> None:
    """Three swaps give 0.0527 (sure), two give 0.0595, in the window by 0.0005, so marginal."""
    text = read(asking).text
    assert "PACK is loose" in text
    assert "Predicted 0.0527 in" in text and "Predicted 0.0595 in" in text
    assert re.search(r"7\.3 thou \(0\.\d+ mm\) inside the nearer limit; 99\.\d % likely .*?: sure", text)
    assert re.search(r"0\.5 thou \(0\.013 mm\) inside the nearer limit; \d\d % likely .*?: marginal", text)
    assert "3 from B-14" in text and "Take, though marginal" in text
    assert asking.html.count("autofocus") == 1
    # 0.040 to 0.060 in for five counted frictions: rule of the trade (common practice, no source).
    assert "Window 0.0400 in (1.016 mm) to 0.0600 in (1.524 mm)" in text


def test_take_slip_and_final_check(asking: Counter) -> None:
    read(asking)
    form = asking.form("/matches/1/take/")
    text = asking.post(form["action"], form["fields"])
    assert "Taken" in text and Plate.objects.filter(state="taken").count() == 3
    asking.post(form["action"], form["fields"])
    assert LedgerLine.objects.filter(act="taken").count() == 3

    text = asking.open("/matches/1/slip/")
    assert "3 from B-14" in text and "J-1182" in text
    assert "steels: 0.0698 in (1.773 mm), 0.0699 in (1.775 mm), 0.0700 in (1.778 mm)" in text
    for caution in ("asbestos", "eye protection", "spring compressor", "Test air only", "manual", "arithmetic"):
        assert caution in text

    asking.open("/matches/1/")
    asking.send("/final/", {"reading": "53"})
    assert asking.path == "/matches/1/final/"
    asking.send("/final/", {"reading": "53"})
    text = asking.send("/final/")
    assert asking.path == "/matches/1/"
    assert "it came out in the window" in text and "+0.3 thou" in text
    assert Match.objects.get().state == "closed"


def test_a_check_sent_twice_is_not_called_unchecked(asking: Counter) -> None:
    read(asking)
    asking.send("/matches/1/take/")
    form = asking.form("/final/")
    fields = {**form["fields"], "reading": "53 53", "go": "done"}
    asking.post(form["action"], fields)
    assert Match.objects.get().state == "closed"
    text = asking.post(form["action"], {**fields, "reading": "54 54"})
    assert "Nothing was done twice" in text and "Not checked" not in text
    assert "Not checked. Match 1 is" in asking.post(form["action"], {**fields, "key": "another-key"})


def test_a_take_sent_twice_with_another_option_has_counted_once(asking: Counter) -> None:
    read(asking)
    first = asking.form("/matches/1/take/")
    asking.post(first["action"], first["fields"])
    text = asking.post(first["action"], {**first["fields"], "option": "2"})
    assert "was sent already, and has counted" in text and "Idempotency-Key" not in text


def test_nothing_was_changed_is_said_of_what_was_refused_only(asking: Counter) -> None:
    read(asking)
    take = asking.form("/matches/1/take/")
    assert "Nothing was changed" in asking.post(take["action"], {**take["fields"], "option": "\0"})
    assert asking.status == 400
    assert "Nothing was changed" not in asking.open("/matches/", job="\0") and asking.status == 400


def test_a_final_reading_outside_opens_the_question_again(asking: Counter) -> None:
    read(asking)
    asking.send("/matches/1/take/")
    text = asking.send("/final/", {"reading": "65 65", "go": "next"})
    text = asking.send("/final/")
    assert "PACK is loose" in text and "Open" in text
    assert "Final checks" in text and Match.objects.get().state == "open"


def test_hold_shows_the_time_left_and_release_frees(asking: Counter) -> None:
    read(asking)
    text = asking.send("/matches/1/hold/")
    assert "Held : option 1 is held" in text.replace("Held:", "Held :") and re.search(r"\d h \d+ min left", text)
    assert Plate.objects.filter(state="held").count() == 3
    assert "held, " in asking.open("/")
    asking.open("/matches/1/")
    assert "Open" in asking.send("/matches/1/release/")
    assert Plate.objects.filter(state="held").count() == 0


def test_two_benches_and_one_shelf(bench: Bench) -> None:
    """The second take is told why, and finds fresh options or what is missing at once."""
    one, two = Counter(bench.owner), Counter(PersonFactory.create(shop=bench.owner.shop, role="bench"))
    for tab in (one, two):
        tab.open(AT)
        read(tab)
    one.send("/matches/1/take/")
    text = two.send("/matches/2/take/")
    assert "Somebody took one of these plates in the meantime" in text
    assert "The shelf cannot close it" in text and "What would close it" in text
    assert Plate.objects.filter(state="taken").count() == 3


def test_a_question_taken_before_says_so_on_its_page(asking: Counter) -> None:
    read(asking)
    first = asking.form("/matches/1/take/")
    second = asking.form("/matches/1/take/", nth=1)
    asking.post(first["action"], first["fields"])
    text = asking.post(second["action"], second["fields"])
    assert asking.status == 200 and "only an open or held one can be taken or held" in text
    assert Plate.objects.filter(state="taken").count() == 3


def test_a_double_enter_asks_once(asking: Counter) -> None:
    asking.send(AT, {"reading": "74 74 74", "go": "next"})
    form = asking.form(AT)["fields"] | {"go": "ask"}
    asking.post(AT, form)
    asking.post(AT, form)
    assert asking.path == "/matches/1/"
    assert Match.objects.count() == 1
    assert "was asked already" in asking.post(AT, form | {"method": "indicator"})
    assert Match.objects.count() == 1


def test_a_difference_near_a_plate_is_counted_before_anything_is_taken(bench: Bench, asking: Counter) -> None:
    """Reads .1275, target .0500: the difference, .0775, is near the book size of a steel."""
    shelve(bench.owner, bench.kind, "0.0771 in", "0.0771 in")
    text = read(asking, steels=".062 " * 5, readings=".1275 .1275 .1275").text
    assert "Count the plates first" in text and "I have counted the plates of this pack" in text
    assert "autofocus" not in asking.html
    assert "Count the plates first" in asking.send("/matches/1/take/", {"counted": None})
    assert Plate.objects.filter(state="taken").count() == 0
    asking.send("/matches/1/take/", {"counted": "on"})
    assert Plate.objects.filter(state="taken").count() == 5


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"go": "next"}, "Nothing was read yet"),
        ({"go": "ask"}, "Nothing was read yet"),
        ({"reading": "abc", "go": "next"}, "is not a reading"),
        ({"reading": "74 74 95", "go": "ask"}, "reseat it, read again"),
        ({"reading": "74 75", "slot1": ".07 .07", "go": "ask"}, "steels counts 5, and 2 are read"),
        ({"reading": "74 75", "slot1": ".07 " * 6, "go": "ask"}, "are too many"),
        ({"reading": "74 75", "job": "a job/with blanks", "go": "ask"}, "A job is 1 to 40"),
        ({"reading": "74 75", "slot1-bench": "thin", "go": "ask"}, "is not a reading"),
    ],
)
def test_what_does_not_go_together_is_said_and_nothing_is_asked(
    asking: Counter, fields: dict[str, str], said: str
) -> None:
    text = asking.send(AT, fields)
    assert said in text
    assert asking.status == 200 and 'role="alert"' in asking.html
    assert Match.objects.count() == 0


def test_a_reading_is_crossed_out_and_a_plate_is_marked_to_go(asking: Counter) -> None:
    asking.send(AT, {"reading": "74 740 74", "go": "next"})
    asking.send(AT, {"cross": "reading:1", "go": None})
    assert asking.form(AT)["fields"]["reading-kept"] == ["74 thou", "74 thou"]
    asking.send(AT, {"slot1": ".0698 .0699 .0700 .0701 .0702", "go": "next"})
    asking.send(AT, {"slot1-go": "4", "go": "ask"})
    entries = Match.objects.get().question["installed"]["steels"]
    assert [entry["must_go"] for entry in entries] == [False] * 4 + [True]


def test_loose_plates_on_the_bench_are_fetched_by_their_source(bench: Bench) -> None:
    _, frictions = (slot.fit for slot in bench.spec.slots.all())
    pack(bench.owner, FitFactory.create(shop=bench.owner.shop), frictions, code="KIT")
    counter, at = Counter(bench.owner), "/close-a-pack/KIT/"
    counter.open(at)
    kit = {"slot1-bench": ".0771 .0771 .0768", "slot1-source": "open kit"}
    counter.send(at, {"reading": "74 74 74", "slot1": ".0698 .0699 .0700 .0701 .0702", **kit, "go": "ask"})
    assert "3 from open kit" in counter.text
    counter.send("/matches/1/take/")
    assert "3 from open kit" in counter.open("/matches/1/slip/")
    assert Plate.objects.filter(state="taken").count() == 0


@pytest.mark.parametrize(
    ("fields", "said"),
    [({"slot1-how": "leave"}, "'steels' stays as it is"), ({"set_only": "on"}, "plates of this pack stay together")],
)
def test_loose_plates_that_cannot_go_in_are_said_beside_their_field(
    asking: Counter, fields: dict[str, str], said: str
) -> None:
    text = asking.send(AT, {"reading": "74 74 74", "slot1-bench": ".0771", **fields, "go": "ask"})
    assert said in text
    assert 'id="id_slot1-bench_error"' in asking.html
    assert asking.form(AT)["fields"]["slot1-bench"] == [".0771"]
    assert Match.objects.count() == 0


def test_the_question_is_put_right_and_asked_again(asking: Counter) -> None:
    read(asking)
    asking.open(AT, again="1")
    fields = asking.form(AT)["fields"]
    assert fields["reading-kept"] == ["74 thou"] * 3
    assert fields["slot1-kept"] == ["0.0698 in", "0.0699 in", "0.0700 in", "0.0701 in", "0.0702 in"]
    asking.send(AT, {"go": "ask"})
    first, second = Match.objects.order_by("number")
    assert first.question["installed"] == second.question["installed"]


def test_the_second_reading_says_how_it_was_made_and_is_put_right_too(asking: Counter, bench: Bench) -> None:
    """An indicator is finer than a feeler, so who read again with one must be able to say so."""
    again = {"second": "75 .0755", "second_person": "imre", "second_method": "indicator", "second_gauge": "I-9"}
    asking.send(AT, {"reading": "74 74 74", "slot1": ".0698 .0699 .0700 .0701 .0702", **again, "go": "ask"})
    first = Match.objects.get()
    second = first.question["second"]
    assert [second[name] for name in ("person", "method", "gauge")] == ["imre", "indicator", "I-9"]
    assert "No gauge I-9 is registered" in asking.text
    asking.open(AT, again="1")
    fields = asking.form(AT)["fields"]
    assert fields["second"] == ["0.0750 in 0.0755 in"]
    assert [fields[name] for name in again if name != "second"] == [["imre"], ["indicator"], ["I-9"]]
    asking.send(AT, {"go": "ask"})
    asked = Match.objects.order_by("number")[1]
    assert (asked.clearance_nm, asked.u_nm) == (first.clearance_nm, first.u_nm)
    assert asked.question["second"]["readings_nm"] == second["readings_nm"]


def test_a_second_reading_is_by_the_same_method_unless_somebody_says_otherwise(asking: Counter) -> None:
    asking.send(AT, {"reading": "74 74 74", "slot1": ".0698 .0699 .0700 .0701 .0702", "second": "75", "go": "ask"})
    assert Match.objects.get().question["second"]["method"] == ""


def test_a_height_pack_is_too_tall_never_loose(bench: Bench) -> None:
    """38.46 mm against 37.8 to 38.2: too tall."""
    limits = [length_parse(text) for text in ("37.8 mm", "38.2 mm", "38.0 mm")]
    spec: Spec = bench.spec
    steels, frictions = (slot.fit for slot in spec.slots.all())
    window = Window("manual", limits[0], limits[1], limits[2], "Invented manual, p. 3", "mm")
    pack(bench.owner, steels, frictions, code="TALL", measures="height", window=window)
    counter = Counter(bench.owner)
    counter.open("/close-a-pack/TALL/")
    assert "1.5142 in (38.460 mm)" in counter.echo("reading", "38.46")  # a stack may well be so high
    counter.send("/close-a-pack/TALL/", {"reading": "38.46 38.46", "go": "ask"})
    text = counter.text
    assert "TALL is too tall" in text and "loose" not in text
    assert "38.460 mm (1.5142 in)" in text
