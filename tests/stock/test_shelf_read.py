"""The shelf is read as a histogram: what a search can use, not every plate that lies there."""

import random
from datetime import timedelta

import pytest

from plates.stock.models import Plate
from plates.stock.selectors import shelf
from shop.people.models import Person
from tests.api import Api
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db


def read(floor: Shelf, most: int) -> list[tuple[int, int, int]]:
    rows = shelf(shop_id=floor.person.shop_id, fits=[floor.steels.pk], roles=["steel"], used_ok=None, most=most)
    by_id = {plate.pk: number for number, plate in enumerate(Plate.objects.order_by("id"))}
    return sorted((row.thickness_nm, by_id[row.id], row.stands_for) for row in rows)


def test_of_like_plates_the_oldest_and_how_many_they_are(owner: Person) -> None:
    floor = shelf_of(owner)
    plates = floor.stock("0.0770 in", "0.0770 in", "0.0770 in", "0.0771 in")
    newest, oldest = plates[0], plates[2]
    Plate.objects.filter(pk=oldest.pk).update(received_at=oldest.received_at - timedelta(days=2))
    Plate.objects.filter(pk=newest.pk).update(received_at=newest.received_at + timedelta(days=2))
    assert read(floor, 2) == [(1_955_800, 1, 0), (1_955_800, 2, 3), (1_958_340, 3, 1)]
    assert read(floor, 9) == [(1_955_800, 0, 0), (1_955_800, 1, 0), (1_955_800, 2, 3), (1_958_340, 3, 1)]


def test_a_marked_plate_is_never_taken_for_an_unmarked_one(owner: Person) -> None:
    floor = shelf_of(owner)
    floor.stock("0.0770 in", "0.0770 in")
    floor.stock("0.0770 in", mark="7")
    assert [stands_for for *_, stands_for in read(floor, 1)] == [2, 1]


def test_the_same_options_as_with_every_plate(owner: Person, api: Api, monkeypatch: pytest.MonkeyPatch) -> None:
    """Many like plates in few thicknesses: bounded by what the pack takes, or by nothing, the answer is the same."""
    floor = shelf_of(owner)
    rng = random.Random(5)
    floor.stock(*(f"0.0{rng.randint(760, 764)} in" for _ in range(40)))
    asked = question("0.0700 in", ["0.0720 in"] * 5)
    bounded = api.post("matches/", asked).body["options"]
    monkeypatch.setattr("plates.bench.pose.shelf", lambda **values: shelf(**{**values, "most": 99}))
    assert api.post("matches/", asked).body["options"] == bounded
    assert max(one["changes"] for one in bounded) >= 2
