"""Claims on suppliers: opened with the booking, listed, settled with a note; sent back under warranty."""

from typing import Any

import pytest

from plates.buying.claim_models import Claim
from plates.buying.models import Order
from plates.catalogue.models import Kind
from plates.stock.models import HandOut, Plate
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db
PAGE = "/scan-in/kind/S-077/"
#: Beyond its taper limit: set aside. Outside its tolerance: on the shelf.
TAPERED, THIN = ["0.0760 in", "0.0780 in"], ["0.0740 in"]


@pytest.fixture
def kind(owner: Person) -> Kind:
    fit = FitFactory.create(shop=owner.shop)
    BinFactory.create(fit=fit, code="B-77")
    return KindFactory.create(fit=fit, code="S-077", tolerance_nm=50_800, taper_limit_nm=25_400)


@pytest.fixture
def order(api: Api, kind: Kind) -> Order:
    lines = [{"kind": "S-077", "quantity": 5}]
    made = api.post("orders/", {"supplier": "North Works", "lines": lines}).body
    api.post(f"orders/{made['id']}/send/", {})
    return Order.objects.get()


def came(api: Api, order: Order, *readings: list[str]) -> dict[str, Any]:
    plates = [{"kind": "S-077", "readings": points, "confirm": True} for points in readings]
    reply = api.post(f"orders/{order.pk}/receive/", {"plates": plates})
    assert reply.status == 200
    return dict(reply.body)


@pytest.fixture
def claims(api: Api, order: Order) -> list[dict[str, Any]]:
    came(api, order, TAPERED, ["0.0770 in"], THIN)
    listed: list[dict[str, Any]] = api.get("claims/").body["results"]
    return listed


def test_what_came_otherwise_than_ordered_is_claimed(api: Api, claims: list[dict[str, Any]]) -> None:
    assert [(one["thickness"]["in"], one["nominal"]["in"], one["tolerance"]["in"]) for one in claims] == [
        ("0.0770", "0.0770", "0.0020"), ("0.0740", "0.0770", "0.0020"),
    ]  # fmt: skip
    tapered, thin = claims
    assert "Its points range over 0.0020 in" in tapered["why"] and "under nominal; S-077 allows" in thin["why"]
    assert {(one["order"], one["supplier"], one["state"], one["person"]) for one in claims} == {
        (1, "North Works", "open", None)
    }
    assert [Plate.objects.get(pk=one["plate"]).state for one in claims] == ["quarantined", "on_shelf"]
    assert api.get("claims/", order="2").body["count"] == 0 == api.get("claims/", state="credited").body["count"]
    assert api.get("claims/", order="1", supplier="North Works", state="open").body["count"] == 2


def test_the_answer_to_what_came_names_its_claims(api: Api, order: Order) -> None:
    told = came(api, order, TAPERED, ["0.0770 in"], THIN)
    listed = api.get("claims/").body["results"]
    assert told["claims"] == [{name: one[name] for name in ("id", "plate", "why")} for one in listed]
    assert [one["plate"] for one in told["claims"]] == [told["plates"][0], told["plates"][2]]
    assert came(api, order, ["0.0770 in"])["claims"] == []


def test_the_counter_is_told_as_it_scans(owner: Person, order: Order) -> None:
    window = Counter(owner)
    window.open(PAGE, order="1")
    assert "laimed" not in window.send(PAGE, {"reading": ".0770"})
    text = window.send(PAGE, {"reading": ".0740", "confirm": "on"})
    assert "Claimed on the supplier: It is 0.0030 in (0.076 mm) under nominal; S-077 allows" in text
    assert "Claimed on North Works: 1 of this batch." in text
    assert window.html.count('<a href="/claims/?order=1">See the claims</a>') == 2
    assert 'data-tone="warning"' in window.html
    later = window.send(PAGE, {"reading": ".0770"})
    assert "Claimed on the supplier" not in later and "Claimed on North Works: 1 of this batch." in later
    window.send("/scan-in/undo/")
    window.send(PAGE, {"reading": ".0740", "confirm": "on"})
    assert "Claimed on North Works: 1 of this batch." in window.send("/scan-in/undo/")
    window.open("/claims/", order="1")
    assert window.html.count("under nominal") == 1


