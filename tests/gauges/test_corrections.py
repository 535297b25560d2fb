"""A gauge found to read high: which plates were read with it, and what becomes of their thicknesses."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.catalogue.models import Kind
from plates.lengths import length_parse
from plates.stock.verify import differences
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory
from tests.gauges.test_api import GOOD, HIGH

pytestmark = pytest.mark.django_db


@pytest.fixture
def kind(owner: Person) -> Kind:
    fit = FitFactory.create(shop=owner.shop)
    BinFactory.create(fit=fit, code="B-14")
    low = {"from_nm": length_parse("0.0755 in"), "to_nm": length_parse("0.0765 in")}
    BinFactory.create(fit=fit, code="B-13", **low)
    return KindFactory.create(fit=fit)


@pytest.fixture
def mic(api: Api) -> str:
    for code in ("MIC-1", "MIC-2"):
        assert api.post("gauges/", {"code": code, "type": "micrometer"}).status == 201
        assert api.post(f"gauges/{code}/checks/", GOOD).status == 201
    return "gauges/MIC-1/"


def scan(api: Api, kind: Kind, text: str, gauge: str = "MIC-1", **more: Any) -> str:
    reply = api.post("plates/", {"kind": kind.code, "readings": [text], "gauge": gauge, "confirm": True, **more})
    assert reply.status == 201
    return str(reply.body["id"])


def fail(api: Api, mic: str, **more: Any) -> dict[str, Any]:
    reply = api.post(f"{mic}checks/", {**HIGH, **more})
    assert reply.status == 201 and reply.body["passed"] is False
    body: dict[str, Any] = reply.body
    return body


def thickness(api: Api, plate: str) -> str:
    return str(api.get(f"plates/{plate}/").body["thickness"]["in"])


def test_the_plates_read_since_the_last_good_check_are_counted_and_listed(api: Api, kind: Kind, mic: str) -> None:
    scan(api, kind, "0.0770 in")
    api.post(f"{mic}checks/", GOOD)
    first, second = scan(api, kind, "0.0771 in"), scan(api, kind, "0.0766 in")
    scan(api, kind, "0.0769 in", "MIC-2")
    check = fail(api, mic)
    assert check["affected"]["count"] == 2
    scan(api, kind, "0.0772 in")  # after the check: not of its list
    page = api.get(check["affected"]["list"].removeprefix("/api/v1/")).body
    assert [row["id"] for row in page["results"]] == [first, second]
    assert api.get(f"{mic}affected/").body == page, "the last failed check unless one is named"
    assert api.post(f"{mic}checks/", GOOD).body["affected"] is None


def test_correcting_takes_the_error_off_in_new_lines_and_rebins(api: Api, kind: Kind, mic: str) -> None:
    plates = [scan(api, kind, "0.0771 in"), scan(api, kind, "0.0766 in")]
    check = fail(api, mic)
    reply = api.post(f"{mic}correct/", {"check": check["id"]})
    assert (reply.status, reply.body["matches"]) == (200, [])
    told = [(row["before"]["in"], row["thickness"]["in"], row["was_in"], row["bin"]) for row in reply.body["corrected"]]
    assert told == [("0.0771", "0.0768", "B-14", "B-14"), ("0.0766", "0.0763", "B-14", "B-13")]
    assert [thickness(api, plate) for plate in plates] == ["0.0768", "0.0763"]
    lines = api.get("ledger/", plate=plates[1]).body["results"]
    assert [(line["act"], line["thickness"]["in"], line["readings"]) for line in lines] == [
        ("received", "0.0766", ["0.0766 in"]),
        ("corrected", "0.0763", []),
    ]
    assert "MIC-1" in lines[1]["reason"] and "0.0003 in" in lines[1]["reason"] and lines[1]["delta"] == 0
    assert list(differences()) == []
    assert api.get(f"{mic}checks/").body["results"][-1]["corrected_at"] is not None


def test_correcting_twice_corrects_once(api: Api, kind: Kind, mic: str) -> None:
    plate = scan(api, kind, "0.0771 in")
    check = fail(api, mic)
    assert len(api.post(f"{mic}correct/", {"check": check["id"]}).body["corrected"]) == 1
    for body in ({"check": check["id"]}, {"check": check["id"], "plates": [plate]}):
        assert api.post(f"{mic}correct/", body).body == {"corrected": [], "matches": []}
    later = fail(api, mic)  # still as high, and read again by nobody
    assert later["affected"]["count"] == 0
    assert api.post(f"{mic}correct/", {"check": later["id"]}).body["corrected"] == []
    assert thickness(api, plate) == "0.0768"


def test_some_first_and_the_rest_later(api: Api, kind: Kind, mic: str) -> None:
    one, two = scan(api, kind, "0.0771 in"), scan(api, kind, "0.0770 in")
    check = fail(api, mic)
    some = api.post(f"{mic}correct/", {"check": check["id"], "plates": [two]}).body
    assert [row["plate"] for row in some["corrected"]] == [two]
    assert api.get(f"{mic}checks/").body["results"][-1]["corrected_at"] is None
    assert [row["id"] for row in api.get(f"{mic}affected/").body["results"]] == [one]
    rest = api.post(f"{mic}correct/", {"check": check["id"]}).body
    assert [row["plate"] for row in rest["corrected"]] == [one]
    assert (thickness(api, one), thickness(api, two)) == ("0.0768", "0.0767")


def test_a_zero_error_in_force_was_taken_off_already(api: Api, kind: Kind, mic: str) -> None:
    """In force 0.0003 in; then the gauge is found 0.0001 in low: what was booked is 0.0004 in too thin."""
    fail(api, mic, then="in_force")
    plate = scan(api, kind, "0.0774 in")
    assert thickness(api, plate) == "0.0771"
    check = api.post(f"{mic}checks/", {"standard": "1.0000 in", "readings": ["0.9999 in"]}).body
    assert (check["passed"], check["affected"]["count"]) == (False, 1)
    api.post(f"{mic}correct/", {"check": check["id"]})
    assert thickness(api, plate) == "0.0775"


def test_what_was_read_again_in_between_is_left_alone(api: Api, kind: Kind, mic: str) -> None:
    plate = scan(api, kind, "0.0771 in")
    api.post("hand-outs/", {"plates": [plate], "reason": "lent"})
    api.post(f"plates/{plate}/put-back/", {"readings": ["0.0770 in"], "gauge": "MIC-2"})
    assert fail(api, mic)["affected"]["count"] == 0


def test_each_plate_by_the_first_check_after_its_reading(api: Api, kind: Kind, mic: str) -> None:
    """Found 0.0003 in high and set to zero clumsily; then found 0.0005 in low: two errors, each for its plates."""
    first = scan(api, kind, "0.0771 in")
    fail(api, mic, then="zeroed")
    second = scan(api, kind, "0.0771 in")
    low = api.post(f"{mic}checks/", {"standard": "1.0000 in", "readings": ["0.9995 in"]}).body
    assert low["affected"]["count"] == 2
    api.post(f"{mic}correct/", {"check": low["id"]})
    assert (thickness(api, first), thickness(api, second)) == ("0.0768", "0.0776")
    assert all(row["corrected_at"] for row in api.get(f"{mic}checks/").body["results"] if not row["passed"])


def test_plates_of_a_lot_that_were_not_read_follow_with_their_uncertainty(api: Api, kind: Kind, mic: str) -> None:
    body = {"kind": kind.code, "count": 8, "readings": [["0.0771 in"], ["0.0770 in"]] * 2 + [["0.0772 in"]]}
    lot = api.post("lots/", {**body, "gauge": "MIC-1"}).body
    unread = [plate for plate in lot["plates"] if not plate["measured"]]
    assert len(unread) == 3
    check = fail(api, mic)
    assert check["affected"]["count"] == 8
    api.post(f"{mic}correct/", {"check": check["id"]})
    for plate in unread:
        after = api.get(f"plates/{plate['id']}/").body
        assert (after["measured"], plate["thickness"]["nm"] - after["thickness"]["nm"]) == (False, 7620)
    assert list(differences()) == []


def test_a_plate_that_is_gone(api: Api, kind: Kind, mic: str) -> None:
    """Scrapped: no more; lent: put right where it is, in no other bin."""
    scrapped, lent = scan(api, kind, "0.0771 in"), scan(api, kind, "0.0766 in")
    api.post(f"plates/{scrapped}/scrap/", {"reason": "burnt"})
    api.post("hand-outs/", {"plates": [lent], "reason": "lent"})
    check = fail(api, mic)
    refused = api.post(f"{mic}correct/", {"check": check["id"], "plates": [lent, scrapped]})
    assert (refused.status, refused.code, refused.body["errors"][0]["pointer"]) == (422, "not_affected", "/plates/1")
    assert thickness(api, lent) == "0.0766", "nothing was corrected"
    done = api.post(f"{mic}correct/", {"check": check["id"]}).body["corrected"]
    assert [(row["plate"], row["state"], row["bin"]) for row in done] == [(lent, "handed_out", "B-14")]
    assert list(differences()) == []


@pytest.mark.parametrize(
    ("change", "status", "code"),
    [
        ({"check": "00000000-0000-7000-8000-000000000000"}, 400, "malformed"),
        ({"check": "x"}, 400, "malformed"),
        ({"plates": []}, 400, "malformed"),
        ({"plates": ["00000000-0000-7000-8000-000000000000"]}, 400, "malformed"),
        ({"everything": True}, 400, "malformed"),
    ],
)
def test_what_cannot_be_corrected(
    api: Api, kind: Kind, mic: str, change: dict[str, Any], status: int, code: str
) -> None:
    plate = scan(api, kind, "0.0771 in")
    reply = api.post(f"{mic}correct/", {"check": fail(api, mic)["id"], **change})
    assert (reply.status, reply.code) == (status, code)
    assert thickness(api, plate) == "0.0771"


def test_a_good_check_corrects_nothing(api: Api, kind: Kind, mic: str) -> None:
    good = api.post(f"{mic}checks/", GOOD).body
    assert api.post(f"{mic}correct/", {"check": good["id"]}).code == "nothing_wrong"
    assert api.get(f"{mic}affected/", check=good["id"]).code == "nothing_wrong"
    assert api.get(f"{mic}affected/").status == 404, "it has failed no check"


def test_a_check_of_another_gauge(api: Api, kind: Kind, mic: str) -> None:
    check = fail(api, mic)
    assert api.post("gauges/MIC-2/correct/", {"check": check["id"]}).status == 400
    assert api.get("gauges/MIC-2/affected/", check=check["id"]).status == 400


def test_another_shops_gauge_and_plates(api: Api, kind: Kind, mic: str) -> None:
    plate = scan(api, kind, "0.0771 in")
    check = fail(api, mic)
    theirs = Api(PersonFactory.create())
    assert theirs.get(f"{mic}affected/").status == 404
    assert theirs.post(f"{mic}correct/", {"check": check["id"]}).status == 404
    theirs.post("gauges/", {"code": "MIC-1", "type": "micrometer"})
    own = theirs.post(f"{mic}checks/", HIGH).body
    assert own["affected"]["count"] == 0, "the same code, but another gauge"
    assert theirs.post(f"{mic}correct/", {"check": check["id"]}).status == 400
    assert theirs.post(f"{mic}correct/", {"check": own["id"], "plates": [plate]}).status == 400
    assert thickness(api, plate) == "0.0771"


@pytest.mark.parametrize(("role", "status"), [("bench", 200), ("counter", 200), ("buyer", 403)])
def test_who_may_correct(api: Api, owner: Person, kind: Kind, mic: str, role: str, status: int) -> None:
    scan(api, kind, "0.0771 in")
    check = fail(api, mic)
    other = Api(PersonFactory.create(shop=owner.shop, role=role))
    assert other.post(f"{mic}correct/", {"check": check["id"]}).status == status
    assert other.get(f"{mic}affected/").status == 200


def test_a_correction_sent_twice_under_its_key_is_one(api: Api, kind: Kind, mic: str) -> None:
    scan(api, kind, "0.0771 in")
    check = fail(api, mic)
    first, second = (api.post(f"{mic}correct/", {"check": check["id"]}, key="put-right") for _ in range(2))
    assert first.body == second.body and len(first.body["corrected"]) == 1


def test_an_error_larger_than_a_plate_is_refused(api: Api, kind: Kind, mic: str) -> None:
    scan(api, kind, "0.0771 in")
    slip = {"standard": "1 in", "readings": ["1.5 in"], "confirm": True}
    check = api.post(f"{mic}checks/", slip).body
    assert api.post(f"{mic}correct/", {"check": check["id"]}).code == "not_affected"


def test_the_list_of_the_affected_takes_no_more_queries_for_more_plates(api: Api, kind: Kind, mic: str) -> None:
    counts = []
    for _ in range(2):
        for _ in range(3):
            scan(api, kind, "0.0771 in")
        fail(api, mic)
        with CaptureQueriesContext(connection) as captured:
            page = api.get(f"{mic}affected/").body
        counts.append((len(captured), page["count"]))
    assert [count for _, count in counts] == [3, 6]
    assert counts[0][0] == counts[1][0]


def test_correcting_takes_no_more_queries_for_more_plates(api: Api, kind: Kind, mic: str) -> None:
    counts = []
    for plates in (2, 6):
        for _ in range(plates):
            scan(api, kind, "0.0771 in")
        check = fail(api, mic)
        with CaptureQueriesContext(connection) as captured:
            done = api.post(f"{mic}correct/", {"check": check["id"]}).body["corrected"]
        assert len(done) == plates
        counts.append(len(captured))
        api.post(f"{mic}checks/", GOOD)
    assert counts[0] == counts[1]
