"""Orders: draft, sent, received in parts, through; more than is due, and what was not ordered."""

from typing import Any

import pytest

from plates.stock.models import Plate
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def fit(owner: Person) -> Any:
    made = FitFactory.create(shop=owner.shop)
    KindFactory.create(fit=made, code="S-077", unit_cost="2.10", pack_size=5)
    KindFactory.create(fit=made, code="S-087", nominal_nm=2_209_800)
    BinFactory.create(fit=made, code="B-77")
    return made


@pytest.fixture
def order(api: Api, fit: Any) -> dict[str, Any]:
    body = {"supplier": "North Works", "lines": [{"kind": "S-077", "quantity": 3}, {"kind": "S-087", "quantity": 1}]}
    status, made = api.post("orders/", body)
    assert status == 201
    return made


def came(*plates: tuple[str, str]) -> dict[str, Any]:
    return {"plates": [{"kind": kind, "readings": [reading]} for kind, reading in plates]}


def on_order(api: Api, fit: Any) -> list[int]:
    return [row["on_order"] for row in api.get("sizes/", fit=fit.code, role="steel").body["results"]]


def test_only_a_sent_order_counts_as_on_order(api: Api, fit: Any, order: dict[str, Any]) -> None:
    assert (order["number"], order["state"], order["supplier"]) == (1, "draft", "North Works")
    assert [(line["kind"], line["quantity"], line["unit_cost"]) for line in order["lines"]] == [
        ("S-077", 3, "2.1000"), ("S-087", 1, None),
    ]  # fmt: skip
    assert on_order(api, fit) == [0, 0]
    assert api.post(f"orders/{order['id']}/send/", {}).body["state"] == "sent"
    assert on_order(api, fit) == [3, 1]
    assert api.post(f"orders/{order['id']}/send/", {}).code == "wrong_state"
    assert api.post(f"orders/{order['id']}/cancel/", {}).body["state"] == "cancelled"
    assert on_order(api, fit) == [0, 0]


def test_it_comes_in_parts_until_it_is_through(api: Api, fit: Any, order: dict[str, Any]) -> None:
    path = f"orders/{order['id']}/receive/"
    assert api.post(path, came(("S-077", "0.0771 in"))).code == "wrong_state"
    api.post(f"orders/{order['id']}/send/", {})
    status, part = api.post(path, came(("S-077", "0.0771 in"), ("S-077", "0.0770 in")))
    assert (status, part["state"], len(part["plates"])) == (200, "part", 2)
    assert [line["to_come"] for line in part["lines"]] == [1, 1] and on_order(api, fit) == [1, 1]
    plate = Plate.objects.get(pk=part["plates"][0])
    assert plate.bin and plate.bin.code == "B-77" and plate.order_line_id
    whole = api.post(path, came(("S-087", "0.0870 in"), ("S-077", "0.0772 in"))).body
    assert whole["state"] == "received" and whole["ended_at"] and on_order(api, fit) == [0, 0]
    assert api.post(path, came(("S-077", "0.0771 in"))).code == "over_delivery"
    api.post(path, {**came(("S-077", "0.0771 in")), "confirm": True})
    again = api.get(f"orders/{order['id']}/").body
    assert (again["state"], again["ended_at"], again["lines"][0]["received"]) == ("received", whole["ended_at"], 4)


def test_more_than_is_due_asks_first(api: Api, order: dict[str, Any]) -> None:
    api.post(f"orders/{order['id']}/send/", {})
    path, four = f"orders/{order['id']}/receive/", came(*[("S-077", "0.0771 in")] * 4)
    refused = api.post(path, four)
    assert (refused.status, refused.code) == (422, "over_delivery") and not Plate.objects.exists()
    assert "3 of S-077 are still due" in refused.body["detail"]
    taken = api.post(path, {**four, "confirm": True}).body
    assert (taken["lines"][0]["received"], taken["lines"][0]["to_come"], taken["state"]) == (4, 0, "part")


def test_all_of_a_delivery_comes_in_or_none(api: Api, fit: Any, order: dict[str, Any]) -> None:
    KindFactory.create(fit=fit, code="S-097", nominal_nm=2_463_800)
    api.post(f"orders/{order['id']}/send/", {})
    path = f"orders/{order['id']}/receive/"
    assert api.post(path, came(("S-077", "0.0771 in"), ("S-097", "0.0970 in"))).code == "not_ordered"
    assert api.post(path, came(("S-077", "0.0771 in"), ("S-087", "2.2 in"))).code == "implausible"
    assert not Plate.objects.exists()
    assert [line["received"] for line in api.get(f"orders/{order['id']}/").body["lines"]] == [0, 0]


def test_a_retry_receives_once(api: Api, order: dict[str, Any]) -> None:
    api.post(f"orders/{order['id']}/send/", {})
    path, body = f"orders/{order['id']}/receive/", came(("S-077", "0.0771 in"))
    first, again = api.post(path, body, key="k1"), api.post(path, body, key="k1")
    assert first == again and Plate.objects.count() == 1


def test_what_cannot_be_ordered(api: Api, fit: Any) -> None:
    twice = [{"kind": "S-077", "quantity": 1}] * 2
    assert api.post("orders/", {"supplier": "North Works", "lines": twice}).code == "bad_figures"
    assert api.post("orders/", {"supplier": "North Works", "lines": []}).status == 400
    unknown = api.post("orders/", {"supplier": "North Works", "lines": [{"kind": "S-1", "quantity": 1}]})
    assert unknown.status == 400 and unknown.body["errors"][0]["pointer"] == "/lines/0/kind"


@pytest.mark.parametrize(("role", "status"), [("bench", 403), ("counter", 403), ("buyer", 201), ("owner", 201)])
def test_who_may_order(owner: Person, fit: Any, role: str, status: int) -> None:
    person = PersonFactory.create(shop=owner.shop, role=role)
    body = {"supplier": "North Works", "lines": [{"kind": "S-077", "quantity": 1}]}
    assert Api(person).post("orders/", body).status == status


@pytest.mark.parametrize("role", ["bench", "counter", "buyer"])
def test_anybody_may_receive(api: Api, owner: Person, order: dict[str, Any], role: str) -> None:
    api.post(f"orders/{order['id']}/send/", {})
    person = PersonFactory.create(shop=owner.shop, role=role)
    assert Api(person).post(f"orders/{order['id']}/receive/", came(("S-077", "0.0771 in"))).status == 200


def test_an_order_of_another_shop_is_not_there(order: dict[str, Any]) -> None:
    other = Api(PersonFactory.create())
    assert other.get(f"orders/{order['id']}/").status == 404
    for act in ("send", "cancel"):
        assert other.post(f"orders/{order['id']}/{act}/", {}).status == 404
    assert other.post(f"orders/{order['id']}/receive/", came(("S-077", "0.0771 in"))).status in (400, 404)


@pytest.mark.django_db
def test_a_set_dearer_than_can_be_kept_is_refused(api: Api, owner: Person) -> None:
    fit = FitFactory.create(shop=owner.shop)
    for mark in "12":
        KindFactory.create(fit=fit, code=f"P-{mark}", set_of="SET", mark=mark, unit_cost="99999999")
    refused = api.post("orders/", {"supplier": "A", "lines": [{"set": "SET", "quantity": 1}]})
    assert refused.status == 422 and "199999998" in refused.body["detail"]
