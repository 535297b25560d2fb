"""A shop may want two people for every used plate; to begin with it does not."""

from typing import Any

import pytest

from plates.stock.ledger_models import LedgerLine
from shop.people.models import Person, Role
from tests.api import Api
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def shop(owner: Person) -> None:
    """Ada at the bench and Bob at the counter may agree; Cy buys, Dee has left, and Eve is of another shop."""
    fit = FitFactory.create(shop=owner.shop)
    KindFactory.create(fit=fit, code="S-77")
    BinFactory.create(fit=fit, code="B-14")
    for name, role in [("ada", Role.BENCH), ("bob", Role.COUNTER), ("cy", Role.BUYER)]:
        PersonFactory.create(shop=owner.shop, username=name, role=role)
    PersonFactory.create(shop=owner.shop, username="dee", role=Role.BENCH, is_active=False)
    PersonFactory.create(username="eve", role=Role.BENCH)


@pytest.fixture
def wanted(owner: Person) -> None:
    owner.shop.second_person = True
    owner.shop.save()


USED = {"kind": "S-77", "readings": ["0.0771 in"], "condition": "used"}
LOT = {"kind": "S-77", "count": 1, "readings": [["0.0771 in"]], "condition": "used"}


def test_it_is_off_to_begin_with_and_an_agreement_is_still_kept(api: Api) -> None:
    assert api.post("plates/", USED).status == 201
    made = api.post("plates/", {**USED, "agreed_by": "ada"}).body
    (line,) = api.get("ledger/", plate=made["id"]).body["results"]
    assert line["findings"]["agreed_by"] == "ada"


@pytest.mark.usefixtures("wanted")
@pytest.mark.parametrize(("path", "body"), [("plates/", USED), ("lots/", LOT)])
@pytest.mark.parametrize("agreed_by", ["", "cy", "dee", "eve", "nobody", "ADA", None])
def test_nobody_and_the_wrong_person_do_not_do(
    api: Api, path: str, body: dict[str, Any], agreed_by: str | None
) -> None:
    reply = api.post(path, {**body, "agreed_by": agreed_by})
    assert (reply.status, reply.code) == (422, "second_person")
    assert reply.body["errors"][0]["pointer"] == "/agreed_by"
    assert LedgerLine.objects.count() == 0


@pytest.mark.usefixtures("wanted")
def test_nor_does_whoever_books_it(api: Api, owner: Person) -> None:
    reply = api.post("plates/", {**USED, "agreed_by": owner.username})
    assert (reply.status, reply.code) == (422, "second_person")


@pytest.mark.usefixtures("wanted")
@pytest.mark.parametrize(("path", "body"), [("plates/", USED), ("lots/", LOT)])
@pytest.mark.parametrize("name", ["ada", "bob"])
def test_another_one_who_may_book_does(api: Api, path: str, body: dict[str, Any], name: str) -> None:
    assert api.post(path, {**body, "agreed_by": name}).status == 201
    assert LedgerLine.objects.get().findings == {"agreed_by": name}


@pytest.mark.usefixtures("wanted")
@pytest.mark.parametrize(("path", "body"), [("plates/", USED), ("lots/", LOT)])
def test_a_new_one_needs_nobody(api: Api, path: str, body: dict[str, Any]) -> None:
    assert api.post(path, {**body, "condition": "new"}).status == 201
    assert api.post(path, {**body, "condition": "new", "agreed_by": "nobody"}).code == "second_person"


@pytest.mark.usefixtures("wanted")
def test_what_comes_back_used_or_is_reworked_needs_it_too(api: Api) -> None:
    made = api.post("plates/", {**USED, "condition": "new"}).body
    gone = {"plates": [made["id"]], "reason": "lent", "to": "next door"}
    assert api.post("hand-outs/", gone).status == 201
    back = f"plates/{made['id']}/put-back/"
    body: dict[str, Any] = {"readings": ["0.0770 in"]}
    assert api.post(back, {**body, "condition": "used"}).code == "second_person"
    assert api.post(back, {**body, "condition": "used", "agreed_by": "ada"}).body["condition"] == "used"
    # It is a used one now, so grinding it takes two people without anybody saying so.
    rework = f"plates/{made['id']}/rework/"
    assert api.post(rework, {**body, "reason": "face ground"}).code == "second_person"
    new = api.post(rework, {**body, "reason": "face ground", "agreed_by": "bob"})
    assert new.status == 200
    (line,) = api.get("ledger/", plate=new.body["id"]).body["results"]
    assert line["findings"]["agreed_by"] == "bob"


@pytest.mark.usefixtures("wanted")
def test_one_agreement_is_for_one_booking(api: Api) -> None:
    """In quarantine what was found stays, but who agreed to it does not agree to the next reading."""
    made = api.post("plates/", {**USED, "agreed_by": "ada", "hot_spot": True}).body
    assert made["state"] == "quarantined"
    back = f"plates/{made['id']}/put-back/"
    assert api.post(back, {"readings": ["0.0770 in"], "hot_spot": False}).code == "second_person"
    assert api.post(back, {"readings": ["0.0770 in"], "hot_spot": False, "agreed_by": "bob"}).status == 200