def test_so_it_is_of_a_lot(owner: Person, order: Order) -> None:
    window, at = Counter(owner), f"{PAGE}lot/"
    window.open(at, order="1")
    window.send(at, {"count": "2"})
    for _ in range(2):
        window.send(at, {"reading": ".0740", "confirm": "on"})
    assert "Claimed on North Works: 2 of this batch." in window.send(at, {"reading": ""})


def test_a_claim_keeps_what_was_read_when_the_plate_is_read_again(api: Api, claims: list[dict[str, Any]]) -> None:
    plate = claims[0]["plate"]
    assert api.post(f"plates/{plate}/put-back/", {"readings": ["0.0772 in"]}).body["state"] == "on_shelf"
    again = api.get(f"claims/{claims[0]['id']}/").body
    assert again["thickness"]["in"] == "0.0770" and again["state"] == "open"


def test_sent_back_it_leaves_under_warranty_and_may_then_be_credited(api: Api, claims: list[dict[str, Any]]) -> None:
    path = f"claims/{claims[0]['id']}/settle/"
    back = api.post(path, {"state": "sent_back", "note": "by post on Friday"}).body
    assert (back["state"], back["note"], bool(back["person"] and back["settled_at"])) == (
        "sent_back", "by post on Friday", True,
    )  # fmt: skip
    hand_out = HandOut.objects.get()
    assert (hand_out.reason, hand_out.to) == ("warranty", "North Works")
    plate = Plate.objects.get(pk=claims[0]["plate"])
    assert plate.state == "handed_out" and plate.hand_out == hand_out
    assert api.post(path, {"state": "accepted", "note": "no"}).code == "wrong_state"
    credited = api.post(path, {"state": "credited", "note": "2.10 credited"}).body
    assert (credited["state"], credited["note"]) == ("credited", "by post on Friday; 2.10 credited")
    assert api.post(path, {"state": "credited", "note": "again"}).code == "wrong_state" and HandOut.objects.count() == 1


def test_what_left_under_warranty_before_does_not_leave_twice(api: Api, claims: list[dict[str, Any]]) -> None:
    api.post("hand-outs/", {"plates": [claims[0]["plate"]], "reason": "warranty", "to": "North Works"})
    path = f"claims/{claims[0]['id']}/settle/"
    assert api.post(path, {"state": "sent_back", "note": "it is gone"}).body["state"] == "sent_back"
    assert HandOut.objects.count() == 1


def test_what_is_not_there_cannot_be_sent_back(api: Api, claims: list[dict[str, Any]]) -> None:
    api.post(f"plates/{claims[0]['plate']}/scrap/", {"reason": "bent"})
    path = f"claims/{claims[0]['id']}/settle/"
    refused = api.post(path, {"state": "sent_back", "note": "no"})
    assert refused.code == "wrong_state" and "Have it credited" in refused.body["detail"]
    assert api.post(path, {"state": "credited", "note": "in full"}).body["state"] == "credited"


def test_a_retry_settles_once(api: Api, claims: list[dict[str, Any]]) -> None:
    path, body = f"claims/{claims[1]['id']}/settle/", {"state": "sent_back", "note": "by post"}
    assert api.post(path, body, key="k1") == api.post(path, body, key="k1") and HandOut.objects.count() == 1


@pytest.mark.parametrize(
    "body", [{"state": "open", "note": "x"}, {"state": "credited"}, {"state": "sent", "note": "x"}]
)
def test_what_settles_nothing(api: Api, claims: list[dict[str, Any]], body: dict[str, str]) -> None:
    assert api.post(f"claims/{claims[0]['id']}/settle/", body).status == 400
    assert Claim.objects.filter(state="open").count() == 2


@pytest.mark.parametrize(("role", "status"), [("bench", 403), ("counter", 403), ("buyer", 200), ("owner", 200)])
def test_who_may_settle(owner: Person, claims: list[dict[str, Any]], role: str, status: int) -> None:
    person = PersonFactory.create(shop=owner.shop, role=role)
    body = {"state": "sent_back", "note": "by post"}
    assert Api(person).post(f"claims/{claims[0]['id']}/settle/", body).status == status
    assert Api(PersonFactory.create()).get(f"claims/{claims[0]['id']}/").status == 404


