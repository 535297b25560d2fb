"""What is found on a plate beside its thickness stays in the ledger, and in quarantine until it is looked at again."""

from typing import Any

import pytest
from django.core.management import call_command

from plates.lengths import length_parse
from plates.stock.ledger_models import LedgerLine
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, FitFactory, KindFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def steels(owner: Person) -> None:
    fit = FitFactory.create(shop=owner.shop)
    limits = {"cone_limit_nm": length_parse("0.0050 in"), "warp_limit_nm": length_parse("0.0050 in")}
    KindFactory.create(fit=fit, code="S-77", **limits)
    BinFactory.create(fit=fit, code="B-14")


def scan(api: Api, *readings: str, **more: Any) -> dict[str, Any]:
    reply = api.post("plates/", {"kind": "S-77", "readings": list(readings or ["0.0771 in"]), **more})
    assert reply.status == 201, reply
    plate: dict[str, Any] = reply.body
    return plate


def put_back(api: Api, plate: dict[str, Any], **more: Any) -> str:
    reply = api.post(f"plates/{plate['id']}/put-back/", {"readings": ["0.0771 in"], **more})
    assert reply.status == 200, reply
    state: str = reply.body["state"]
    return state


def test_the_line_that_books_it_keeps_what_was_found(api: Api) -> None:
    plate = scan(api, cone="0.0030 in", warp="0 in", hot_spot=False)
    (line,) = api.get("ledger/", plate=plate["id"]).body["results"]
    assert line["findings"]["cone"] == {"nm": 76_200, "in": "0.0030", "mm": "0.076"}
    assert (line["findings"]["warp"]["nm"], line["findings"]["hot_spot"]) == (0, False)
    assert line["findings"]["agreed_by"] == ""
    assert LedgerLine.objects.get(plate=plate["id"]).findings == {"cone_nm": 76_200, "warp_nm": 0, "hot_spot": False}


def test_what_was_not_looked_at_is_null_and_not_zero(api: Api) -> None:
    plate = scan(api)
    (line,) = api.get("ledger/", plate=plate["id"]).body["results"]
    assert line["findings"] == {"cone": None, "warp": None, "hot_spot": None, "agreed_by": ""}
    assert LedgerLine.objects.get(plate=plate["id"]).findings == {}


@pytest.mark.parametrize(
    ("found", "looked_at", "state"),
    [
        ({"cone": "0.0080 in"}, {}, "quarantined"),
        ({"cone": "0.0080 in"}, {"warp": "0 in", "hot_spot": False}, "quarantined"),
        ({"cone": "0.0080 in"}, {"cone": "0.0040 in"}, "on_shelf"),
        ({"warp": "0.0080 in"}, {"cone": "0 in"}, "quarantined"),
        ({"warp": "0.0080 in"}, {"warp": "0 in"}, "on_shelf"),
        ({"hot_spot": True, "condition": "used"}, {}, "quarantined"),
        ({"hot_spot": True, "condition": "used"}, {"hot_spot": False}, "on_shelf"),
        ({"hot_spot": True, "condition": "used"}, {"condition": "new"}, "quarantined"),
    ],
)
def test_leaving_out_what_was_found_frees_nothing(
    api: Api, found: dict[str, Any], looked_at: dict[str, Any], state: str
) -> None:
    plate = scan(api, **found)
    assert plate["state"] == "quarantined"
    assert put_back(api, plate, **looked_at) == state
    # Twice over, since each line carries on what the one before had.
    if state == "quarantined":
        assert put_back(api, plate, **looked_at) == state
    call_command("ledger_verify")


def test_grinding_a_coned_plate_does_not_lose_its_cone(api: Api) -> None:
    plate = scan(api, cone="0.0080 in")
    path = f"plates/{plate['id']}/rework/"
    new = api.post(path, {"readings": ["0.0760 in"], "reason": "face ground"}).body
    assert new["state"] == "quarantined"
    assert put_back(api, new, cone="0.0010 in") == "on_shelf"


def test_nor_does_a_claim_that_the_supplier_sent_back(api: Api) -> None:
    plate = scan(api, cone="0.0080 in")
    assert api.post("hand-outs/", {"plates": [plate["id"]], "reason": "cash"}).code == "wrong_state"
    assert api.post("hand-outs/", {"plates": [plate["id"]], "reason": "warranty", "to": "supplier"}).status == 201
    assert put_back(api, plate) == "quarantined"
    assert put_back(api, plate, cone="0 in") == "on_shelf"
    lines = api.get("ledger/", plate=plate["id"]).body["results"]
    assert [line["balance"] for line in lines] == [0, 0, 0, 1]
    # What was found and found gone stays behind it: lent and back again, nothing is carried on.
    api.post("hand-outs/", {"plates": [plate["id"]], "reason": "lent"})
    assert put_back(api, plate) == "on_shelf"
    call_command("ledger_verify")


@pytest.mark.parametrize(
    ("count", "mean", "spread"),
    [
        # Mean half-even to 1 nm (NIST SP 811 B.7.1), taper = the largest less the smallest.
        (["1.950000 mm", "1.950001 mm"], 1_950_000, 1),
        (["1.950001 mm", "1.950002 mm"], 1_950_002, 1),
        (["1.950000 mm"] * 11 + ["1.950006 mm"], 1_950_000, 6),
        (["1.950000 mm"] * 11 + ["1.950018 mm"], 1_950_002, 18),
    ],
)
def test_one_to_twelve_points(api: Api, count: list[str], mean: int, spread: int) -> None:
    plate = scan(api, *count)
    assert (plate["thickness"]["nm"], plate["spread"]["nm"]) == (mean, spread)
    assert LedgerLine.objects.get(plate=plate["id"]).readings == count
    too_many = api.post("plates/", {"kind": "S-77", "readings": ["0.0771 in"] * 13})
    assert (too_many.status, too_many.body["errors"][0]["pointer"]) == (400, "/readings")


@pytest.mark.parametrize(
    ("member", "value"),
    [
        ("cone", "0.004"), ("cone", 4), ("warp", "-0.001 in"), ("warp", ""), ("hot_spot", "yes"), ("hot_spot", 1),
        ("agreed_by", 7), ("cones", "0 in"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_pointed_at(api: Api, member: str, value: Any) -> None:
    made = scan(api)
    bodies = {
        "plates/": {"kind": "S-77", "readings": ["0.0771 in"]},
        "lots/": {"kind": "S-77", "count": 1, "readings": [["0.0771 in"]]},
        f"plates/{made['id']}/put-back/": {"readings": ["0.0771 in"]},
        f"plates/{made['id']}/rework/": {"readings": ["0.0771 in"]},
    }
    for path, body in bodies.items():
        reply = api.post(path, {**body, member: value})
        assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, f"/{member}"), path
    assert LedgerLine.objects.count() == 1
