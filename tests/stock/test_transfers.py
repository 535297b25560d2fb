"""Plates sent to another shop of ours: an out there and an in here, under one key."""

import io
import uuid
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from plates.scan_codes import scan_format
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import HandOut, Plate
from plates.tables.columns import PLATES
from plates.tables.services import table_check, table_write
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, PersonFactory
from tests.pages.counter import Counter
from tests.shelves import Shelf, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def here(owner: Person) -> Shelf:
    """The shop that sends, with three steels in one bin."""
    made = shelf_of(owner)
    BinFactory.create(fit=made.steels, code="B-14")
    made.stock("0.0770 in", "0.0771 in", "0.0772 in")
    return made


@pytest.fixture
def there() -> Shelf:
    """Another shop, which calls its things as it likes."""
    made = shelf_of(PersonFactory.create(shop__name="Riverside"))
    BinFactory.create(fit=made.steels, code="R-1")
    return made


def send(shelf: Shelf, count: int = 2) -> dict[str, Any]:
    body = {"bin": "B-14", "count": count, "reason": "transfer", "to": "Riverside"}
    reply = Api(shelf.person).post("hand-outs/", body)
    assert reply.status == 201, reply
    return dict(reply.body)


def book(shelf: Shelf, key: str, *readings: str) -> list[str]:
    api = Api(shelf.person)
    bodies = [{"kind": shelf.kind.code, "readings": [one], "transfer": key} for one in readings]
    return [str(api.post("plates/", body).body["id"]) for body in bodies]


def told(*more: str) -> str:
    out = io.StringIO()
    call_command("transfers", *more, stdout=out)
    return out.getvalue()


def test_an_out_and_an_in_share_one_key_and_nothing_else(here: Shelf, there: Shelf) -> None:
    sent = send(here)
    assert (sent["reason"], sent["to"], len(sent["plates"])) == ("transfer", "Riverside", 2)
    booked = book(there, sent["id"], "0.0770 in", "0.0771 in")
    found = Api(there.person).get("plates/", transfer=sent["id"]).body["results"]
    assert sorted(plate["id"] for plate in found) == sorted(booked)
    assert {plate["transfer"] for plate in found} == {sent["id"]}
    assert not set(booked) & set(sent["plates"])
    # Each shop finds its own side, and nothing of the other one.
    assert Api(here.person).get("plates/", transfer=sent["id"]).body["results"] == []
    assert [row["id"] for row in Api(here.person).get("hand-outs/", reason="transfer").body["results"]] == [sent["id"]]
    assert Api(there.person).get("hand-outs/", reason="transfer").body["results"] == []
    assert Api(there.person).get(f"hand-outs/{sent['id']}/").status == 404
    call_command("ledger_verify")


def test_a_lot_and_a_file_come_by_a_transfer_too(here: Shelf, there: Shelf) -> None:
    key = send(here, 3)["id"]
    lot = {"kind": there.kind.code, "count": 2, "readings": [["0.0770 in"]] * 2, "transfer": key}
    reply = Api(there.person).post("lots/", lot)
    assert reply.status == 201 and {plate["transfer"] for plate in reply.body["plates"]} == {key}
    content = f"kind,thickness,transfer\n{there.kind.code},0.0772 in,{key}\n"
    table_write(person=there.person, sort=PLATES, content=content.encode())
    assert Plate.objects.filter(shop=there.person.shop, transfer=key).count() == 3
    bad = f"kind,thickness,transfer\n{there.kind.code},0.0772 in,17\n"
    (problem,) = table_check(person=there.person, sort=PLATES, content=bad.encode()).problems
    assert (problem.column, problem.line) == ("transfer", 2)
    own = f"kind,thickness,transfer\n{here.kind.code},0.0772 in,{key}\n"
    (problem,) = table_check(person=here.person, sort=PLATES, content=own.encode()).problems
    assert problem.column == "transfer" and "This shop sent these plates" in problem.text


def test_a_lot_at_the_counter(here: Shelf, there: Shelf) -> None:
    key = send(here, 3)["id"]
    counter = Counter(there.person)
    counter.open(f"/scan-in/kind/{there.kind.code}/lot/", transfer=key)
    at = f"/scan-in/kind/{there.kind.code}/lot/"
    for typed in ("0.0770", "0.0771", ""):
        if typed == "0.0770":
            counter.send(at, {"count": "2"})
        counter.send(at, {"reading": typed})
    assert [plate.lot_id is not None for plate in Plate.objects.filter(transfer=key)] == [True, True]


