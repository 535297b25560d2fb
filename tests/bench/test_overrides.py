"""Rules that the owner lifts for one pack: signed, told wherever the pack is told of, and never carried on silently."""

from typing import Any

import pytest

from plates.bench.models import Match
from plates.catalogue.spec_models import Slot
from plates.catalogue.specs import StackLimits
from plates.lengths import length_parse
from plates.stock.ledger_models import LedgerLine
from shop.people.models import Person
from tests.api import Api
from tests.bench.test_stack_limits import FIVE, codes, sure
from tests.factories import PersonFactory
from tests.pages.counter import Counter
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

WHY = "the last of these on the island"
SPREAD = [{"rule": "spread", "reason": WHY}]
#: One .095 steel closes it at .0500, where the plates may differ by so much; else three of .078 do.
LOOSE = question("0.0750 in", FIVE)


def limited(owner: Person, *liftable: str, **more: Any) -> Shelf:
    limits = StackLimits(spread_nm=length_parse("0.010 in"), liftable=liftable)
    shelf = shelf_of(owner, limits=limits, **more)
    shelf.stock("0.0950 in", "0.0780 in", "0.0780 in", "0.0780 in")
    return shelf


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return limited(owner, "spread", "reuse_minimum", "set_only")


def test_the_owner_lifts_a_rule_for_one_pack(api: Api, owner: Person, shelf: Shelf) -> None:
    reply = api.post("matches/", {**LOOSE, "overrides": SPREAD})
    assert (1, "0.0500") in sure(reply)
    (told,) = reply.body["overrides"]
    assert told == {
        "rule": "spread", "what": "how much its plates may differ", "reason": WHY, "by": owner.username,
        "at": reply.body["asked_at"],
    }  # fmt: skip
    match = Match.objects.get()
    assert match.overrides == [{"rule": "spread", "reason": WHY, "by": owner.username, "at": told["at"]}]
    assert match.question["lifted"] == ["spread"]
    # The next pack of this spec keeps to it.
    assert sure(api.post("matches/", LOOSE)) == [(3, "0.0510")]


@pytest.mark.parametrize("role", ["bench", "counter"])
def test_nobody_else_does(owner: Person, shelf: Shelf, role: str) -> None:
    api = Api(PersonFactory.create(shop=owner.shop, role=role))
    reply = api.post("matches/", {**LOOSE, "overrides": SPREAD})
    assert (reply.status, reply.code) == (403, "wrong_role")
    assert "owner" in reply.body["detail"]
    assert not Match.objects.exists()


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ("splines", "PACK does not let anybody lift splines (how high its plates may stand). What the owner may lift"),
        ("wave", "never left out"),
        ("frictions", "number of frictions never changes"),
    ],
)
def test_what_this_spec_or_anybody_never_lifts(owner: Person, shelf: Shelf, rule: str, said: str) -> None:
    for role in ("owner", "bench"):
        api = Api(PersonFactory.create(shop=owner.shop, role=role))
        reply = api.post("matches/", {**LOOSE, "overrides": [*SPREAD, {"rule": rule, "reason": WHY}]})
        assert (reply.status, reply.code) == (422, "not_liftable")
        assert said in reply.body["detail"]
        assert reply.body["errors"][0]["pointer"] == "/overrides/1/rule"
    assert not Match.objects.exists()


def test_a_spec_that_marks_nothing_lets_nothing_be_lifted(api: Api, owner: Person) -> None:
    limited(owner)
    reply = api.post("matches/", {**LOOSE, "overrides": SPREAD})
    assert (reply.status, reply.code) == (422, "not_liftable")
    assert "may lift there: nothing" in reply.body["detail"]


@pytest.mark.parametrize(
    ("overrides", "pointer"),
    [
        ([{"rule": "spread", "reason": " "}], "/overrides/0/reason"),
        ([{"rule": "spread"}], "/overrides/0/reason"),
        ([{"rule": "window", "reason": WHY}], "/overrides/0/rule"),
        ([{"rule": "spread", "reason": "x" * 301}], "/overrides/0/reason"),
        (SPREAD * 2, "/overrides/1/rule"),
        ([{**SPREAD[0], "by": "somebody"}], "/overrides/0/by"),
        ("spread", "/overrides"),
    ],
)
def test_an_override_that_cannot_be_read(api: Api, shelf: Shelf, overrides: Any, pointer: str) -> None:
    reply = api.post("matches/", {**LOOSE, "overrides": overrides})
    assert reply.status == 400
    assert reply.body["errors"][0]["pointer"].startswith(pointer)


