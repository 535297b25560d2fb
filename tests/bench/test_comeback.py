"""A unit that comes back: how much the wear accounts for, and what is said where it does not."""

import math
from typing import Any

import pytest
from django.core.management import call_command

from plates.bench.models import Match
from plates.catalogue.windows import Window
from plates.lengths import INCH, length_parse
from shop.people.models import Person
from tests.api import Api, Reply
from tests.factories import PersonFactory, pack
from tests.pages.counter import Counter
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def closed(api: Api, reading: str = "0.0520 in", steels: Any = None, **more: Any) -> dict[str, Any]:
    """A pack with nothing to change, checked and closed."""
    asked = api.post("matches/", question(reading, steels or ["0.0770 in"] * 5, job="J-1", **more)).body
    body = {"readings": [reading] * 3, "method": "feeler"}
    found: dict[str, Any] = api.post(f"matches/{asked['id']}/final/", body).body
    assert found["state"] == "closed"
    return found


def back(api: Api, match: dict[str, Any], reading: str, worn: Any = None, **more: Any) -> Reply:
    body = {"readings": [reading] * 3, "method": "feeler", **more}
    return api.post(f"matches/{match['id']}/comeback/", {**body, **({"worn": worn} if worn else {})})


def told(api: Api, match: dict[str, Any], reading: str, worn: Any = None) -> str:
    text: str = back(api, match, reading, worn).body["comeback"]["text"]
    return text


# --- what is said ---------------------------------------------------------------------------------------------


def test_wear_of_every_plate_read_by_itself(api: Api, shelf: Shelf) -> None:
    now = ["0.0770 in", "0.0760 in", "0.0765 in", "0.0770 in", "0.0755 in"]
    answer = back(api, closed(api), "0.0850 in", {"frictions": {"was": "0.0830 in", "now": now}}).body["comeback"]
    assert (answer["accounted"]["in"], answer["rest"]["in"]) == ("0.0330", "0.0000")
    assert "5 plates of frictions: 0.0330 in (0.838 mm) thinner together" in answer["text"]
    assert "Wear accounts for all of it" in answer["text"]


def test_wear_of_several_slots_adds_up(api: Api, shelf: Shelf) -> None:
    """Steels were read when the pack was built: what they were need not be said again."""
    worn = {"frictions": {"was": "0.0800 in", "now": "0.0780 in"}, "steels": {"now": "0.0760 in"}}
    answer = back(api, closed(api), "0.0670 in", worn).body["comeback"]
    assert [(row["slot"], row["was"]["in"], row["sum"]["in"]) for row in answer["worn"]] == [
        ("frictions", "0.0800", "0.0100"), ("steels", "0.0770", "0.0050"),
    ]  # fmt: skip
    assert (answer["accounted"]["in"], answer["rest"]["in"]) == ("0.0150", "0.0000")


def test_less_wear_than_change_means_that_something_else_opened_it(api: Api, shelf: Shelf) -> None:
    text = told(api, closed(api), "0.0970 in", {"frictions": {"was": "0.0800 in", "now": "0.0790 in"}})
    assert "Wear accounts for 0.0050 in (0.127 mm) of it" in text
    assert "0.0400 in (1.016 mm) is left" in text and "something else opened the pack" in text
    assert "wave plate left out" in text and "snap ring that is not seated" in text
    assert "does not say why they wore" in text


def test_more_wear_than_change_sends_back_to_the_readings(api: Api, shelf: Shelf) -> None:
    text = told(api, closed(api), "0.0570 in", {"frictions": {"was": "0.0800 in", "now": "0.0740 in"}})
    assert "The plates lost 0.0250 in (0.635 mm) more than the pack opened" in text and "check the readings" in text


def test_no_plate_read_again(api: Api, shelf: Shelf) -> None:
    text = told(api, closed(api), "0.0970 in")
    assert "No plate was read again" in text and "something else opened the pack" in text and "wore" not in text


def test_as_it_was_built(api: Api, shelf: Shelf) -> None:
    assert "the pack is as it was built" in told(api, closed(api), "0.0530 in")


def test_tighter_than_it_was(api: Api, shelf: Shelf) -> None:
    assert "It became tighter, and wear only opens a pack" in told(api, closed(api), "0.0420 in")


@pytest.mark.parametrize(
    ("reading", "explained"),
    # 2·u of the rest: two feeler readings of 0.0015 in each, and five frictions read once before and once after by
    # micrometer, 0.0002 in each, their error shared: 2·√(2·0.0015² + 2·(5·0.0002)²) = 0.00510 in.
    [("0.0671 in", False), ("0.0670 in", True), ("0.0570 in", True), ("0.0568 in", False)],
)
def test_what_is_left_counts_beyond_twice_its_uncertainty(
    api: Api, shelf: Shelf, reading: str, explained: bool
) -> None:
    text = told(api, closed(api), reading, {"frictions": {"was": "0.0800 in", "now": "0.0780 in"}})
    assert ("Wear accounts for all of it" in text) == explained


