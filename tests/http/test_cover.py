"""POST cover/: the readings that today's shelf closes, what single plates add to it, and who may ask."""

from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from plates.catalogue.spec_models import Slot
from plates.lengths import length_parse
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from shop.people.models import Person
from tests.api import Api, Reply
from tests.factories import KindFactory, PersonFactory, pack, shelve
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

BOOK = {"steels": {"nominal": True}}
SPAN = {"from": "0.040 in", "to": "0.240 in"}


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    """Five steels of .077, to be exchanged; .0855 and .0870 lie on the shelf. Window .040 to .060."""
    made = shelf_of(owner)
    made.stock("0.0855 in", "0.0870 in")
    return made


def asked(api: Api, **more: Any) -> Reply:
    return api.post("cover/", {"spec": "PACK", "installed": {}, **SPAN, **more})


def told(reply: Reply) -> list[tuple[str, str, int | None]]:
    """Each segment in inches; they are gapless over the whole span, and neighbours differ."""
    segments = reply.body["segments"]
    assert (segments[0]["from"]["nm"], segments[-1]["to"]["nm"]) == (
        length_parse(SPAN["from"]),
        length_parse(SPAN["to"]),
    )
    for one, following in pairwise(segments):
        assert following["from"]["nm"] == one["to"]["nm"] + 1 and following["changes"] != one["changes"]
    return [(one["from"]["in"], one["to"]["in"], one["changes"]) for one in segments]


def test_the_readings_that_the_shelf_closes(api: Api, shelf: Shelf) -> None:
    """One of .087 for a .077 moves the window up by .010, that of .0855 too by .0085: together .0185."""
    reply = asked(api)
    assert reply.status == 200
    assert told(reply) == [
        ("0.0400", "0.0600", 0), ("0.0600", "0.0700", 1), ("0.0700", "0.0785", 2), ("0.0785", "0.2400", None),
    ]  # fmt: skip
    assert [one["to"]["nm"] for one in reply.body["segments"]] == [
        length_parse(text) for text in ("0.060 in", "0.070 in", "0.0785 in", "0.240 in")
    ]
    assert (reply.body["loses"], reply.body["gains"]) == ([], [])


@pytest.mark.parametrize(
    "reading", ["0.0600 in", "1.524001 mm", "0.0700 in", "1.778001 mm", "0.0785 in", "1.993901 mm"]
)
def test_a_question_at_each_end_is_answered_so(api: Api, shelf: Shelf, reading: str) -> None:
    reading_nm = length_parse(reading)
    (one,) = [one for one in asked(api).body["segments"] if one["from"]["nm"] <= reading_nm <= one["to"]["nm"]]
    options = api.post("matches/", question(reading, BOOK)).body["options"]
    assert min((option["changes"] for option in options), default=None) == one["changes"]


def test_what_lies_in_the_pack_counts(api: Api, shelf: Shelf) -> None:
    steels: list[Any] = ["0.0770 in"] * 4
    assert told(asked(api, installed=BOOK)) == told(asked(api))
    assert told(asked(api, installed={"steels": [*steels, "0.0800 in"]}))[1:] == [
        ("0.0600", "0.0700", 1), ("0.0700", "0.0785", 2), ("0.0785", "0.2400", None),
    ]  # fmt: skip
    # The .0738 must go: no reading is closed without a change.
    gone = asked(api, installed={"steels": [*steels, {"thickness": "0.0738 in", "must_go": True}]})
    assert [changes for _, _, changes in told(gone)] == [None, 1, 2, None]


def test_a_pack_that_is_not_set_by_its_plates(api: Api, owner: Person, shelf: Shelf) -> None:
    for code, more in (("FIXED", {"adjustable": False}), ("SET", {"set_only": True})):
        pack(owner, shelf.steels, shelf.frictions, code=code, **more)
        reply = asked(api, spec=code, sizes=True)
        assert told(reply) == [("0.0400", "0.0600", 0), ("0.0600", "0.2400", None)]
        assert reply.body["gains"] == []


def test_a_slot_without_a_book_size_is_to_be_read(api: Api, shelf: Shelf) -> None:
    Slot.objects.filter(spec=shelf.spec).update(nominal_nm=None)
    reply = asked(api)
    assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, "/installed/steels")
    assert asked(api, installed={"steels": ["0.0770 in"] * 5}).status == 200


def test_what_the_shelf_loses_with_a_plate(api: Api, owner: Person, shelf: Shelf) -> None:
    plates = {plate.thickness_nm: str(plate.pk) for plate in Plate.objects.all()}
    thin, thick = plates[length_parse("0.0855 in")], plates[length_parse("0.0870 in")]
    apart = str(shelve(owner, KindFactory.create(fit=shelf.frictions, role="friction", lined_faces=2), "0.08 in")[0].pk)
    loses = asked(api, without=[thick, apart, thin]).body["loses"]
    assert [(one["plate"], one["lost"]["in"]) for one in loses] == [
        (thick, "0.0100"), (apart, "0.0000"), (thin, "0.0085"),
    ]  # fmt: skip