def test_one_that_changes_nothing_is_on_record_all_the_same(api: Api, shelf: Shelf) -> None:
    match = api.post("matches/", {**LOOSE, "overrides": [{"rule": "reuse_minimum", "reason": WHY}]})
    assert sure(match) == sure(api.post("matches/", LOOSE))
    assert [one["rule"] for one in match.body["overrides"]] == ["reuse_minimum"]


def test_the_ledger_says_why_plates_were_held_and_taken(api: Api, owner: Person, shelf: Shelf) -> None:
    match = api.post("matches/", {**LOOSE, "overrides": SPREAD}).body
    number = match["options"][0]["number"]
    api.post(f"matches/{match['id']}/hold/", {"option": number})
    api.post(f"matches/{match['id']}/take/", {"option": number})
    lines = LedgerLine.objects.filter(act__in=("held", "taken")).order_by("seq")
    assert [line.act for line in lines] == ["held", "taken"]
    assert {line.reason for line in lines} == {f"spread lifted by {owner.username}: {WHY}"}


def test_a_take_in_the_same_breath_says_so_too(api: Api, owner: Person, shelf: Shelf) -> None:
    match = api.post("matches/", {**LOOSE, "overrides": SPREAD, "take": True, "max_changes": 1}).body
    assert match["state"] == "taken"
    assert LedgerLine.objects.get(act="taken").reason == f"spread lifted by {owner.username}: {WHY}"


def final(api: Api, match: dict[str, Any], reading: str) -> dict[str, Any]:
    reply = api.post(f"matches/{match['id']}/final/", {"readings": [reading] * 3, "method": "feeler"})
    assert reply.status == 200, reply
    found: dict[str, Any] = reply.body
    return found


@pytest.fixture
def taken(api: Api, shelf: Shelf) -> dict[str, Any]:
    match: dict[str, Any] = api.post(
        "matches/", {**LOOSE, "overrides": SPREAD, "take": True, "max_changes": 1, "job": "J-1"}
    ).body
    assert match["state"] == "taken"
    return match


def test_a_pack_that_did_not_prove_itself_stays_under_its_override(api: Api, taken: dict[str, Any]) -> None:
    """Four of .070 and one of .095 stand in it: without the override it could not stay."""
    again = final(api, taken, "0.0650 in")
    assert again["state"] == "open" and again["overrides"] == taken["overrides"]
    assert Match.objects.get().question["lifted"] == ["spread"]
    assert "0.0950" not in [row["thickness"]["in"] for one in again["options"][:1] for row in one["out"]]


def test_a_unit_that_came_back_stays_under_it_too(api: Api, taken: dict[str, Any]) -> None:
    closed = final(api, taken, "0.0500 in")
    assert closed["state"] == "closed"
    body = {"readings": ["0.0600 in"] * 3, "method": "feeler", "worn": {}}
    back = api.post(f"matches/{taken['id']}/comeback/", body)
    assert back.status == 201, back
    assert back.body["overrides"] == taken["overrides"]
    assert 0 in {one["changes"] for one in back.body["options"]}


def test_pages_and_sheet_tell_it(api: Api, owner: Person, taken: dict[str, Any]) -> None:
    sheet = api.get(f"matches/{taken['id']}/build-sheet/").body
    assert sheet["overrides"] == taken["overrides"]
    counter = Counter(owner)
    for page in ("", "slip/", "build-sheet/"):
        said = counter.open(f"/matches/1/{page}")
        for words in ("how much its plates may differ", WHY, owner.username):
            assert words in said, (page, words)


def test_the_owner_signs_on_the_page_and_again_on_asking_again(owner: Person, shelf: Shelf) -> None:
    counter = Counter(owner)
    assert "Lift a rule for this pack" in counter.open("/close-a-pack/PACK/")
    steels = {f"slot{shelf.spec.slots.get(name='steels').position}": ".07 .07 .07 .07 .07"}
    asked = {"reading": "75 75 75", **steels, "go": "ask"}
    counter.send("/close-a-pack/PACK/", {**asked, "lift-spread": WHY})
    assert counter.path == "/matches/1/"
    assert WHY in counter.text and Match.objects.get().question["lifted"] == ["spread"]
    again = counter.open("/close-a-pack/PACK/", again="1")
    assert "Not carried over" in again and WHY in again
    assert counter.form("/close-a-pack/PACK/")["fields"]["lift-spread"] == [""]
    counter.send("/close-a-pack/PACK/", {"go": "ask"})
    assert counter.path == "/matches/2/"
    assert Match.objects.get(number=2).overrides == []


