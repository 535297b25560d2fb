"""A bin is counted over HTTP: blind, a second look at what differs, booked; or dropped."""

import uuid
from collections.abc import Mapping
from typing import Any

import pytest
from django.core.management import call_command

from plates.stock.count_models import BinCount
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import HandOut, Plate
from shop.people.models import Person
from tests.api import Api, Reply
from tests.factories import BinFactory, KindFactory, PersonFactory
from tests.pages.counter import Counter
from tests.shelves import Shelf, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    made = shelf_of(owner)
    BinFactory.create(fit=made.steels, code="B-14")
    return made


class Counting:
    """One count of B-14 as a script goes through it."""

    def __init__(self, api: Api, *lengths: str) -> None:
        self.api = api
        begun = api.post("counts/", {"bin": "B-14"})
        assert begun.status == 201
        self.path = f"counts/{begun.body['id']}/"
        for length in lengths:
            assert self.do("read", {"readings": [length]}).status == 200

    def do(self, step: str, body: Mapping[str, Any] | None = None, **more: Any) -> Reply:
        return self.api.post(f"{self.path}{step}/", body or {}, **more)

    def get(self) -> dict[str, Any]:
        one: dict[str, Any] = self.api.get(self.path).body
        return one


def test_nothing_of_the_ledger_is_told_while_it_is_read(api: Api, shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.0773 in")
    counting = Counting(api, "0.0766 in", "0.0799 in")
    assert counting.do("undo").body["read"] == [["0.0766 in"]]
    told = counting.get()
    assert (told["state"], told["look"], told["outcome"], told["differences"]) == ("reading", None, {}, None)
    assert str(plate.pk) not in str(told) and "0.0773" not in str(told)
    assert counting.do("book").code == "wrong_state"


def test_one_that_agrees_is_booked_at_once(api: Api, shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.0773 in")
    lines = LedgerLine.objects.count()
    told = Counting(api, "0.0774 in").do("all-read").body
    assert (told["state"], told["differences"], told["outcome"]["agreed"]) == ("booked", 0, [str(plate.pk)])
    assert LedgerLine.objects.count() == lines


def test_a_missing_one_is_lost_and_one_read_otherwise_gets_its_second_reading(api: Api, shelf: Shelf) -> None:
    gone, otherwise = shelf.stock("0.0766 in", "0.0773 in")
    counting = Counting(api, "0.0780 in")
    look = counting.do("all-read").body["look"]
    assert look == counting.get()["look"]
    assert [(row["row"], row["plate"], row["thickness"]["in"]) for row in look["doubtful"]] == [
        (0, str(otherwise.pk), "0.0773"),
    ]  # fmt: skip
    assert [(row["plate"], row["match"]) for row in look["missing"]] == [(str(gone.pk), None)]
    reply = counting.do("book")
    assert (reply.status, reply.code) == (422, "look_again")
    assert {one["pointer"] for one in reply.body["errors"]} == {f"/plates/{gone.pk}", f"/plates/{otherwise.pk}"}
    assert not HandOut.objects.exists()
    said = {"gone": [str(gone.pk)], "plates": {str(otherwise.pk): ["0.0781 in"]}}
    told = counting.do("book", said).body
    assert (told["state"], told["differences"], told["look"]) == ("booked", 2, None)
    assert (told["outcome"]["missing"], told["outcome"]["reread"]) == ([str(gone.pk)], [str(otherwise.pk)])
    gone.refresh_from_db()
    otherwise.refresh_from_db()
    assert gone.hand_out.reason == "lost" and otherwise.thickness_nm == 1_983_740
    assert counting.do("book", said).code == "wrong_state"
    call_command("ledger_verify")


@pytest.fixture
def over(api: Api, shelf: Shelf) -> tuple[Counting, Plate]:
    """Four read where one lies: one of them twice, one was lost before, one is new."""
    lost, _ = shelf.stock("0.0774 in", "0.0766 in")
    api.post("hand-outs/", {"plates": [str(lost.pk)], "reason": "lost"})
    counting = Counting(api, "0.0770 in", "0.0774 in", "0.0766 in", "0.0766 in")
    rows = counting.do("all-read").body["look"]["over"]
    assert [(row["row"], row["reading"]["in"], row["back"]) for row in rows[:2]] == [
        (0, "0.0770", [str(lost.pk)]), (1, "0.0774", [str(lost.pk)]),
    ]  # fmt: skip
    assert [row["kinds"] for row in rows] == [[shelf.kind.code]] * 3 and rows[2]["row"] in (2, 3)
    return counting, lost


def twice(counting: Counting) -> dict[str, Any]:
    return {str(counting.get()["look"]["over"][2]["row"]): {"twice": True}}


def test_what_is_too_many_is_new_or_back_or_was_read_twice(over: tuple[Counting, Plate], shelf: Shelf) -> None:
    counting, lost = over
    rows = {
        "0": {"kind": shelf.kind.code, "condition": "used", "readings": ["0.0771 in"]},
        "1": {"back": str(lost.pk), "readings": ["0.0774 in"]},
        **twice(counting),
    }
    told = counting.do("book", {"rows": rows}, key="press").body
    assert told == counting.do("book", {"rows": rows}, key="press").body
    assert (told["differences"], told["outcome"]["back"]) == (2, [str(lost.pk)])
    made = Plate.objects.get(pk=told["outcome"]["found"][0])
    assert (made.condition, made.source, made.thickness_nm) == ("used", "found when counted", 1_958_340)
    assert Plate.objects.count() == 3
    call_command("ledger_verify")


@pytest.mark.parametrize(
    ("row", "said", "status", "pointer", "words"),
    [
        ("0", {"kind": "HUB-80", "readings": ["0.0771 in"]}, 422, "/rows/0", "cannot be a HUB-80"),
        ("0", {"kind": "NOT-THERE", "readings": ["0.0771 in"]}, 400, "/rows/0/kind", "no kind has the code"),
        ("0", {"back": str(uuid.uuid4()), "readings": ["0.0771 in"]}, 422, "/rows/0", "No plate lost from this bin"),
        ("0", {"back": "THERE", "readings": ["0.0766 in"]}, 422, "/rows/0", "No plate lost from this bin"),
        ("0", {"kind": "KIND"}, 422, "/rows/0", "Read it once more"),
        ("0", {"kind": "KIND", "readings": ["0.0779 in"]}, 422, "/rows/0", "not of one plate"),
        ("0", {"kind": "KIND", "twice": True}, 400, "/rows/0/twice", "say one"),
        ("0", {"twice": False}, 400, "/rows/0/twice", "say one"),
        ("x", {"twice": True}, 400, "/rows", "not the number of a row"),
        ("0", {"twice": True, "colour": "red"}, 400, "/rows/0/colour", "not known here"),
    ],
)
def test_what_it_cannot_be_is_refused_and_nothing_is_booked(
    over: tuple[Counting, Plate], shelf: Shelf, row: str, said: dict[str, Any], status: int, pointer: str, words: str
) -> None:
    counting, lost = over
    KindFactory.create(fit=shelf.frictions, code="HUB-80")
    there = Plate.objects.exclude(pk=lost.pk).get()
    said = {name: {"KIND": shelf.kind.code, "THERE": str(there.pk)}.get(str(it), it) for name, it in said.items()}
    rows = {"0": {"twice": True}, "1": {"twice": True}, **twice(counting), row: said}
    reply = counting.do("book", {"rows": rows})
    assert reply.status == status, reply
    assert any(one["pointer"] == pointer and words in one["detail"] for one in reply.body["errors"]), reply
    assert Plate.objects.count() == 2 and counting.get()["state"] == "look"


@pytest.mark.parametrize("told", ["gone", "plates"])
def test_what_is_not_of_the_count_is_refused(api: Api, shelf: Shelf, told: str) -> None:
    """A plate that lies elsewhere, as one that there is not."""
    gone, elsewhere = shelf.stock("0.0773 in", "0.0790 in")
    assert elsewhere.bin is None
    counting = Counting(api)
    counting.do("all-read")
    for which in (elsewhere.pk, uuid.uuid4()):
        more = {"gone": [str(gone.pk), str(which)]} if told == "gone" else {"plates": {str(which): ["0.0773 in"]}}
        reply = counting.do("book", {"gone": [str(gone.pk)], **more})
        assert (reply.status, reply.code) == (422, "look_again"), reply
        assert [error["pointer"] for error in reply.body["errors"]] == [f"/{told}/{which}"]
    assert counting.do("book", {"gone": [str(gone.pk)]}).body["state"] == "booked"


def test_one_lost_plate_comes_back_once(over: tuple[Counting, Plate]) -> None:
    counting, lost = over
    back = {"back": str(lost.pk), "readings": ["0.0772 in"]}
    reply = counting.do("book", {"rows": {"0": back, "1": back, **twice(counting)}})
    assert reply.status == 409 and Plate.objects.get(pk=lost.pk).state == "handed_out"


def test_a_count_is_dropped_and_stock_stays_as_it_was(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0773 in")
    lines = LedgerLine.objects.count()
    for steps in ([], ["all-read"]):
        counting = Counting(api, "0.0790 in", "0.0791 in")
        for step in steps:
            counting.do(step)
        told = counting.do("drop", key=f"drop-{steps}").body
        assert (told["state"], told["dropped_by"], told["outcome"]) == ("dropped", api.person.username, {})
        assert told["read"] == [["0.0790 in"], ["0.0791 in"]] and told["differences"] is None
        assert counting.do("drop", key=f"drop-{steps}").body == told
        for step in ("drop", "all-read", "undo", "book"):
            reply = counting.do(step)
            assert (reply.status, reply.code) == (409, "wrong_state") and "dropped already" in reply.body["detail"]
    assert LedgerLine.objects.count() == lines and not HandOut.objects.exists()
    assert api.get("counts/", state="dropped", bin="B-14").body["count"] == 2
    assert api.get("counts/", state="booked").body["count"] == 0


def test_what_is_booked_is_not_dropped(api: Api, shelf: Shelf) -> None:
    counting = Counting(api)
    counting.do("all-read")
    assert counting.do("drop").code == "wrong_state"
    assert BinCount.objects.get().dropped_at is None


@pytest.mark.parametrize(
    ("role", "own", "may"), [("counter", False, True), ("buyer", False, False), ("buyer", True, True)]
)
def test_who_may_drop_it(owner: Person, shelf: Shelf, role: str, own: bool, may: bool) -> None:
    """Whoever began it, even with the right to stock gone since, and whoever has that right."""
    person = PersonFactory.create(shop=owner.shop, role="bench" if own else role)
    counting = Counting(Api(person if own else owner))
    Person.objects.filter(pk=person.pk).update(role=role)
    counting.api = Api(Person.objects.get(pk=person.pk))
    assert counting.do("drop").status == (200 if may else 403)
    assert BinCount.objects.filter(dropped_by=person).exists() is may


def test_a_gauge_withdrawn_meanwhile_leaves_the_way_out(api: Api, shelf: Shelf) -> None:
    api.post("gauges/", {"code": "MIC-1", "type": "micrometer"})
    begun = api.post("counts/", {"bin": "B-14", "gauge": "MIC-1"}).body
    path = f"counts/{begun['id']}/"
    api.post(f"{path}read/", {"readings": ["0.0770 in"]})
    assert api.post(f"{path}all-read/", {}).body["state"] == "look"
    assert api.post("gauges/MIC-1/withdraw/", {"reason": "dropped on the floor"}).status == 200
    look = api.get(path).body["look"]
    assert list(look) == ["refused"] and "MIC-1" in look["refused"]
    counter = Counter(api.person)
    assert "Drop this count, and count the bin again with another gauge" in counter.open(f"/{path}")
    assert "Nothing in stock was changed" in counter.send("/drop/")
    assert api.get(path).body["state"] == "dropped"


def test_keys_begin_and_read_once(api: Api, shelf: Shelf) -> None:
    first, again = (api.post("counts/", {"bin": "B-14"}, key="begin").body for _ in range(2))
    assert first == again and BinCount.objects.count() == 1
    path = f"counts/{first['id']}/read/"
    assert api.post(path, {"readings": ["0.0770 in"]}, key="read") == api.post(
        path, {"readings": ["0.0770 in"]}, key="read"
    )
    assert api.get(f"counts/{first['id']}/").body["read"] == [["0.0770 in"]]
    assert api.post(path, {"readings": ["0.0771 in"]}, key="read").code == "key_reused"


@pytest.mark.parametrize(
    ("path", "body", "pointer"),
    [
        ("counts/", {}, "/bin"),
        ("counts/", {"bin": "NOT-THERE"}, "/bin"),
        ("counts/", {"bin": "B-14", "colour": "red"}, "/colour"),
        ("{}read/", {"readings": ["0.077"]}, "/readings/0"),
        ("{}read/", {"readings": []}, "/readings"),
        ("{}drop/", {"why": "tired"}, "/why"),
        ("{}book/", {"gone": ["x"]}, "/gone/0"),
        ("{}book/", {"plates": {"x": ["0.077 in"]}}, "/plates"),
    ],
)
def test_what_cannot_be_read_is_refused(api: Api, shelf: Shelf, path: str, body: dict[str, Any], pointer: str) -> None:
    reply = api.post(path.format(Counting(api).path), body)
    assert reply.status == 400 and reply.body["errors"][0]["pointer"] == pointer, reply


def test_another_shop_sees_none(api: Api, shelf: Shelf) -> None:
    counting = Counting(api)
    counting.api = theirs = Api(PersonFactory.create())
    assert theirs.get("counts/").body["count"] == 0 and theirs.get(counting.path).status == 404
    for step in ("undo", "all-read", "book", "drop"):
        assert counting.do(step).status == 404, step
    assert theirs.post("counts/", {"bin": "B-14"}).status == 400
