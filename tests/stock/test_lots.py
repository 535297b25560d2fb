"""A delivery of which some plates were measured."""

from typing import Any

import pytest

from plates.lengths import length_parse
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Lot, Plate
from shop.people.models import Person
from tests.api import Api, Reply
from tests.factories import BinFactory, FitFactory, KindFactory

pytestmark = pytest.mark.django_db

FIVE = ["0.0770 in", "0.0771 in", "0.0772 in", "0.0773 in", "0.0774 in"]


@pytest.fixture(autouse=True)
def steels(owner: Person) -> None:
    fit = FitFactory.create(shop=owner.shop)
    KindFactory.create(fit=fit, code="S-77", tolerance_nm=length_parse("0.003 in"))
    BinFactory.create(fit=fit, code="B-14")


def lot(api: Api, count: int, readings: list[str], **more: Any) -> Reply:
    return api.post("lots/", {"kind": "S-77", "count": count, "readings": [[one] for one in readings], **more})


def test_five_of_twenty(api: Api) -> None:
    status, made = lot(api, 20, FIVE)
    assert status == 201
    assert (made["count"], made["measured"], made["mean"]["in"], made["spread"]["in"]) == (20, 5, "0.0772", "0.0004")
    assert len(made["plates"]) == 20
    unread = [plate for plate in made["plates"] if not plate["measured"]]
    assert len(unread) == 15
    assert {(p["thickness"]["in"], p["spread"]["in"], p["bin"]) for p in unread} == {("0.0772", "0.0004", "B-14")}
    assert LedgerLine.objects.filter(act="received", seq=1).count() == 20
    assert LedgerLine.objects.exclude(readings=[]).count() == 5
    shown = api.get(f"lots/{made['id']}/").body
    assert sorted(shown["plates"]) == sorted(plate["id"] for plate in made["plates"])


def test_the_unread_ones_are_less_certain_by_the_scatter_of_the_lot(api: Api) -> None:
    """Range over d2 (2.326 for five), and the mean's own share of it."""
    made = lot(api, 20, FIVE).body
    unread = Plate.objects.filter(lot=made["id"]).exclude(u_nm=0)
    (u_nm,) = {plate.u_nm for plate in unread}
    assert u_nm == pytest.approx(length_parse("0.0004 in") / 2.32593 * (1 + 1 / 5) ** 0.5)


def test_few_read_warns_and_carries_the_tolerance(api: Api) -> None:
    reply = lot(api, 20, FIVE[:2])
    assert [warning["code"] for warning in reply.body["warnings"]] == ["few_read"]
    u_nm = Plate.objects.filter(lot=reply.body["id"]).exclude(u_nm=0).values_list("u_nm", flat=True)[0]
    assert u_nm == pytest.approx(length_parse("0.003 in") / 3**0.5)


def test_three_of_three_are_not_few(api: Api) -> None:
    reply = lot(api, 3, FIVE[:3])
    assert (reply.body["warnings"], Plate.objects.filter(u_nm=0).count()) == ([], 3)


@pytest.mark.parametrize(("last", "status"), [("0.0780 in", 201), ("1.981201 mm", 422)])
def test_more_than_a_thou_apart_means_measure_all(api: Api, last: str, status: int) -> None:
    reply = lot(api, 20, [*FIVE[:4], last])
    assert reply.status == status
    if status == 422:
        assert reply.code == "measure_all"
        assert Lot.objects.count() == Plate.objects.count() == 0


def test_an_uneven_lot_measured_whole_is_booked(api: Api) -> None:
    assert lot(api, 3, ["0.0770 in", "0.0775 in", "0.0785 in"]).status == 201


@pytest.mark.parametrize("readings", [["0.077 in"] * 4])
def test_more_readings_than_plates_are_refused(api: Api, readings: list[str]) -> None:
    reply = lot(api, 3, readings)
    assert (reply.status, reply.code) == (422, "bad_figures")


def test_an_implausible_one_is_pointed_at(api: Api) -> None:
    reply = lot(api, 3, ["0.0770 in", "1.955 in", "0.0770 in"])
    assert (reply.status, reply.code) == (422, "implausible")
    assert reply.body["errors"][0]["pointer"] == "/readings/1"
    assert lot(api, 3, ["0.0770 in", "1.955 in", "0.0770 in"], confirm=True).status == 201
