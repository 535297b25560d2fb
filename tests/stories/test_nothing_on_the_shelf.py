"""Nothing on the shelf closes the pack: the answer says what would, and it is true to the nanometre."""

from typing import Any

import pytest

from plates.lengths import length_parse
from shop.people.models import Person
from tests.api import Api
from tests.factories import PersonFactory
from tests.pages.counter import Counter
from tests.shelves import Shelf, nm, question, shelf_of

pytestmark = pytest.mark.django_db

ASK = question("0.089 in", ["0.0770 in"] * 6)
#: So loose that a thickness of which two would close the pack never does it alone.
LOOSER = question("0.100 in", ["0.0770 in"] * 6)


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner, 6)


def ranges(match: dict[str, Any]) -> dict[int, tuple[str, str]]:
    return {row["count"]: (row["from"]["in"], row["to"]["in"]) for row in match["shortfall"]["would_close"]}


def test_one_plate_of_855_does_not_reach(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0855 in")
    status, match = api.post("matches/", ASK)
    assert (status, match["verdict"], match["options"]) == (201, "high", [])
    assert match["shortfall"]["nearest"]["predicted"]["in"] == "0.0805"
    assert match["shortfall"]["nearest"]["changes"] == 1
    assert ranges(match) == {1: ("0.0940", "0.1180"), 2: ("0.0855", "0.0975")}
    assert [row["count"] for row in match["shortfall"]["would_close"]] == [1, 2]
    assert {(row["slot"], row["fit"], row["role"]) for row in match["shortfall"]["would_close"]} == {
        ("steels", shelf.steels.code, "steel")
    }


def test_the_failed_question_stays_to_be_seen(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0855 in")
    match = api.post("matches/", {**ASK, "take": True}).body
    assert match["state"] == "open"
    assert api.get(f"matches/{match['id']}/").body["shortfall"] == match["shortfall"]
    assert api.get("matches/", state="open").body["count"] == 1


def test_the_nearest_on_hand_says_what_to_exchange(api: Api, shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.0855 in")
    nearest = api.post("matches/", ASK).body["shortfall"]["nearest"]
    assert [(row["plate"], row["slot"], row["thickness"]["in"]) for row in nearest["in"]] == [
        (str(plate.pk), "steels", "0.0855")
    ]
    assert [(row["slot"], row["thickness"]["in"]) for row in nearest["out"]] == [("steels", "0.0770")]


def test_the_buyer_sees_it_with_the_words_for_the_telephone(api: Api, shelf: Shelf, owner: Person) -> None:
    shelf.stock("0.0855 in")
    match = api.post("matches/", ASK).body
    line = (
        "Need one steel at .1060 ± .0120 in (2.692 ± .304 mm), 36 teeth inside, "
        "5.500 × 4.200 in (139.70 × 106.68 mm)"
    )
    assert match["shortfall"]["say"] == [line]
    buyer = PersonFactory.create(shop=owner.shop, role="buyer")
    (row,) = Api(buyer).get("missed/").body["results"]
    assert (row["match_number"], row["say"]) == (match["number"], [line])
    counter = Counter(buyer)
    assert line in counter.open("/missed/")
    counter.open(f"/matches/{match['number']}/")
    for said in (line, "Nearest on hand: 0.0805 in (2.045 mm)", "with 1 change", "1 from the unsorted plates"):
        assert said in counter.text


def test_two_of_87_bring_it_in_and_with_the_855_nearer_yet(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0855 in", "0.087 in", "0.087 in")
    options = {option["changes"]: option["predicted"]["in"] for option in api.post("matches/", ASK).body["options"]}
    assert options == {2: "0.0690", 3: "0.0605"}


def test_three_of_87(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.087 in", "0.087 in", "0.087 in")
    options = {option["changes"]: option["predicted"]["in"] for option in api.post("matches/", ASK).body["options"]}
    assert options == {2: "0.0690", 3: "0.0590"}


@pytest.mark.parametrize("count", [1, 2])
@pytest.mark.parametrize(
    ("end", "past_nm", "closes"), [("from", 0, True), ("from", -1, False), ("to", 0, True), ("to", 1, False)]
)
def test_the_range_is_true(api: Api, shelf: Shelf, count: int, end: str, past_nm: int, closes: bool) -> None:
    """Scan in a plate at either end and ask again, it closes; one nanometre outside it does not."""
    asked = api.post("matches/", LOOSER).body
    (row,) = [row for row in asked["shortfall"]["would_close"] if row["count"] == count]
    thickness = nm(row[end]["nm"] + past_nm)
    for _ in range(count):
        body = {"kind": shelf.kind.code, "readings": [thickness], "confirm": True}
        assert api.post("plates/", body).status == 201
    again = api.post("matches/", LOOSER).body
    assert bool(again["options"]) is closes
    assert (again["shortfall"] is None) is closes
    if closes:
        limit = {"from": "high", "to": "low"}[end]
        (option,) = again["options"]
        assert (option["predicted"], option["changes"]) == (again["window"][limit], count)


def test_what_must_go_narrows_what_would_close(api: Api, shelf: Shelf) -> None:
    """With a .070 steel that must go, one new plate goes in its place alone."""
    must_go = {"steels": [{"thickness": "0.0700 in", "must_go": True}, *["0.0770 in"] * 5]}
    match = api.post("matches/", question("0.096 in", must_go)).body
    assert ranges(match)[1] == ("0.0940", "0.1180")
    assert length_parse("0.0940 in") == match["shortfall"]["would_close"][0]["from"]["nm"]
