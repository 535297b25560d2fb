"""Gauges, checks and studies through the API."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.people.models import Person
from tests.api import Api
from tests.factories import PersonFactory

pytestmark = pytest.mark.django_db

#: The block of 25 mm read at three points by a micrometer that reads 0.0003 in high.
HIGH = {"standard": "25.000 mm", "readings": ["25.008 mm", "25.007 mm", "25.00786 mm"]}
GOOD = {"standard": "25.000 mm", "readings": ["25.001 mm", "25.000 mm"]}


@pytest.fixture
def mic(api: Api) -> str:
    assert api.post("gauges/", {"code": "MIC-1", "type": "micrometer"}).status == 201
    return "gauges/MIC-1/"


def test_a_micrometer_is_taken_at_the_old_standards_limit_unless_said(api: Api) -> None:
    """0 to 50 mm: 4 µm. DIN 863, extract of an old edition, as published secondhand."""
    made = api.post("gauges/", {"code": "MIC-1", "type": "micrometer"}).body
    assert (made["limit"]["nm"], made["resolution"]["in"], made["interval_days"]) == (4000, "0.0001", 90)
    assert (made["state"], made["due_at"], made["zero"]["nm"]) == ("unchecked", None, 0)
    said = {"code": "F", "type": "feeler", "limit": "0.001 in", "resolution": "0.002 in", "interval_days": 0}
    other = api.post("gauges/", said).body
    assert (other["limit"]["in"], other["resolution"]["in"], other["interval_days"]) == ("0.0010", "0.0020", None)


@pytest.mark.parametrize("kind", ["micrometer", "feeler", "indicator", "depth"])
def test_every_type_has_defaults_that_are_above_zero(api: Api, kind: str) -> None:
    made = api.post("gauges/", {"code": "G", "type": kind}).body
    assert made["limit"]["nm"] > 0 and made["resolution"]["nm"] > 0 and made["interval_days"] > 0


def test_one_code_once(api: Api, mic: str) -> None:
    again = api.post("gauges/", {"code": "MIC-1", "type": "depth"})
    assert (again.status, again.code) == (409, "code_taken")
    assert api.get(mic).body["type"] == "micrometer"


def test_a_check_within_the_limit_passes_and_sets_the_next_date(api: Api, mic: str) -> None:
    check = api.post(f"{mic}checks/", GOOD).body
    assert (check["passed"], check["error"]["nm"], check["readings"]) == (True, 500, GOOD["readings"])
    assert check["gauge_state"] == "good"
    gauge = api.get(mic).body
    assert (gauge["state"], gauge["checked_at"]) == ("good", gauge["good_at"])
    assert gauge["due_at"] > gauge["good_at"]


@pytest.mark.parametrize(("reading", "passed"), [("25.004 mm", True), ("25.004001 mm", False), ("24.996 mm", True)])
def test_the_limit_belongs_to_the_good(api: Api, mic: str, reading: str, passed: bool) -> None:
    assert api.post(f"{mic}checks/", {"standard": "25 mm", "readings": [reading]}).body["passed"] is passed


def test_a_failed_gauge_stays_failed_until_something_is_done(api: Api, mic: str) -> None:
    check = api.post(f"{mic}checks/", HIGH).body
    assert (check["passed"], check["error"]["nm"], check["error"]["in"]) == (False, 7620, "0.0003")
    assert (api.get(mic).body["state"], api.get(mic).body["zero"]["nm"]) == ("failed", 0)
    zeroed = api.post(f"{mic}checks/", {**HIGH, "then": "zeroed"}).body
    assert (zeroed["zero_after"]["nm"], zeroed["gauge_state"]) == (0, "failed"), "only a check shows that it is good"
    assert api.post(f"{mic}checks/", GOOD).body["gauge_state"] == "good"


def test_an_error_in_force_is_what_later_checks_are_held_against(api: Api, mic: str) -> None:
    check = api.post(f"{mic}checks/", {**HIGH, "then": "in_force"}).body
    assert (check["passed"], check["zero_after"]["nm"], check["gauge_state"]) == (False, 7620, "good")
    later = api.post(f"{mic}checks/", HIGH).body
    assert (later["passed"], later["zero_before"]["nm"], later["zero_after"]["nm"]) == (True, 7620, 7620)
    back = api.post(f"{mic}checks/", GOOD).body
    assert back["passed"] is False, "it no longer reads high, so taking the error off is wrong"


def test_in_force_is_for_micrometers(api: Api) -> None:
    api.post("gauges/", {"code": "IND", "type": "indicator"})
    refused = api.post("gauges/IND/checks/", {**HIGH, "then": "in_force"})
    assert (refused.status, refused.code) == (422, "bad_gauge") and "cancels" in refused.body["detail"]


def test_a_block_in_the_other_unit_is_no_error_of_the_gauge(api: Api, mic: str) -> None:
    slip = {"standard": "1.0 in", "readings": ["1.0 mm"]}
    refused = api.post(f"{mic}checks/", slip)
    assert (refused.status, refused.code) == (422, "far_from_standard")
    assert api.get(f"{mic}checks/").body["count"] == 0
    edge = {"standard": "1 in", "readings": ["1.020 in"]}
    assert api.post(f"{mic}checks/", edge).status == 201
    assert api.post(f"{mic}checks/", {**slip, "confirm": True}).body["passed"] is False


def test_a_withdrawn_gauge_comes_back(api: Api, mic: str) -> None:
    gone = api.post(f"{mic}withdraw/", {"reason": "dropped"})
    assert (gone.status, gone.body["state"], gone.body["withdrawn_why"]) == (200, "withdrawn", "dropped")
    assert api.post(f"{mic}withdraw/", {"reason": "again"}).code == "wrong_state"
    back = api.post(f"{mic}return/", {})
    assert (back.body["state"], back.body["withdrawn_at"]) == ("unchecked", None)
    assert api.post(f"{mic}return/", {}).code == "wrong_state"


def test_a_check_sent_twice_is_one_check(api: Api, mic: str) -> None:
    first, second = (api.post(f"{mic}checks/", GOOD, key="press-1") for _ in range(2))
    assert first.body == second.body and api.get(f"{mic}checks/").body["count"] == 1


@pytest.mark.parametrize(
    ("path", "body", "pointer"),
    [
        ("gauges/", {"code": "G", "type": "ruler"}, "/type"),
        ("gauges/", {"code": "G"}, "/type"),
        ("gauges/", {"code": "G", "type": "depth", "limit": "0 in"}, "/limit"),
        ("gauges/", {"code": "G", "type": "depth", "interval_days": -1}, "/interval_days"),
        ("gauges/MIC-1/checks/", {"standard": "0 in", "readings": ["0 in"]}, "/readings/0"),
        ("gauges/MIC-1/checks/", {"standard": "1 in", "readings": []}, "/readings"),
        ("gauges/MIC-1/checks/", {**GOOD, "then": "thrown away"}, "/then"),
        ("gauges/MIC-1/withdraw/", {}, "/reason"),
        ("gauge-studies/", {"gauge": "NONE", "people": [], "plates": [], "readings": [[["1 in"]]]}, "/gauge"),
    ],
)
def test_what_cannot_be_read(api: Api, mic: str, path: str, body: dict[str, Any], pointer: str) -> None:
    reply = api.post(path, body)
    assert reply.status == 400 and pointer in [error["pointer"] for error in reply.body["errors"]]


@pytest.mark.parametrize("role", ["owner", "bench", "counter", "buyer"])
def test_the_buyer_only_reads(owner: Person, mic: str, role: str) -> None:
    api = Api(PersonFactory.create(shop=owner.shop, role=role))
    calls: list[tuple[str, dict[str, Any]]] = [
        ("gauges/", {"code": "NEW", "type": "depth"}),
        (f"{mic}checks/", GOOD),
        (f"{mic}withdraw/", {"reason": "dropped"}),
        (f"{mic}return/", {}),
        ("gauge-studies/", study_body("MIC-1")),
    ]
    assert {api.post(path, body).status == 403 for path, body in calls} == {role == "buyer"}
    assert {api.get(path).status for path in ("gauges/", mic, f"{mic}checks/", "gauge-studies/")} == {200}


def test_another_shops_gauge_is_not_there(api: Api, mic: str) -> None:
    theirs = Api(PersonFactory.create())
    assert theirs.get("gauges/").body["count"] == 0
    assert theirs.get(mic).status == theirs.get(f"{mic}checks/").status == 404
    assert theirs.post(f"{mic}checks/", GOOD).status == theirs.post(f"{mic}withdraw/", {"reason": "x"}).status == 404
    assert theirs.post("gauge-studies/", study_body("MIC-1")).status == 400
    assert theirs.post("gauges/", {"code": "MIC-1", "type": "depth"}).status == 201, "codes are each shop's own"


def study_body(gauge: str, **more: Any) -> dict[str, Any]:
    """Two people, two trials, three plates."""
    readings = [
        [["0.0771 in", "0.0781 in", "0.0762 in"], ["0.0771 in", "0.0782 in", "0.0761 in"]],
        [["0.0772 in", "0.0781 in", "0.0762 in"], ["0.0772 in", "0.0783 in", "0.0761 in"]],
    ]
    return {"gauge": gauge, "people": ["A", "B"], "plates": ["1", "2", "3"], "readings": readings, **more}


#: Queries of each list: the token, the count, the rows; a gauge's checks also look up the gauge.
QUERIES = {"gauges/": 3, "gauges/MIC-1/checks/": 4, "gauge-studies/": 3}


@pytest.mark.parametrize("path", sorted(QUERIES))
def test_twice_the_rows_take_no_more_queries(api: Api, mic: str, path: str) -> None:
    counts = []
    for rounds in (range(2), range(2, 4)):
        for round_ in rounds:
            api.post("gauges/", {"code": f"G{round_}", "type": "micrometer"})
            api.post(f"gauges/G{round_}/checks/", GOOD)
            api.post(f"{mic}checks/", GOOD)
            api.post("gauge-studies/", study_body("MIC-1"))
        with CaptureQueriesContext(connection) as captured:
            page = api.get(path).body
        counts.append((len(captured), page["count"]))
    (first, rows), (second, twice) = counts
    assert twice >= 2 * rows - 1 and rows >= 2
    assert (first, second) == (QUERIES[path], QUERIES[path])


def test_gauges_by_filter(api: Api, mic: str) -> None:
    api.post("gauges/", {"code": "F-1", "type": "feeler"})
    api.post(f"{mic}checks/", HIGH)
    assert [row["code"] for row in api.get("gauges/").body["results"]] == ["F-1", "MIC-1"]
    assert [row["code"] for row in api.get("gauges/", state="failed").body["results"]] == ["MIC-1"]
    assert [row["code"] for row in api.get("gauges/", type="feeler").body["results"]] == ["F-1"]
    assert api.get("gauges/", state="lost").status == 400
