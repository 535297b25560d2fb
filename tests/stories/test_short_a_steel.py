"""A pack is one steel short: the difference is a whole plate, so count first."""

import pytest

from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from shop.people.models import Person
from tests.api import Api
from tests.shelves import question, shelf_of

pytestmark = pytest.mark.django_db

ASK = question("0.1275 in", ["0.0775 in"] * 5)  # .1275 - .0500 = .0775


@pytest.fixture(autouse=True)
def thick_ones(owner: Person) -> None:
    shelf_of(owner).stock(*["0.0930 in"] * 5)


def test_the_answer_says_count_first(api: Api) -> None:
    match = api.post("matches/", ASK).body
    assert match["clearance"]["nm"] - match["window"]["target"]["nm"] == 1_968_500  # 0.0775 in
    (caution,) = [caution for caution in match["cautions"] if caution["code"] == "count_first"]
    assert "0.0775 in" in caution["text"] and "one too few" in caution["text"]


@pytest.mark.parametrize("act", ["take", "hold"])
def test_no_take_until_counted(api: Api, act: str) -> None:
    match = api.post("matches/", ASK).body
    path, option = f"matches/{match['id']}/{act}/", {"option": match["options"][0]["number"]}
    refused = api.post(path, option)
    assert (refused.status, refused.code) == (422, "count_first")
    assert refused.body["errors"][0]["pointer"] == "/counted"
    assert Plate.objects.filter(state="on_shelf").count() == 5
    assert api.post(path, {**option, "counted": True}).status == 200


def test_an_ask_that_would_take_stores_nothing(api: Api) -> None:
    refused = api.post("matches/", {**ASK, "take": True})
    assert (refused.status, refused.code) == (422, "count_first")
    assert api.get("matches/").body["count"] == 0
    assert LedgerLine.objects.count() == 5
    taken = api.post("matches/", {**ASK, "take": True, "counted": True, "accept_marginal": True}).body
    assert taken["state"] == "taken"


def test_in_the_window_nobody_counts(api: Api) -> None:
    match = api.post("matches/", question("0.0500 in", ["0.0775 in"] * 5)).body
    assert "count_first" not in [caution["code"] for caution in match["cautions"]]
