"""A plate is answered at once, as its fields would have it one by one."""

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.db.models.functions import Now
from django.test import override_settings
from rest_framework.serializers import ModelSerializer

from plates.stock import selectors
from plates.stock.answers import PlateAnswer
from plates.stock.models import Plate
from shop.api import KeptFields
from tests.api import Api
from tests.factories import BinFactory, PersonFactory
from tests.shelves import question, shelf_of

pytestmark = pytest.mark.django_db
TAGS = ("mark", "source", "box", "owner")


@pytest.mark.parametrize("zone", ["UTC", "America/Chicago"])
def test_at_once_is_what_the_fields_say_one_by_one(zone: str) -> None:
    owner = PersonFactory.create()
    shelf, api = shelf_of(owner), Api(owner)
    BinFactory.create(fit=shelf.steels)
    shelf.stock("0.0771 in", "0.0776 in", mark="blue", source="a pack", box="7", owner="a customer")
    shelf.stock(*["0.0768 in", "0.0771 in", "0.0771 in", "0.0772 in", "0.0774 in", "0.0776 in"] * 3)
    shelf.stock("0.0773 in", transfer=uuid.uuid4(), condition="used")
    five = [[f"0.077{last} in"] for last in range(5)]
    assert api.post("lots/", {"kind": shelf.kind.code, "count": 6, "readings": five}).status == 201
    asked = question("0.0740 in", [f"0.0{thou} in" for thou in range(698, 703)], job="J-1")
    for act in ("hold", "hold", "take"):
        match = api.post("matches/", asked).body
        number = next(option["number"] for option in match["options"] if option["in"])
        assert api.post(f"matches/{match['id']}/{act}/", {"option": number}).status == 200
    body = {"readings": ["0.0760 in"], "reason": "ground", "confirm": True}
    free = selectors.plates_answered(owner.shop_id).filter(state="on_shelf", owner="").last()
    assert free and api.post(f"plates/{free.pk}/rework/", body).status == 200
    held = Plate.objects.filter(state="held")
    held.filter(match=held.latest("match_id").match_id).update(held_until=Now() - timedelta(minutes=1))
    with override_settings(TIME_ZONE=zone):
        rows = list(selectors.plates_answered(owner.shop_id))
        told = [PlateAnswer(plate).data for plate in rows]
        assert told == [_by_fields(plate) for plate in rows]
    assert {one["state"] for one in told} >= {"on_shelf", "held", "taken"}
    assert {plate.state_now for plate in rows if plate.state == "held"} == {"held", "on_shelf"}
    for name in ("bin", "match", "job", "held_until", "reworked_from", "transfer", "lot", "measured", *TAGS):
        assert {bool(one[name]) for one in told} == {True, False}, name
    assert {one["condition"] for one in told} == {"new", "used"}
    assert list(told[0]) == PlateAnswer.Meta.fields


def _by_fields(plate: Any) -> dict[str, Any]:
    answer = PlateAnswer()
    assert super(KeptFields, answer).fields  # made for this one, so that what is kept is tried, too
    return dict(ModelSerializer.to_representation(answer, plate))
