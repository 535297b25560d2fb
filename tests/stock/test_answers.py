"""A plate is answered at once, as its fields would have it one by one."""

from typing import Any

import pytest
from django.test import override_settings
from rest_framework.serializers import ModelSerializer

from plates.stock import selectors
from plates.stock.answers import PlateAnswer
from tests.api import Api
from tests.factories import BinFactory, PersonFactory
from tests.shelves import question, shelf_of

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("zone", ["UTC", "America/Chicago"])
def test_at_once_is_what_the_fields_say_one_by_one(zone: str) -> None:
    owner = PersonFactory.create()
    shelf, api = shelf_of(owner), Api(owner)
    BinFactory.create(fit=shelf.steels)
    shelf.stock("0.0771 in", "0.0776 in", mark="blue", source="a pack", box="7", owner="a customer")
    shelf.stock(*["0.0768 in", "0.0771 in", "0.0771 in", "0.0772 in", "0.0774 in", "0.0776 in"] * 3)
    asked = question("0.0740 in", [f"0.0{thou} in" for thou in range(698, 703)], job="J-1")
    for act in ("hold", "take"):
        match = api.post("matches/", asked).body
        number = next(option["number"] for option in match["options"] if option["in"])
        assert api.post(f"matches/{match['id']}/{act}/", {"option": number}).status == 200
    body = {"readings": ["0.0760 in"], "reason": "ground", "confirm": True}
    free = selectors.plates_answered(owner.shop_id).filter(state="on_shelf", owner="").last()
    assert free and api.post(f"plates/{free.pk}/rework/", body).status == 200
    with override_settings(TIME_ZONE=zone):
        rows = list(selectors.plates_answered(owner.shop_id))
        told = [PlateAnswer(plate).data for plate in rows]
        assert told == [_by_fields(plate) for plate in rows]
    assert {one["state"] for one in told} >= {"on_shelf", "held", "taken"}
    for name in ("bin", "match", "job", "held_until", "reworked_from", "mark"):
        assert {bool(one[name]) for one in told} == {True, False}, name
    assert list(told[0]) == PlateAnswer.Meta.fields


def _by_fields(plate: Any) -> dict[str, Any]:
    return dict(ModelSerializer.to_representation(PlateAnswer(), plate))