def test_it_says_to_which_shop(api: Api, here: Shelf) -> None:
    reply = api.post("hand-outs/", {"bin": "B-14", "count": 1, "reason": "transfer"})
    assert (reply.status, reply.code) == (422, "nobody_named")
    assert reply.body["errors"] == [{"pointer": "/to", "detail": "name the other shop"}]
    assert not HandOut.objects.exists() and not LedgerLine.objects.filter(act="handed_out").exists()


def test_a_customers_plate_and_a_quarantined_one_stay(api: Api, here: Shelf) -> None:
    (theirs,) = here.stock("0.0773 in", owner="somebody")
    body = {"plates": [str(theirs.pk)], "reason": "transfer", "to": "Riverside"}
    assert api.post("hand-outs/", body).code == "customers_plate"


def test_what_comes_back_unbooked_is_put_back_and_never_scanned_in_anew(api: Api, here: Shelf) -> None:
    sent = send(here)
    before = Plate.objects.count()
    body = {"kind": here.kind.code, "readings": ["0.0770 in"], "transfer": sent["id"]}
    assert api.post("plates/", body).code == "sent_from_here"
    assert api.post("lots/", {**body, "count": 1, "readings": [["0.0770 in"]]}).code == "sent_from_here"
    assert Plate.objects.count() == before
    back = api.post(f"plates/{sent['plates'][0]}/put-back/", {"readings": ["0.0770 in"]})
    assert back.status == 200 and back.body["state"] == "on_shelf"


def test_the_sides_are_set_against_each_other(here: Shelf, there: Shelf) -> None:
    assert told() == ""
    key = send(here, 3)["id"]
    assert told().startswith(f"{key}: {here.person.shop.name} to Riverside, ")
    assert told().endswith(": 3 sent, none came yet: 3 under way\n")
    first, _ = book(there, key, "0.0770 in", "0.0771 in")
    assert told().endswith(": 3 sent, 2 came to Riverside: 1 under way\n")
    (left,) = Plate.objects.filter(shop=here.person.shop, thickness_nm=1_960_880)
    Api(here.person).post(f"plates/{left.pk}/put-back/", {"readings": ["0.0772 in"]})
    assert told() == ""
    assert told("--all").endswith(": 3 sent, 1 back or scrapped there, 2 came to Riverside: whole\n")
    # What was scanned in and undone never came; what is scrapped there later did.
    Counter(there.person).client.post("/scan-in/undo/", {"plate": first, "key": "k" * 20})
    assert told().endswith("1 came to Riverside: 1 under way\n")


def test_a_plate_on_two_shelves_is_an_error(here: Shelf, there: Shelf) -> None:
    key = send(here, 1)["id"]
    book(there, key, "0.0770 in", "0.0770 in")
    out = io.StringIO()
    with pytest.raises(CommandError, match="Of 1 transfers more came than is away"):
        call_command("transfers", stdout=out)
    assert out.getvalue().endswith("2 came to Riverside: 1 more than is away\n")


def test_what_another_database_sent_is_told(there: Shelf) -> None:
    key = str(uuid.uuid4())
    book(there, key, "0.0770 in")
    assert told() == f"{key}: 1 came to Riverside; sent from no shop of this database\n"


def test_a_shops_name_does_not_steer_the_terminal(here: Shelf) -> None:
    Person.objects.get(pk=here.person.pk).shop.__class__.objects.filter(pk=here.person.shop_id).update(name="A\n\x1b[2J")
    send(here, 1)
    assert "\x1b" not in told() and told().count("\n") == 1


# At the counter.


