"""The build sheet: what stands in the pack, how it was measured, and by whom."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.bench.shown import USUAL_CAUTIONS
from plates.catalogue.spec_models import Slot
from plates.catalogue.windows import Window
from plates.lengths import length_parse
from shop.people.models import Person
from tests.api import Api, Reply
from tests.factories import BinFactory, PersonFactory, pack
from tests.pages.counter import Counter
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

STEELS = ["0.0670 in", "0.0671 in", "0.0672 in", "0.0673 in", "0.0674 in"]


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    made = shelf_of(owner)
    BinFactory.create(fit=made.steels, code="B-14")
    Slot.objects.filter(name="steels").update(place="wave side down")
    made.stock("0.0771 in")
    return made


@pytest.fixture
def taken(api: Api, shelf: Shelf) -> dict[str, Any]:
    """The .0771 goes in for the .0670: .0640 becomes .0539."""
    ask = question("0.0640 in", STEELS, take=True, job="J-1", max_changes=1, gauge="F-1")
    match: dict[str, Any] = api.post("matches/", ask).body
    assert match["state"] == "taken"
    return match


def final(api: Api, match: dict[str, Any], reading: str = "0.0545 in") -> dict[str, Any]:
    body = {"readings": [reading, reading], "method": "indicator", "gauge": "I-2"}
    found: dict[str, Any] = api.post(f"matches/{match['id']}/final/", body).body
    return found


def sheet(api: Api, match: dict[str, Any]) -> Reply:
    return api.get(f"matches/{match['id']}/build-sheet/")


def test_a_closed_pack_tells_it_all(api: Api, shelf: Shelf, taken: dict[str, Any]) -> None:
    final(api, taken)
    told = sheet(api, taken).body
    assert (told["number"], told["state"], told["spec"], told["title"], told["job"]) == (
        1, "closed", "PACK", "Pack", "J-1",
    )  # fmt: skip
    # Rule of the trade for five counted frictions: 0.040 to 0.060 in (common practice, no source).
    assert (told["window"]["low"]["in"], told["window"]["high"]["in"]) == ("0.0400", "0.0600")
    assert told["window"]["source"] == "rule"
    before, after = told["before"], told["after"]
    assert (before["clearance"]["in"], before["method"], before["gauge"]) == ("0.0640", "feeler", "F-1")
    assert (before["readings"], before["person"]) == (["0.0640 in"] * 3, api.person.username)
    assert (after["clearance"]["in"], after["method"], after["gauge"]) == ("0.0545", "indicator", "I-2")
    assert (told["predicted"]["in"], told["residual"]["in"]) == ("0.0539", "0.0006")
    assert 0.9 < told["probability"] < 1 and told["u"]["nm"] > 0
    assert told["outs"][0]["thickness"]["in"] == "0.0670" and told["outs"][0]["fate"] is None
    assert (told["overrides"], told["usual"], told["earlier"]) == ([], USUAL_CAUTIONS, [])
    assert told["taken_by"] == api.person.username


def test_the_stack_stands_in_order_with_what_came_in(api: Api, shelf: Shelf, taken: dict[str, Any]) -> None:
    stack = sheet(api, taken).body["stack"]
    assert [layer["slot"] for layer in stack] == ["steels", "frictions"] * 5
    steels = [layer for layer in stack if layer["slot"] == "steels"]
    assert [layer["thickness"]["in"] for layer in steels] == ["0.0671", "0.0672", "0.0673", "0.0674", "0.0771"]
    assert [layer["new"] for layer in steels] == [False] * 4 + [True]
    assert (steels[-1]["kind"], steels[-1]["bin"], steels[-1]["origin"]) == (shelf.kind.code, "B-14", "")
    assert (steels[0]["kind"], steels[0]["bin"], steels[0]["origin"]) == (None, None, "stayed")
    assert {layer["place"] for layer in steels} == {"wave side down"}
    friction = stack[1]
    assert (friction["thickness"]["in"], friction["origin"], friction["role"]) == (
        "0.0800", "stayed, book size", "friction",
    )  # fmt: skip


def test_what_an_earlier_take_brought_in_is_new_too(api: Api, shelf: Shelf, taken: dict[str, Any]) -> None:
    """Measured out of the window, a second plate goes in: both came in with this match."""
    shelf.stock("0.0772 in")
    again = final(api, taken, "0.0640 in")
    assert again["state"] == "open"
    assert sheet(api, taken).code == "wrong_state"
    one = next(option for option in again["options"] if option["changes"] == 1)
    api.post(f"matches/{taken['id']}/take/", {"option": one["number"]})
    final(api, taken, "0.0535 in")
    told = sheet(api, taken).body
    fresh = [layer for layer in told["stack"] if layer["new"]]
    assert [layer["thickness"]["in"] for layer in fresh] == ["0.0771", "0.0772"]
    assert {layer["bin"] for layer in fresh} == {"B-14"}
    assert [check["measured"]["in"] for check in told["earlier"]] == ["0.0640"]
    assert (told["before"]["gauge"], told["before"]["clearance"]["in"]) == ("I-2", "0.0640")
    assert told["after"]["clearance"]["in"] == "0.0535"


def test_plates_at_book_size_and_from_the_bench_say_so(api: Api, shelf: Shelf) -> None:
    bench = {"steels": [{"thickness": "0.0871 in", "source": "open kit"}]}
    ask = question("0.0640 in", {"steels": {"nominal": True}}, bench=bench, take=True, max_changes=1)
    match = api.post("matches/", {**ask, "accept_marginal": True}).body
    steels = [layer for layer in sheet(api, match).body["stack"] if layer["slot"] == "steels"]
    assert [layer["origin"] for layer in steels] == ["book size, not read"] * 4 + ["open kit"]
    assert (steels[-1]["new"], steels[-1]["bin"]) == (True, None)


def test_a_manuals_window_names_its_page(api: Api, owner: Person, shelf: Shelf) -> None:
    window = Window("manual", *map(length_parse, ("0.040 in", "0.060 in", "0.050 in")), "manual 7, p. 31", "in")
    pack(owner, shelf.steels, shelf.frictions, code="MANUAL", window=window)
    asked = api.post("matches/", question("0.0500 in", ["0.0770 in"] * 5, spec="MANUAL")).body
    closed = final(api, asked, "0.0500 in")
    assert sheet(api, closed).body["window"]["reference"] == "manual 7, p. 31"
    text = Counter(owner).open(f"/matches/{closed['number']}/build-sheet/")
    assert "manual 7, p. 31" in text and "Out of the pack: nothing" in text


@pytest.mark.parametrize("state", ["open", "held"])
def test_there_is_none_before_its_plates_are_taken(api: Api, shelf: Shelf, state: str) -> None:
    asked = api.post("matches/", question("0.0640 in", STEELS)).body
    if state == "held":
        api.post(f"matches/{asked['id']}/hold/", {"option": asked["options"][0]["number"]})
    reply = sheet(api, asked)
    assert (reply.status, reply.code) == (409, "wrong_state") and state in reply.body["detail"]
    assert "once its plates are taken" in Counter(shelf.person).open(f"/matches/{asked['number']}/build-sheet/")


def test_another_shop_has_no_part_in_it(taken: dict[str, Any]) -> None:
    assert sheet(Api(PersonFactory.create()), taken).status == 404


def test_the_page_is_made_to_be_signed(api: Api, shelf: Shelf, taken: dict[str, Any]) -> None:
    counter = Counter(shelf.person)
    text = counter.open("/matches/1/build-sheet/")
    assert "Not measured after assembly yet" in text and "Measured less predicted" not in text
    final(api, taken)
    assert "Build sheet" in counter.open("/matches/1/")
    text = counter.open("/matches/1/build-sheet/")
    for said in (
        "Build sheet 1: PACK Pack", "Job J-1", "0.0640 in (1.626 mm)", "0.0545 in (1.384 mm)", "feeler, F-1",
        "indicator, I-2", "+0.6 thou (+0.015 mm)", "likely in the window", "B-14", "wave side down", "Built by",
        "Out of the pack: steels 0.0670 in (1.702 mm)", *USUAL_CAUTIONS,
    ):  # fmt: skip
        assert said in text, said
    assert "Overrides" not in text
    assert counter.html.count('<tr class="fresh">') == 1 and "data-print" in counter.html


def test_what_was_read_at_the_bin_and_what_came_out(api: Api, shelf: Shelf, taken: dict[str, Any]) -> None:
    pull = {"plate": taken["slip"][0]["plate"], "readings": ["0.0772 in"]}
    assert api.post(f"matches/{taken['id']}/pull-check/", pull).status == 200
    out = {"slot": "steels", "thickness": "0.0670 in", "fate": "scrap"}
    assert api.post(f"matches/{taken['id']}/outs/", {"outs": [out]}).status == 200
    told = sheet(api, taken).body
    assert told["slip"][0]["pulled"]["texts"] == ["0.0772 in"] and told["outs"][0]["fate"] == "scrap"
    assert [layer["thickness"]["in"] for layer in told["stack"] if layer["new"]] == ["0.0772"]
    text = Counter(shelf.person).open("/matches/1/build-sheet/")
    assert "Read at the bin: steels 0.0772 in = 0.0772 in (1.961 mm)" in text
    assert "Out of the pack: steels 0.0670 in (1.702 mm) to scrap" in text


def test_more_plates_cost_no_more_queries(api: Api, shelf: Shelf) -> None:
    shelf.stock(*["0.0716 in"] * 3)
    counts = []
    for reading, changes in (("0.0640 in", 1), ("0.0690 in", 3)):
        ask = question(reading, ["0.0670 in"] * 5, take=True, accept_marginal=True, max_changes=changes)
        match = api.post("matches/", ask).body
        assert len(match["slip"]) == changes
        with CaptureQueriesContext(connection) as captured:
            sheet(api, match)
        counts.append(len(captured))
    assert counts[0] == counts[1]
