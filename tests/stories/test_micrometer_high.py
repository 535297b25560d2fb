"""A micrometer is found 0.0003 in high: what was read with it, and what was predicted from that, is put right.

Five plates were read with it and five with another one, so the real clearance is 0.0015 in more than predicted; with
the same micrometer on both sides the error is nothing.
"""

from typing import Any

import pytest
from django.db.models.functions import Now

from plates.bench.models import Match
from plates.stock.verify import differences
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, FitFactory, KindFactory, pack
from tests.gauges.test_api import GOOD, HIGH

pytestmark = pytest.mark.django_db

MIC = "gauges/MIC-1/"


@pytest.fixture
def bench(api: Api, owner: Person) -> Api:
    """Two micrometers that were good; five frictions, 0.040 to 0.060 in; five new steels read with the first one."""
    for code in ("MIC-1", "MIC-2"):
        api.post("gauges/", {"code": code, "type": "micrometer"})
        api.post(f"gauges/{code}/checks/", GOOD)
    steels = FitFactory.create(shop=owner.shop)
    pack(owner, steels, FitFactory.create(shop=owner.shop, tooth_side="external"))
    BinFactory.create(fit=steels, code="B-14")
    kind = KindFactory.create(fit=steels, code="STEEL-77")
    for _ in range(5):
        assert api.post("plates/", {"kind": kind.code, "readings": ["0.0770 in"], "gauge": "MIC-1"}).status == 201
    return api


def ask(api: Api, out_with: str, **more: Any) -> dict[str, Any]:
    """Reads 0.0850 in, with five steels of 0.0700 in: five of 0.0770 in bring it to 0.0500 in."""
    entries = [{"thickness": "0.0700 in", "gauge": out_with}] * 5
    body = {"spec": "PACK", "readings": ["0.0850 in"] * 3, "method": "feeler", "installed": {"steels": entries}}
    reply = api.post("matches/", {**body, **more})
    assert reply.status == 201
    match: dict[str, Any] = reply.body
    # A test is one transaction, and asking goes by the clock of its transaction, which stands still.
    Match.objects.filter(pk=match["id"]).update(asked_at=Now())
    return match


def five(match: dict[str, Any]) -> dict[str, Any]:
    """The option of five changes."""
    option: dict[str, Any] = next(option for option in match["options"] if option["changes"] == 5)
    return option


def take(api: Api, match: dict[str, Any]) -> dict[str, Any]:
    taken = api.post(f"matches/{match['id']}/take/", {"option": five(match)["number"], "counted": True})
    assert (taken.status, taken.body["state"]) == (200, "taken")
    body: dict[str, Any] = taken.body
    return body


def correct(api: Api) -> dict[str, Any]:
    check = api.post(f"{MIC}checks/", HIGH).body
    assert (check["passed"], check["error"]["in"], check["affected"]["count"]) == (False, "0.0003", 5)
    reply = api.post(f"{MIC}correct/", {"check": check["id"]})
    assert reply.status == 200
    done: dict[str, Any] = reply.body
    return done


def cautions(match: dict[str, Any]) -> list[str]:
    return [item["code"] for item in match["cautions"]]


def test_in_with_one_and_out_with_another_is_five_errors(bench: Api) -> None:
    match = take(bench, ask(bench, "MIC-2"))
    assert five(match)["predicted"]["in"] == "0.0500"
    done = correct(bench)
    assert [row["thickness"]["in"] for row in done["corrected"]] == ["0.0767"] * 5
    assert {row["state"] for row in done["corrected"]} == {"taken"}
    assert done["matches"] == [match["number"]]
    after = bench.get(f"matches/{match['id']}/").body
    assert five(after)["predicted"]["in"] == "0.0515"
    assert [row["thickness"]["in"] for row in after["slip"]] == ["0.0767"] * 5
    told = next(item["text"] for item in after["cautions"] if item["code"] == "corrected")
    assert "MIC-1" in told and "0.0003 in" in told and "0.0015 in" in told and "0.0515 in" in told
    assert list(differences()) == []

    final = bench.post(f"matches/{match['id']}/final/", {"readings": ["0.0515 in"] * 3, "method": "feeler"}).body
    assert (final["state"], final["residual"]["nm"]) == ("closed", 0)