def test_the_note_goes_with_the_plates_and_its_label_books_them_there(here: Shelf, there: Shelf) -> None:
    sender = Counter(here.person)
    sender.open("/bins/B-14/")
    assert "Say which shop gets them" in sender.send("/hand-out/", {"count": "2t"})
    assert "2 handed out, sent to another shop of ours" in sender.send("/hand-out/", {"count": "2t", "to": "Riverside"})
    key = HandOut.objects.get().pk
    assert f'href="/transfers/{key}/"' in sender.html
    note = sender.open(f"/transfers/{key}/")
    assert "2 plates for Riverside" in note and str(key) in note and "0.0770 in (1.956 mm)" in note
    assert "its note" in sender.open("/hand-outs/?reason=transfer")

    label = scan_format("transfer", str(key))
    counter = Counter(there.person)
    assert "Sent by another shop of ours" in counter.open("/scan-in/", code=label)
    counter.open("/scan-in/", code=there.kind.code, transfer=str(key))
    at = f"/scan-in/kind/{there.kind.code}/"
    assert f"transfer …{str(key)[-6:]}" in counter.text
    assert "goes into bin R-1" in counter.send(at, {"reading": "0.0770"})
    assert "goes into bin R-1" in counter.send(at, {"reading": "0.0771"})
    assert Plate.objects.filter(shop=there.person.shop, transfer=key).count() == 2
    # Its label again ends it: what follows is no part of it.
    assert "transfer …" not in counter.send(at, {"reading": label})
    counter.send(at, {"reading": "0.0772"})
    assert Plate.objects.filter(shop=there.person.shop, transfer=None).count() == 1
    assert "transfer …" in counter.send(at, {"reading": label})
    plate = Plate.objects.filter(transfer=key).first()
    assert plate is not None
    assert f"sent by another shop of ours, transfer …{str(key)[-6:]}" in counter.open(f"/plates/{plate.pk}/")


def test_a_label_scanned_anywhere_goes_where_it_belongs(here: Shelf, there: Shelf) -> None:
    key = send(here)["id"]
    label = scan_format("transfer", key)
    sender, counter = Counter(here.person), Counter(there.person)
    sender.open("/find/", q=label)
    assert sender.path == f"/transfers/{key}/"
    counter.open("/find/", q=label)
    assert counter.path == f"/scan-in/?transfer={key}"


def test_the_label_of_ones_own_transfer_books_nothing(here: Shelf) -> None:
    key = send(here)["id"]
    counter = Counter(here.person)
    counter.open("/scan-in/", code=here.kind.code, transfer=key)
    before = Plate.objects.count()
    assert "read again on its page" in counter.send(f"/scan-in/kind/{here.kind.code}/", {"reading": "0.0770"})
    assert Plate.objects.count() == before


def test_one_note_for_one_box_out_of_several_bins(here: Shelf, there: Shelf) -> None:
    BinFactory.create(fit=here.steels, code="B-15", from_nm=79 * 25_400, to_nm=80 * 25_400)
    here.stock("0.0790 in", "0.0791 in")
    sender = Counter(here.person)
    sender.open("/bins/B-14/")
    for others, said in (
        ("B-15", "Type a bin and how many"),
        ("B-15 0", "Type a bin and how many"),
        ("B-99 1", "No bin is called B-99"),
        ("B-15 999", "1001 are too many for one hand-out"),
    ):
        assert said in sender.send("/hand-out/", {"count": "2t", "to": "Riverside", "others": others})
    text = sender.send("/hand-out/", {"count": "2t", "to": "Riverside", "others": "b-15 3"})
    assert "Bin B-15 has 2 free, not 3" in text and not HandOut.objects.exists()
    assert "4 handed out" in sender.send("/hand-out/", {"count": "2t", "to": "Riverside", "others": "b-15 1, B-15 1"})
    key = str(HandOut.objects.get().pk)
    assert "4 plates for Riverside" in sender.open(f"/transfers/{key}/")
    BinFactory.create(fit=there.steels, code="R-2", from_nm=79 * 25_400, to_nm=80 * 25_400)
    book(there, key, "0.0770 in", "0.0791 in")
    assert told().endswith(": 4 sent, 2 came to Riverside: 2 under way\n")
    call_command("ledger_verify")


def test_no_other_hand_out_has_a_note(api: Api, here: Shelf) -> None:
    made = api.post("hand-outs/", {"bin": "B-14", "count": 1, "reason": "cash"}).body
    counter = Counter(here.person)
    counter.open(f"/transfers/{made['id']}/")
    assert counter.status == 404
    counter.open("/transfers/nonsense/")
    assert counter.status == 404
