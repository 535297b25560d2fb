"""The shelf cannot close the pack, but could with what other benches hold: the answer names them and takes nothing."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from plates.bench.models import Match
from plates.bench.short import holds
from plates.lengths import length_parse
from plates.stock.models import Plate
from shop.people.models import Person
from tests.api import Api
from tests.factories import PersonFactory
from tests.pages.counter import Counter
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

#: Six frictions, .048 to .072; two of .0870 bring it to .0690.
LOOSE = question("0.089 in", ["0.0770 in"] * 6)


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner, 6)


@pytest.fixture
def rosa(shelf: Shelf) -> Api:
    return Api(PersonFactory.create(shop=shelf.person.shop, username="rosa", role="bench"))


def hold(api: Api, reading: str, changes: int, job: str) -> dict[str, Any]:
    """Somebody else's pack, for which so many plates are held."""
    match = api.post("matches/", {**question(reading, ["0.0770 in"] * 6), "job": job}).body
    (option,) = [one for one in match["options"] if one["changes"] == changes]
    held: dict[str, Any] = api.post(f"matches/{match['id']}/hold/", {"option": option["number"]}).body
    assert held["state"] == "held"
    return held


def freed(api: Api, body: dict[str, Any] = LOOSE) -> list[dict[str, Any]]:
    reply = api.post("matches/", body)
    assert (reply.status, reply.body["options"]) == (201, [])
    rows: list[dict[str, Any]] = reply.body["shortfall"]["holds"]
    return rows


def test_a_hold_that_would_do_is_named_and_nothing_is_taken(api: Api, rosa: Api, shelf: Shelf) -> None:
    plates = shelf.stock("0.0870 in", "0.0870 in")
    held = hold(rosa, "0.089 in", 2, "J-9")
    before = list(Plate.objects.order_by("pk").values())
    (row,) = freed(api, {**LOOSE, "take": True})
    assert {name: row[name] for name in ("match", "number", "job", "person", "with", "changes")} == {
        "match": held["id"], "number": held["number"], "job": "J-9", "person": "rosa", "with": [], "changes": 2,
    }  # fmt: skip
    assert datetime.fromisoformat(row["until"]) == datetime.fromisoformat(held["held_until"])
    assert {one["plate"] for one in row["plates"]} == {str(plate.pk) for plate in plates}
    assert (row["predicted"]["in"], row["confidence"]) == ("0.0690", "marginal")
    assert row["u"]["nm"] > 0 and 0.5 < row["probability"] < 0.95
    assert list(Plate.objects.order_by("pk").values()) == before
    assert rosa.get(f"matches/{held['id']}/").body["state"] == "held"


def test_released_it_closes_the_pack_as_foretold(api: Api, rosa: Api, shelf: Shelf) -> None:
    shelf.stock("0.0940 in", "0.0900 in", "0.0900 in")
    held = hold(rosa, "0.089 in", 2, "J-9")
    (row,) = freed(api, question("0.093 in", ["0.0770 in"] * 6))
    rosa.post(f"matches/{held['id']}/release/", {})
    options = api.post("matches/", question("0.093 in", ["0.0770 in"] * 6)).body["options"]
    first = options[0]
    assert {name: first[name] for name in ("changes", "predicted", "u", "probability", "confidence")} == {
        name: row[name] for name in ("changes", "predicted", "u", "probability", "confidence")
    }


def test_plates_of_the_shelf_help_and_are_not_asked_for(api: Api, rosa: Api, shelf: Shelf) -> None:
    """.0870 lies free and .0870 is held: both are needed, one is to be asked for."""
    shelf.stock("0.0870 in")
    (row,) = _with_two(api, rosa, shelf)
    assert (row["changes"], len(row["plates"]), row["predicted"]["in"]) == (2, 1, "0.0690")


def _with_two(api: Api, rosa: Api, shelf: Shelf) -> list[dict[str, Any]]:
    hold(rosa, "0.074 in", 1, "J-9")
    shelf.stock("0.0870 in")
    return freed(api)


def test_where_no_hold_does_alone_those_that_do_together(api: Api, rosa: Api, shelf: Shelf) -> None:
    shelf.stock("0.0870 in", "0.0870 in")
    one, other = hold(rosa, "0.074 in", 1, "J-8"), hold(rosa, "0.074 in", 1, "J-9")
    first, second = freed(api)
    assert (first["job"], first["with"]) == ("J-8", [other["number"]])
    assert (second["job"], second["with"]) == ("J-9", [one["number"]])
    assert [len(row["plates"]) for row in (first, second)] == [1, 1]
    assert first["predicted"] == second["predicted"]