@pytest.mark.parametrize(
    ("slot", "was", "tenths"),
    # u of five plates together, as they were and as they were read since, is √5 times that of one. At book size
    # ± 0.0025 in / √3 (common practice, no source; JCGM 100:2008, 4.3.7), read 0.0002 in.
    [("steels", None, 25 / math.sqrt(3)), ("frictions", None, 25 / math.sqrt(3)), ("steels", ["0.0770 in"] * 5, 2)],
)
def test_plates_at_book_size_are_less_certain(
    api: Api, shelf: Shelf, slot: str, was: list[str] | None, tenths: float
) -> None:
    worn = {slot: {"now": ["0.0760 in"] * 5, **({"was": was} if was else {})}}
    u = back(api, closed(api, steels={"steels": {"nominal": True}}), "0.0570 in", worn).body["comeback"]["u"]["nm"]
    assert u / (INCH / 10_000) == pytest.approx(math.sqrt(2 * 15**2 + 5 * tenths**2 + 5 * 2**2), abs=0.001)


def test_plates_that_were_read_are_as_certain_as_their_micrometer(api: Api, shelf: Shelf) -> None:
    u = back(api, closed(api), "0.0570 in", {"steels": {"now": ["0.0760 in"] * 5}}).body["comeback"]["u"]["nm"]
    assert u / (INCH / 10_000) == pytest.approx(math.sqrt(2 * 15**2 + 10 * 2**2), abs=0.001)


def test_a_height_pack_becomes_lower_by_wear(api: Api, owner: Person, shelf: Shelf) -> None:
    window = Window("manual", *map(length_parse, ("37.8 mm", "38.4 mm", "38.1 mm")), "manual p. 9", "mm")
    pack(owner, shelf.steels, shelf.frictions, code="TALL", measures="height", window=window)
    match = closed(api, "38.20 mm", ["1.96 mm"] * 5, spec="TALL")
    answer = back(api, match, "37.20 mm", {"frictions": {"was": "2.00 mm", "now": "1.80 mm"}}).body["comeback"]
    assert [answer[name]["mm"] for name in ("change", "accounted", "rest")] == ["-1.000", "-1.000", "0.000"]
    assert "1.000 mm (0.0394 in) less" in answer["text"] and "Wear accounts for all of it" in answer["text"]


# --- the new match --------------------------------------------------------------------------------------------


def test_it_asks_about_the_stack_as_built_with_the_worn_plates(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in", "0.0850 in", "0.0851 in")
    asked = api.post("matches/", question("0.0640 in", ["0.0670 in"] * 5, take=True, max_changes=1)).body
    went_in = asked["slip"][0]["thickness"]["in"]
    final = {"readings": ["0.0540 in"] * 3, "method": "feeler"}
    match = api.post(f"matches/{asked['id']}/final/", final).body
    now = ["0.0660 in"] * 4 + [f"{went_in} in"]
    again = back(api, match, "0.0640 in", {"steels": {"now": now}}, method="indicator", gauge="I-1").body
    installed = Match.objects.get(pk=again["id"]).question["installed"]["steels"]
    assert sorted(entry["thickness_nm"] for entry in installed) == sorted(length_parse(text) for text in now)
    assert (again["method"], again["verdict"], again["job"]) == ("indicator", "high", None)
    assert again["comeback"]["accounted"]["in"] == "0.0040"
    taken = api.post(f"matches/{again['id']}/take/", {"option": again["options"][0]["number"]}).body
    assert taken["state"] == "taken" and taken["comeback"]["text"] == again["comeback"]["text"]
    call_command("ledger_verify")


def test_only_a_closed_one_comes_back(api: Api, shelf: Shelf) -> None:
    asked = api.post("matches/", question("0.0520 in", ["0.0770 in"] * 5)).body
    reply = back(api, asked, "0.0900 in")
    assert (reply.status, reply.code) == (409, "wrong_state")
    assert Match.objects.count() == 1


def test_sent_twice_under_one_key_it_comes_back_once(api: Api, shelf: Shelf) -> None:
    match, body = closed(api), {"readings": ["0.0900 in"] * 3, "method": "feeler"}
    one, two = (api.post(f"matches/{match['id']}/comeback/", body, key="once") for _ in range(2))
    assert one == two and one.status == 201 and Match.objects.count() == 2


@pytest.mark.parametrize(
    ("worn", "pointer"),
    [
        ({"lining": {"now": "0.074 in"}}, "/worn/lining"),
        ({"frictions": {"was": "0.08 in"}}, "/worn/frictions/now"),
        ({"frictions": {"was": "0.08 in", "now": "0.074"}}, "/worn/frictions/now"),
        ({"frictions": {"was": "0.08 in", "now": ["0.074 in"] * 4}}, "/worn/frictions/now"),
        ({"frictions": {"was": ["0.08 in"] * 6, "now": "0.074 in"}}, "/worn/frictions/was"),
        ({"frictions": {"was": "0.08 in", "now": []}}, "/worn/frictions/now"),
        ({"frictions": {"was": "0.08 in", "now": "0.074 in", "colour": "red"}}, "/worn/frictions/colour"),
    ],
)
def test_what_does_not_go_with_the_pack_is_refused_with_its_pointer(
    api: Api, shelf: Shelf, worn: Any, pointer: str
) -> None:
    reply = back(api, closed(api), "0.0900 in", worn)
    assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, pointer)
    assert Match.objects.count() == 1