def test_in_and_out_with_the_same_one_is_nothing(bench: Api) -> None:
    match = take(bench, ask(bench, "MIC-1"))
    done = correct(bench)
    assert (len(done["corrected"]), done["matches"]) == (5, [])
    after = bench.get(f"matches/{match['id']}/").body
    assert five(after)["predicted"] == five(match)["predicted"]
    assert "corrected" not in cautions(after)
    assert [row["thickness"]["in"] for row in five(after)["out"]] == ["0.0697"] * 5


def test_out_with_it_alone_is_the_other_way(bench: Api) -> None:
    """The plates of the shelf were read with another one: they stay, and 0.0015 in less is predicted."""
    steel = {"kind": "STEEL-77", "readings": ["0.0773 in"], "gauge": "MIC-2"}
    for _ in range(5):
        bench.post("plates/", steel)
    match = ask(bench, "MIC-1")
    option = next(one for one in match["options"] if {row["thickness"]["in"] for row in one["in"]} == {"0.0773"})
    bench.post(f"matches/{match['id']}/take/", {"option": option["number"], "counted": True})
    before = Match.objects.get(pk=match["id"]).built
    correct(bench)
    after = Match.objects.get(pk=match["id"]).built
    assert before and after
    assert before["predicted_nm"] - after["predicted_nm"] == len(before["out"]) * 7620


@pytest.mark.parametrize("act", ["", "hold/"])
def test_an_open_question_gets_fresh_options(bench: Api, act: str) -> None:
    match = ask(bench, "MIC-2")
    old = five(match)
    if act:
        held = bench.post(f"matches/{match['id']}/{act}", {"option": old["number"], "counted": True})
        assert held.body["state"] == "held"
    done = correct(bench)
    assert done["matches"] == [match["number"]]
    after = bench.get(f"matches/{match['id']}/").body
    fresh = five(after)
    assert fresh["number"] > old["number"] and fresh["predicted"]["in"] == "0.0515"
    assert "corrected" in cautions(after)
    if act:
        assert (after["state"], after["option_taken"]) == ("held", fresh["number"])
        assert {row["state"] for row in done["corrected"]} == {"held"}
    taken = bench.post(f"matches/{match['id']}/take/", {"option": fresh["number"], "counted": True})
    assert (taken.status, len(taken.body["slip"])) == (200, 5)
    stale = bench.post(f"matches/{match['id']}/take/", {"option": old["number"], "counted": True})
    assert stale.status == 409
    assert list(differences()) == []


def test_plates_typed_into_an_open_question_are_corrected_once(bench: Api) -> None:
    match = ask(bench, "MIC-1")
    check = bench.post(f"{MIC}checks/", HIGH).body
    plates = [row["id"] for row in bench.get(f"{MIC}affected/").body["results"]]
    for some in (plates[:2], plates[2:], plates):
        bench.post(f"{MIC}correct/", {"check": check["id"], "plates": some})
    entries = Match.objects.get(pk=match["id"]).question["installed"]["steels"]
    assert {entry["thickness_nm"] for entry in entries} == {1_778_000 - 7620}
    assert five(bench.get(f"matches/{match['id']}/").body)["predicted"]["in"] == "0.0500", "the error is on both sides"


def test_a_question_asked_after_the_check_is_left_alone(bench: Api) -> None:
    check = bench.post(f"{MIC}checks/", {**HIGH, "then": "in_force"}).body
    match = ask(bench, "MIC-2")
    asked = Match.objects.get(pk=match["id"]).question
    bench.post(f"{MIC}correct/", {"check": check["id"]})
    assert Match.objects.get(pk=match["id"]).question == asked


def test_a_pack_that_is_closed_stays_as_it_was_proved(bench: Api) -> None:
    match = take(bench, ask(bench, "MIC-2"))
    bench.post(f"matches/{match['id']}/final/", {"readings": ["0.0515 in"] * 3, "method": "feeler"})
    closed = bench.get(f"matches/{match['id']}/").body
    assert correct(bench)["matches"] == []
    assert bench.get(f"matches/{match['id']}/").body == closed


def test_reopened_out_of_its_window_and_then_corrected(bench: Api) -> None:
    """The final reading is what it is; the plates that went in are now part of the question, and corrected in it."""
    match = take(bench, ask(bench, "MIC-2"))
    opened = bench.post(f"matches/{match['id']}/final/", {"readings": ["0.0650 in"] * 3, "method": "feeler"}).body
    assert opened["state"] == "open"
    correct(bench)
    row = Match.objects.get(pk=match["id"])
    assert {entry["thickness_nm"] for entry in row.question["installed"]["steels"]} == {1_955_800 - 7620}
    assert row.clearance_nm == 1_651_000
