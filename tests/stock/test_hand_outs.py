"""Plates that leave otherwise than into a job."""

import uuid

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.stock.ledger_models import LedgerLine
from plates.stock.models import HandOut, Plate
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    made = shelf_of(owner)
    BinFactory.create(fit=made.steels, code="B-14")
    return made


def test_these_plates_for_cash(api: Api, shelf: Shelf) -> None:
    plates = [str(plate.pk) for plate in shelf.stock("0.0771 in", "0.0770 in", "0.0772 in")]
    body = {"plates": plates[:2], "reason": "cash", "to": "over the counter", "price": "12.50"}
    status, made = api.post("hand-outs/", body)
    assert status == 201
    assert (made["plates"], made["reason"], made["price"], made["to"]) == (
        sorted(plates[:2]), "cash", "12.50", "over the counter",
    )  # fmt: skip
    assert [api.get(f"plates/{plate}/").body["state"] for plate in plates] == ["handed_out", "handed_out", "on_shelf"]
    lines = api.get("ledger/", plate=plates[0]).body["results"]
    assert [(line["act"], line["delta"], line["hand_out"]) for line in lines] == [
        ("received", 1, None),
        ("handed_out", -1, made["id"]),
    ]
    call_command("ledger_verify")


def test_the_oldest_of_a_bin(api: Api, shelf: Shelf) -> None:
    plates = [str(plate.pk) for plate in shelf.stock("0.0771 in", "0.0770 in", "0.0772 in")]
    made = api.post("hand-outs/", {"bin": "B-14", "count": 2, "reason": "lent", "due": "2030-01-31"}).body
    assert made["plates"] == sorted(plates)[:2]
    assert made["due"] == "2030-01-31"


def test_of_several_bins_in_one_act(api: Api, shelf: Shelf) -> None:
    BinFactory.create(fit=shelf.steels, code="B-15", from_nm=79 * 25_400, to_nm=80 * 25_400)
    thin = sorted(str(plate.pk) for plate in shelf.stock("0.0771 in", "0.0770 in", "0.0772 in"))
    thick = sorted(str(plate.pk) for plate in shelf.stock("0.0791 in", "0.0790 in"))
    rows = [{"bin": "B-15", "count": 1}, {"bin": "B-14", "count": 1}, {"bin": "B-14", "count": 1}]
    body = {"bins": rows, "reason": "transfer", "to": "Riverside"}
    first = api.post("hand-outs/", body, key="one box")
    assert first.status == 201 and first.body["plates"] == sorted([*thin[:2], thick[0]])
    again = api.post("hand-outs/", body, key="one box")
    assert again.body == first.body and HandOut.objects.count() == 1
    assert Plate.objects.filter(state="handed_out", hand_out=first.body["id"]).count() == 3
    call_command("ledger_verify")


@pytest.mark.parametrize(
    ("body", "status", "said"),
    [
        ({"bins": [{"bin": "B-14", "count": 1}, {"bin": "B-15", "count": 3}]}, 409, "Bin B-15 has 2 free, not 3"),
        ({"bins": [{"bin": "B-14", "count": 1}, {"bin": "B-99", "count": 1}]}, 400, "B-99"),
        ({"bins": [{"bin": "B-14", "count": 0}]}, 400, ""),
        ({"bins": [{"bin": "B-14", "count": 600}, {"bin": "B-14", "count": 401}]}, 422, "1001 are too many"),
        ({"bins": []}, 400, ""),
        ({"bins": [{"bin": "B-14", "count": 1}], "bin": "B-14", "count": 1}, 400, ""),
    ],
)
def test_all_of_it_or_nothing(api: Api, shelf: Shelf, body: dict[str, object], status: int, said: str) -> None:
    BinFactory.create(fit=shelf.steels, code="B-15", from_nm=79 * 25_400, to_nm=80 * 25_400)
    shelf.stock("0.0771 in", "0.0791 in", "0.0790 in")
    reply = api.post("hand-outs/", {**body, "reason": "cash"})
    assert reply.status == status and said in str(reply.body)
    assert not HandOut.objects.exists() and not Plate.objects.filter(state="handed_out").exists()


def test_several_bins_are_locked_in_one_statement_in_the_order_of_ids(api: Api, shelf: Shelf) -> None:
    BinFactory.create(fit=shelf.steels, code="B-15", from_nm=79 * 25_400, to_nm=80 * 25_400)
    shelf.stock("0.0791 in", "0.0771 in", "0.0790 in", "0.0770 in")
    rows = [{"bin": "B-15", "count": 1}, {"bin": "B-14", "count": 1}]
    with CaptureQueriesContext(connection) as asked:
        api.post("hand-outs/", {"bins": rows, "reason": "cash"})
    locks = [one["sql"] for one in asked if '"bin_id" IN' in one["sql"] and "FOR UPDATE" in one["sql"]]
    assert len(locks) == 1 and 'ORDER BY "plates_plate"."id" ASC FOR UPDATE' in locks[0]


def test_more_than_the_bin_has_free_moves_nothing(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in", "0.0770 in")
    match = api.post("matches/", question("0.0640 in", ["0.0670 in"] * 5)).body
    api.post(f"matches/{match['id']}/hold/", {"option": 1})
    reply = api.post("hand-outs/", {"bin": "B-14", "count": 2, "reason": "own_use"})
    assert (reply.status, reply.code) == (409, "stock_moved")
    assert HandOut.objects.count() == 0
    assert Plate.objects.filter(state="on_shelf").count() == 1


def test_what_is_gone_is_not_handed_out_again(api: Api, shelf: Shelf) -> None:
    first, second = (str(plate.pk) for plate in shelf.stock("0.0771 in", "0.0770 in"))
    api.post("hand-outs/", {"plates": [first], "reason": "lost"})
    reply = api.post("hand-outs/", {"plates": [second, first], "reason": "cash"})
    assert (reply.status, reply.code) == (409, "wrong_state")
    assert api.get(f"plates/{second}/").body["state"] == "on_shelf"


def test_an_unknown_plate_moves_nothing(api: Api, shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.0771 in")
    reply = api.post("hand-outs/", {"plates": [str(plate.pk), str(uuid.uuid4())], "reason": "cash"})
    assert reply.status in (400, 404)
    assert Plate.objects.get(pk=plate.pk).state == "on_shelf"


def test_a_plate_named_twice_leaves_once(api: Api, shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.0771 in")
    status, made = api.post("hand-outs/", {"plates": [str(plate.pk)] * 2, "reason": "cash"})
    assert (status, made["plates"]) == (201, [str(plate.pk)])
    assert Plate.objects.get(pk=plate.pk).revision == 2


def test_a_lent_plate_comes_back(api: Api, shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.0771 in")
    api.post("hand-outs/", {"plates": [str(plate.pk)], "reason": "lent"})
    assert api.post(f"plates/{plate.pk}/put-back/", {"readings": ["0.0771 in"]}).body["state"] == "on_shelf"
    call_command("ledger_verify")


def test_look_ups_by_hand_out_go_through_their_indices(api: Api, shelf: Shelf) -> None:
    lot = {"kind": shelf.kind.code, "count": 2000, "readings": [["0.0771 in"]] * 5}
    plates = api.post("lots/", lot).body["plates"]
    made = api.post("hand-outs/", {"plates": [plates[0]["id"]], "reason": "lent"}).body
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE plates_plate, plates_ledgerline")
    for model, index in ((Plate, "plate_of_hand_out"), (LedgerLine, "ledger_of_hand_out")):
        plan = model.objects.filter(shop_id=api.person.shop_id, hand_out=made["id"]).explain()
        assert index in plan, plan