def test_readings_that_contradict_each_other_are_not_reckoned_with(api: Api, shelf: Shelf) -> None:
    reply = back(api, closed(api), "0.0900 in", readings=["0.0900 in", "0.0990 in", "0.0900 in"])
    assert reply.code == "suspect_reading" and Match.objects.count() == 1


def test_who_may(api: Api, shelf: Shelf) -> None:
    match = closed(api)
    buyer = Api(PersonFactory.create(shop=shelf.person.shop, role="buyer"))
    assert back(buyer, match, "0.0900 in").status == 403
    assert back(Api(PersonFactory.create()), match, "0.0900 in").status == 404


# --- at the counter -------------------------------------------------------------------------------------------


def test_at_the_counter(api: Api, shelf: Shelf) -> None:
    match = closed(api)
    counter, number = Counter(shelf.person), match["number"]
    assert "This unit came back" in counter.open(f"/matches/{number}/")
    text = counter.open(f"/matches/{number}/comeback/")
    assert "frictions: 5 frictions" in text and "closed" in text
    fields = counter.form("/comeback/")["fields"]
    assert (fields["slot1-was"], fields["slot2-was"]) == (["0.0770 in"], ["0.0800 in"])
    counter.send("/comeback/", {"reading": "85 85 85"})
    assert counter.path == f"/matches/{number}/comeback/"
    text = counter.send("/comeback/", {"slot2-was": ".0805", "slot2-now": ".0740", "go": "done"})
    assert counter.path == f"/matches/{number + 1}/"
    assert f"Comeback of match {number}" in text and "Wear accounts for all of it" in text
    assert "+32.5 thou (+0.826 mm)" in text
    assert f"It came back: match {number + 1}" in counter.open(f"/matches/{number}/")


def test_at_the_counter_what_is_wrong_stands_beside_its_field(api: Api, shelf: Shelf) -> None:
    number = closed(api)["number"]
    counter = Counter(shelf.person)
    counter.open(f"/matches/{number}/comeback/")
    assert "Nothing was read yet" in counter.send("/comeback/", {"go": "done"})
    text = counter.send("/comeback/", {"reading": "85", "slot2-now": "thin", "go": "done"})
    assert "is not a reading" in text and counter.form("/comeback/")["fields"]["reading-kept"] == ["85 thou"]
    text = counter.send("/comeback/", {"slot2-now": ".074 .075", "go": "done"})
    assert "counts 5, and 2 thicknesses are given" in text
    assert Match.objects.count() == 1
    opened = api.post("matches/", question("0.0520 in", ["0.0770 in"] * 5)).body["number"]
    assert "only a closed one can come back" in counter.open(f"/matches/{opened}/comeback/")


def test_a_buyer_looks_but_opens_nothing(api: Api, shelf: Shelf) -> None:
    number = closed(api)["number"]
    counter = Counter(PersonFactory.create(shop=shelf.person.shop, role="buyer"))
    assert "This unit came back" not in counter.open(f"/matches/{number}/")
    assert "You can look at everything" in counter.open(f"/matches/{number}/comeback/")


def test_what_was_corrected_since_comes_back_as_it_is_on_record(api: Api, shelf: Shelf) -> None:
    """Three went in read .0003 high, and were put right after the pack was closed: .0767 stands in the stack by now."""
    api.post("gauges/", {"code": "M-1", "type": "micrometer"})
    shelf.stock("0.0770 in", "0.0770 in", "0.0770 in", gauge="M-1")
    match = api.post("matches/", question("0.0740 in", ["0.0700 in"] * 5, take=True)).body
    assert len(match["slip"]) == 3
    final = {"readings": ["0.0530 in"] * 3, "method": "feeler"}
    assert api.post(f"matches/{match['id']}/final/", final).body["state"] == "closed"
    check = api.post("gauges/M-1/checks/", {"standard": "0.5 in", "readings": ["0.5003 in"]}).body["id"]
    assert len(api.post("gauges/M-1/correct/", {"check": check}).body["corrected"]) == 3
    assert back(api, match, "0.0800 in").status == 201
    stack = Match.objects.get(comeback_of=match["id"]).question["installed"]["steels"]
    assert [entry["thickness_nm"] for entry in stack if entry["plate"]] == [length_parse("0.0767 in")] * 3