def test_others_see_who_may(owner: Person, shelf: Shelf) -> None:
    counter = Counter(PersonFactory.create(shop=owner.shop, role="bench"))
    text = counter.open("/close-a-pack/PACK/")
    assert "The owner may lift for this pack" in text and 'name="lift-' not in counter.html
    text = counter.send("/close-a-pack/PACK/", {"reading": "75 75 75", "go": "ask", "lift-spread": WHY})
    assert "overrides is for owner" in text
    assert not Match.objects.exists()


# --- a used pack that stays together -----------------------------------------------------------------------------


def test_a_used_pack_that_stays_together_is_not_adjusted(api: Api, shelf: Shelf) -> None:
    reply = api.post("matches/", {**LOOSE, "set_only": True})
    assert "set_only" in codes(reply)
    assert (reply.body["options"], reply.body["shortfall"]) == ([], None)


def test_a_set_is_adjusted_where_the_owner_lifts_that(api: Api, owner: Person) -> None:
    limited(owner, "set_only", set_only=True)
    assert sure(api.post("matches/", LOOSE)) == []
    assert sure(api.post("matches/", {**LOOSE, "overrides": [{"rule": "set_only", "reason": WHY}]}))


def test_to_stay_together_and_not_to_is_a_contradiction(api: Api, shelf: Shelf) -> None:
    ask = {**LOOSE, "set_only": True, "overrides": [{"rule": "set_only", "reason": WHY}]}
    reply = api.post("matches/", ask)
    assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, "/set_only")


def test_the_page_keeps_a_pack_together(owner: Person, shelf: Shelf) -> None:
    counter = Counter(owner)
    counter.open("/close-a-pack/PACK/")
    text = counter.send("/close-a-pack/PACK/", {"reading": "75 75 75", "set_only": "on", "go": "ask"})
    assert "stay together" in text
    counter.open("/close-a-pack/PACK/", again="1")
    assert counter.form("/close-a-pack/PACK/")["fields"]["set_only"] == ["on"]


# --- where an odd one goes ---------------------------------------------------------------------------------------

PLACE = "next to the pressure plate"


@pytest.mark.parametrize(("thickest", "odd"), [("0.0950 in", True), ("0.0780 in", False)])
def test_an_odd_one_has_its_place(api: Api, owner: Person, thickest: str, odd: bool) -> None:
    """Beside four of .077 a .095 is odd, a .0780 is not: it differs by just .0010."""
    shelf = limited(owner, "spread")
    Slot.objects.filter(name="steels").update(place=PLACE)
    reading = {"0.0950 in": "0.0680 in", "0.0780 in": "0.0620 in"}[thickest]
    steels = ["0.0770 in"] * 4 + [{"thickness": "0.0690 in", "must_go": True}]
    shelf.spec.slots.filter(name="steels").update(thinnest_nm=length_parse(thickest))
    ask = {**question(reading, {"steels": steels}), "take": True, "accept_marginal": True, "max_changes": 1}
    match = api.post("matches/", {**ask, "overrides": SPREAD}).body
    assert match["state"] == "taken", match
    (option,) = match["options"]
    (row,) = option["in"]
    assert row["thickness"]["in"] == thickest.removesuffix(" in")
    place = PLACE if odd else None
    assert (row["place"], match["slip"][0]["place"]) == (place, place)
    sheet = api.get(f"matches/{match['id']}/build-sheet/").body
    told = [{"slot": one["slot"], "place": one["place"], "differ": one["differ"]["in"]} for one in sheet["odd"]]
    assert told == ([{"slot": "steels", "place": PLACE, "differ": "0.0180"}] if odd else [])
    assert option["odd"] == sheet["odd"]
    counter = Counter(owner)
    for page in ("slip/", "build-sheet/"):
        assert (f"an odd one goes {PLACE}" in counter.open(f"/matches/1/{page}")) is odd
