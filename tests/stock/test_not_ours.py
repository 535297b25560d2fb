"""What leaves the shelf is the shop's own, and what comes back is what it has become."""

import pytest

from plates.stock.models import Plate
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, FitFactory, KindFactory
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    found = shelf_of(owner)
    BinFactory.create(fit=found.steels, code="B-1")
    return found


def test_a_sale_by_bin_leaves_customers_plates_and_sealed_boxes_alone(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0770 in", owner="a customer")
    shelf.stock("0.0770 in", box="kit 3")
    (ours,) = shelf.stock("0.0770 in")
    assert api.post("hand-outs/", {"bin": "B-1", "count": 2, "reason": "cash"}).code == "stock_moved"
    made = api.post("hand-outs/", {"bin": "B-1", "count": 1, "reason": "cash"})
    assert (made.status, made.body["plates"]) == (201, [str(ours.pk)])


def test_a_customers_plate_is_not_sold_by_name_either(api: Api, shelf: Shelf) -> None:
    (theirs,) = shelf.stock("0.0770 in", owner="a customer")
    assert api.post("hand-outs/", {"plates": [str(theirs.pk)], "reason": "cash"}).code == "customers_plate"
    assert Plate.objects.get().state == "on_shelf"


def test_a_hand_out_remembers_a_plate_that_came_back(api: Api, shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.0770 in")
    made = api.post("hand-outs/", {"plates": [str(plate.pk)], "reason": "lent"}).body
    assert api.post(f"plates/{plate.pk}/put-back/", {"readings": ["0.0770 in"]}).status == 200
    assert api.get(f"hand-outs/{made['id']}/").body["plates"] == [str(plate.pk)]


def test_out_of_a_closed_pack_a_plate_comes_back_used(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in", "0.0771 in", "0.0768 in")
    asked = question("0.0740 in", ["0.0698 in", "0.0699 in", "0.0700 in", "0.0701 in", "0.0702 in"], take=True)
    match = api.post("matches/", asked).body
    api.post(f"matches/{match['id']}/final/", {"readings": ["0.053 in", "0.053 in"], "method": "feeler"})
    plate = match["slip"][0]["plate"]
    assert api.post(f"plates/{plate}/put-back/", {"readings": ["0.0770 in"]}).body["condition"] == "used"


def test_rework_keeps_the_splines(api: Api, owner: Person, shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.0770 in")
    other = KindFactory.create(fit=FitFactory.create(shop=owner.shop))
    body = {"readings": ["0.0700 in"], "kind": other.code, "confirm": True}
    assert api.post(f"plates/{plate.pk}/rework/", body).code == "bad_figures"


def test_pages_of_equal_plates_neither_repeat_nor_skip(api: Api, shelf: Shelf) -> None:
    shelf.stock(*["0.0770 in"] * 60)
    seen = [
        row["id"]
        for page in range(1, 13)
        for row in api.get("plates/", ordering="thickness", page_size="5", page=str(page)).body["results"]
    ]
    assert len(seen) == len(set(seen)) == 60