def test_what_one_more_of_each_catalogued_size_gains(api: Api, shelf: Shelf) -> None:
    """Another .090 for a .077 adds .013 at the far end, another .077 nothing; the catalogue knows only these two."""
    KindFactory.create(fit=shelf.steels, code="STEEL-90", nominal_nm=length_parse("0.090 in"))
    gains = asked(api, sizes=True).body["gains"]
    assert [(one["thickness"]["in"], one["gained"]["in"]) for one in gains] == [
        ("0.0900", "0.0130"), ("0.0770", "0.0000"),
    ]  # fmt: skip
    assert (gains[0]["fit"], gains[0]["role"], gains[0]["slots"]) == (shelf.steels.code, "steel", ["steels"])


def test_sizes_may_be_named(api: Api, shelf: Shelf) -> None:
    gains = asked(api, sizes=["0.0800 in", "0.0880 in"]).body["gains"]
    assert [(one["thickness"]["in"], one["gained"]["in"]) for one in gains] == [
        ("0.0880", "0.0110"), ("0.0800", "0.0030"),
    ]  # fmt: skip
    assert asked(api, sizes=False).body["gains"] == asked(api, sizes=[]).body["gains"] == []


def test_a_size_that_the_slot_does_not_take_is_not_named(api: Api, shelf: Shelf) -> None:
    Slot.objects.filter(spec=shelf.spec, name="steels").update(thickest_nm=length_parse("0.085 in"))
    assert [one["thickness"]["in"] for one in asked(api, sizes=["0.0850 in", "0.0851 in"]).body["gains"]] == ["0.0850"]


def test_everybody_of_the_shop_may_ask_and_nothing_changes(owner: Person, shelf: Shelf) -> None:
    lines = LedgerLine.objects.count()
    for role in ("owner", "bench", "counter", "buyer"):
        assert asked(Api(PersonFactory.create(shop=owner.shop, role=role)), sizes=True).status == 200
    assert LedgerLine.objects.count() == lines
    assert asked(Api(PersonFactory.create())).status == 400  # another shop does not know the spec


def test_a_plate_of_another_shop_is_not_known(api: Api, shelf: Shelf) -> None:
    theirs = shelf_of(PersonFactory.create()).stock("0.0771 in")[0]
    reply = asked(api, without=[str(Plate.objects.order_by("pk")[0].pk), str(theirs.pk)])
    assert (reply.status, [one["pointer"] for one in reply.body["errors"]]) == (400, ["/without/1"])


def test_a_held_plate_counts_again_when_its_hold_has_run_out(api: Api, shelf: Shelf) -> None:
    match = api.post("matches/", question("0.0660 in", BOOK)).body
    before = told(asked(api))
    assert api.post(f"matches/{match['id']}/hold/", {"option": 1}).status == 200
    assert told(asked(api)) != before
    Plate.objects.filter(state="held").update(held_until=timezone.now() - timedelta(minutes=1))
    assert told(asked(api)) == before


def test_the_same_key_gets_the_same_answer(api: Api, shelf: Shelf) -> None:
    body = {"spec": "PACK", "installed": {}, **SPAN}
    first = api.post("cover/", body, key="press")
    shelf.stock("0.0900 in")
    assert api.post("cover/", body, key="press") == first
    assert api.post("cover/", body) != first
    assert api.post("cover/", {**body, "to": "0.2 in"}, key="press").code == "key_reused"


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"spec": "NOT-THERE"}, "/spec"),
        ({"from": "0.04"}, "/from"),
        ({"to": "0 in"}, "/to"),
        ({"to": "0.0399 in"}, "/to"),
        ({"installed": {"nothing": []}}, "/installed/nothing"),
        ({"installed": {"steels": ["0.077 in"] * 4}}, "/installed/steels"),
        ({"installed": {"steels": [{"thickness": "0.067 in", "must": True}] * 5}}, "/installed/steels"),
        ({"without": ["x"]}, "/without"),
        ({"without": ["0198c0de-0000-7000-8000-000000000000"]}, "/without/0"),
        ({"sizes": "all"}, "/sizes"),
        ({"sizes": ["0.087"]}, "/sizes/0"),
        ({"readings": ["0.07 in"]}, "/readings"),
    ],
)
def test_what_cannot_be_read_is_pointed_at(api: Api, shelf: Shelf, change: dict[str, Any], pointer: str) -> None:
    reply = asked(api, **change)
    assert reply.status == 400
    assert any(one["pointer"].startswith(pointer) for one in reply.body["errors"]), reply.body


@pytest.mark.parametrize("name", ["spec", "from", "to"])
def test_what_is_required(api: Api, shelf: Shelf, name: str) -> None:
    body = {name_: value for name_, value in {"spec": "PACK", **SPAN}.items() if name_ != name}
    reply = api.post("cover/", body)
    assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, f"/{name}")


def test_it_is_asked_by_post_alone(api: Api) -> None:
    assert api.get("cover/").status == 405


def test_more_plates_cost_no_more_queries(api: Api, shelf: Shelf) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            ids = [str(key) for key in Plate.objects.values_list("pk", flat=True)]
            assert asked(api, sizes=True, without=ids).status == 200
        return len(caught)

    few = queries()
    shelf.stock(*[f"0.0{770 + number} in" for number in range(20)])
    for number in range(5):
        KindFactory.create(fit=shelf.steels, nominal_nm=length_parse(f"0.09{number} in"))
    assert queries() == few
