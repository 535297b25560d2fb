"""What happens to a plate that is there: put back, reworked, scrapped, undone."""

from typing import Any

import pytest
from django.core.management import call_command

from plates.lengths import length_parse
from plates.stock.life import plate_undo
from plates.stock.models import Plate
from shop.errors import WrongState
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    made = shelf_of(owner)
    BinFactory.create(fit=made.steels, code="B-14")
    BinFactory.create(fit=made.steels, code="B-13", from_nm=length_parse("0.0755 in"), to_nm=length_parse("0.0765 in"))
    return made


@pytest.fixture
def taken(api: Api, shelf: Shelf) -> dict[str, Any]:
    """A plate that went into job J-1."""
    shelf.stock("0.0771 in")
    match = api.post("matches/", question("0.0640 in", ["0.0670 in"] * 5, take=True, job="J-1")).body
    assert match["state"] == "taken"
    return {**match["slip"][0], "match": match["id"]}


def acts(api: Api, plate: Any) -> list[tuple[str, int, int]]:
    lines = api.get("ledger/", plate=str(plate)).body["results"]
    return [(line["act"], line["delta"], line["balance"]) for line in lines]


def test_put_back_by_a_fresh_reading(api: Api, taken: dict[str, Any]) -> None:
    path = f"plates/{taken['plate']}/"
    status, plate = api.post(f"{path}put-back/", {"readings": ["0.0762 in"], "condition": "used", "gauge": "M-1"})
    assert status == 200
    assert (plate["state"], plate["thickness"]["in"], plate["bin"]) == ("on_shelf", "0.0762", "B-13")
    assert (plate["condition"], plate["match"], plate["job"]) == ("used", None, None)
    assert acts(api, taken["plate"]) == [("received", 1, 1), ("taken", -1, 0), ("put_back", 1, 1)]
    last = api.get("ledger/", plate=taken["plate"]).body["results"][-1]
    assert (last["match"], last["job"], last["readings"], last["gauge"]) == (
        taken["match"], "J-1", ["0.0762 in"], "M-1",
    )  # fmt: skip
    call_command("ledger_verify")


def test_put_back_of_what_lies_there_is_refused(api: Api, shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.0771 in")
    reply = api.post(f"plates/{plate.pk}/put-back/", {"readings": ["0.0771 in"]})
    assert (reply.status, reply.code) == (409, "wrong_state")


def test_put_back_of_an_implausible_reading_waits_for_confirm(api: Api, taken: dict[str, Any]) -> None:
    path = f"plates/{taken['plate']}/put-back/"
    assert api.post(path, {"readings": ["1.955 in"]}).code == "implausible"
    assert api.post(path, {"readings": ["1.955 in"], "confirm": True}).status == 200


def test_scrap_needs_a_reason_and_happens_once(api: Api, shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.0771 in")
    path = f"plates/{plate.pk}/scrap/"
    assert api.post(path, {}).status == 400
    assert api.post(path, {"reason": "burnt"}).body["state"] == "scrapped"
    assert acts(api, plate.pk) == [("received", 1, 1), ("scrapped", -1, 0)]
    assert api.post(path, {"reason": "burnt"}).code == "wrong_state"
    call_command("ledger_verify")


def test_rework_ends_the_plate_and_begins_another(api: Api, shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.0771 in", owner="a customer", source="core 4")
    body = {"readings": ["0.0760 in"], "reason": "face ground"}
    status, new = api.post(f"plates/{plate.pk}/rework/", body)
    assert status == 200
    assert (new["reworked_from"], new["thickness"]["in"], new["state"]) == (str(plate.pk), "0.0760", "on_shelf")
    assert new["owner"] == "a customer"
    assert acts(api, plate.pk) == [("received", 1, 1), ("reworked", -1, 0)]
    assert acts(api, new["id"]) == [("received", 1, 1)]
    assert api.get(f"plates/{plate.pk}/").body["state"] == "reworked"
    assert api.post(f"plates/{plate.pk}/rework/", body).code == "wrong_state"
    call_command("ledger_verify")


def test_a_held_plate_is_neither_scrapped_nor_reworked(api: Api, shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.0771 in")
    match = api.post("matches/", question("0.0640 in", ["0.0670 in"] * 5)).body
    assert api.post(f"matches/{match['id']}/hold/", {"option": 1}).status == 200
    for act, body in [("scrap", {"reason": "burnt"}), ("rework", {"readings": ["0.076 in"]})]:
        assert api.post(f"plates/{plate.pk}/{act}/", body).code == "wrong_state"


def test_the_last_scan_can_be_undone_until_something_happens(shelf: Shelf) -> None:
    first, second = shelf.stock("0.0771 in", "0.0772 in")
    plate_undo(person=shelf.person, plate_id=first.pk)
    assert Plate.objects.get(pk=first.pk).state == "scrapped"
    assert list(first.lines.order_by("seq").values_list("act", flat=True)) == ["received", "undone"]
    with pytest.raises(WrongState):
        plate_undo(person=shelf.person, plate_id=first.pk)
    assert Plate.objects.get(pk=second.pk).state == "on_shelf"
    call_command("ledger_verify")