def test_what_does_alone_comes_first_the_sure_before_the_marginal(api: Api, rosa: Api, shelf: Shelf) -> None:
    """Alone .0950 gives .0710, marginal; .1050 gives .0610, sure, and nobody else need be asked."""
    shelf.stock("0.0950 in")
    hold(rosa, "0.080 in", 1, "J-8")
    shelf.stock("0.1050 in")
    hold(rosa, "0.090 in", 1, "J-9")
    assert [(row["job"], row["confidence"], row["with"]) for row in freed(api)] == [
        ("J-9", "sure", []), ("J-8", "marginal", []),
    ]  # fmt: skip


def test_marginal_alone_and_sure_together(api: Api, rosa: Api, shelf: Shelf) -> None:
    """Alone .0945 gives .0715; with a .0860 of another bench .0625."""
    shelf.stock("0.0945 in")
    one = hold(rosa, "0.080 in", 1, "J-8")
    shelf.stock("0.0860 in")
    other = hold(rosa, "0.072 in", 1, "J-9")
    rows = freed(api)
    assert [(row["job"], row["confidence"], row["with"], row["changes"]) for row in rows] == [
        ("J-8", "marginal", [], 1), ("J-8", "sure", [other["number"]], 2), ("J-9", "sure", [one["number"]], 2),
    ]  # fmt: skip


def test_a_hold_that_has_run_out_is_the_shelf(api: Api, rosa: Api, shelf: Shelf) -> None:
    shelf.stock("0.0870 in", "0.0870 in")
    hold(rosa, "0.089 in", 2, "J-9")
    past = timezone.now() - timedelta(minutes=1)
    Plate.objects.filter(state="held").update(held_until=past)
    Match.objects.filter(state="held").update(held_until=past)
    assert api.post("matches/", LOOSE).body["options"] != []


def test_held_plates_that_do_not_help_are_not_named(api: Api, rosa: Api, shelf: Shelf) -> None:
    shelf.stock("0.0800 in")
    hold(rosa, "0.066 in", 1, "J-9")
    assert freed(api) == []


@pytest.mark.parametrize("held", ["nothing", "another fit", "too thick for the slot"])
def test_nothing_is_searched_twice_for_nothing(
    api: Api, rosa: Api, shelf: Shelf, owner: Person, held: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    if held != "nothing":
        other = shelf_of(owner, 6, code="OTHER") if held == "another fit" else shelf
        other.stock("0.0870 in", "0.0870 in")
        match = rosa.post("matches/", {**LOOSE, "spec": other.spec.code}).body
        rosa.post(f"matches/{match['id']}/hold/", {"option": match["options"][0]["number"]})
    if held == "too thick for the slot":
        shelf.spec.slots.filter(name="steels").update(thickest_nm=length_parse("0.0860 in"))

    def searched(problem: Any) -> Any:
        raise AssertionError("the shelf was searched again")

    monkeypatch.setattr(holds, "match", searched)
    with CaptureQueriesContext(connection) as captured:
        assert freed(api) == []
    # Once to search, once more where plates of this fit are held at all.
    shelves = [query for query in captured if "extract(epoch FROM received_at)" in query["sql"]]
    assert len(shelves) == (2 if held == "too thick for the slot" else 1)


def test_no_search_stands_under_a_lock(api: Api, rosa: Api, shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
    shelf.stock("0.0870 in", "0.0870 in")
    hold(rosa, "0.089 in", 2, "J-9")
    search, numbers = holds.match, []

    def searched(problem: Any) -> Any:
        numbers.append(Match.objects.count())
        return search(problem)

    monkeypatch.setattr(holds, "match", searched)
    with CaptureQueriesContext(connection) as captured:
        freed(api)
    assert numbers == [1], "the search came after the match was written"
    assert not any("FOR UPDATE" in query["sql"] and "SKIP LOCKED" not in query["sql"] for query in captured)


def test_the_page_says_whom_to_ask_and_when_it_is_free_since(api: Api, rosa: Api, shelf: Shelf) -> None:
    shelf.stock("0.0870 in", "0.0870 in")
    held = hold(rosa, "0.089 in", 2, "J-9")
    number = api.post("matches/", LOOSE).body["number"]
    counter = Counter(shelf.person)
    until = timezone.localtime(datetime.fromisoformat(held["held_until"])).strftime("%H:%M")
    said = f"Match {held['number']} (job J-9, held by rosa until {until}) holds 2 plates that would do: the"
    assert said in counter.open(f"/matches/{number}/")
    assert "that would do: the pack would then read 0.0690 in (1.753 mm)" in counter.text
    rosa.post(f"matches/{held['id']}/release/", {})
    assert "(job J-9, held by rosa; free since: ask again)" in counter.open(f"/matches/{number}/")