def test_an_undone_scan_takes_its_claim_with_it_unless_it_is_settled(owner: Person, api: Api, order: Order) -> None:
    window = Counter(owner)
    window.open(PAGE, order="1")
    window.send(PAGE, {"reading": ".0760 .0780"})
    assert Claim.objects.count() == 1
    window.send("/scan-in/undo/")
    assert not Claim.objects.exists()
    window.open(PAGE, order="1")
    window.send(PAGE, {"reading": ".0760 .0780"})
    api.post(f"claims/{Claim.objects.get().pk}/settle/", {"state": "credited", "note": "in full"})
    window.send("/scan-in/undo/")
    assert "Its claim on the supplier was settled" in window.text and Claim.objects.count() == 1


def test_each_plate_of_a_lot_is_claimed_and_the_lot_undone_whole(owner: Person, api: Api, order: Order) -> None:
    window = Counter(owner)
    window.open(PAGE, order="1")
    window.post(f"{PAGE}lot/", {**window.form(PAGE)["fields"], "act": "begin"})
    window.send("/lot/", {"count": "2"})
    for reading in (".0760 .0780", ".0770"):
        window.send("/lot/", {"reading": reading})
    window.send("/lot/", {"reading": ""})
    assert [claim.plate.state for claim in Claim.objects.all()] == ["quarantined"]
    window.send("/scan-in/undo/")
    assert not Claim.objects.exists()


def test_at_the_desk_they_are_ticked_and_settled_together(owner: Person, claims: list[dict[str, Any]]) -> None:
    desk = Counter(owner)
    assert "To claim on North Works Open" in desk.open("/orders/1/") and "Claims on suppliers: 2 open" in desk.open(
        "/orders/"
    )
    week = desk.open("/week/")
    assert "on North Works, order 1: S-077 0.0740 in" in week and "allows 0.0020 in" in week
    rows = desk.client.get("/claims.csv", {"order": "1"}).content.decode().splitlines()
    assert len(rows) == 3 and rows[2].startswith("1,S-077,steel,It is 0.0030 in")
    assert "S-077" in desk.open("/claims/", order="1") and "S-077" not in desk.open("/claims/", order="2")
    desk.open("/claims/")
    form, ids = desk.form("/claims/settle/?state=open"), [one["id"] for one in claims]
    for _ in range(2):
        desk.post(form["action"], {**form["fields"], "claim": ids, "state": "sent_back", "note": "by post"})
        assert "There is none" in desk.text and desk.path == "/claims/?state=open"
    assert HandOut.objects.get().plates.count() == 2
    assert "by post" in desk.open("/claims/", state="sent_back")
    assert "What became of those" not in desk.open("/claims/", state="accepted")


@pytest.mark.parametrize(
    ("typed", "said"),
    [({"claim": []}, "Tick the claims"), ({"claim": ["x"]}, "names no claim"), ({"note": " "}, "what was agreed")],
)
def test_what_the_desk_refuses(owner: Person, claims: list[dict[str, Any]], typed: dict[str, Any], said: str) -> None:
    desk = Counter(owner)
    desk.open("/claims/")
    form = desk.form("/claims/settle/?state=open")
    fields = {**form["fields"], "claim": [claims[0]["id"]], "state": "credited", "note": "in full", **typed}
    assert said in desk.post(form["action"], fields) and Claim.objects.filter(state="open").count() == 2


def test_what_is_set_aside_later_is_claimed_by_a_press(owner: Person, api: Api, order: Order) -> None:
    came(api, order, ["0.0770 in"])
    plate = Plate.objects.get()
    api.post("hand-outs/", {"plates": [str(plate.pk)], "reason": "lent"})
    api.post(f"plates/{plate.pk}/put-back/", {"readings": TAPERED})
    desk = Counter(owner)
    assert "1 more of this order is set aside, and not claimed" in desk.open("/orders/1/")
    form = desk.form("/claim/")
    for _ in range(2):
        desk.post(form["action"], form["fields"])
    assert "Its points range over" in Claim.objects.get().why and "not claimed" not in desk.text
