"""What a plate must keep to stands in the catalogue: limits of a kind, and of an old plate in a slot."""

from typing import Any

import pytest

from plates.catalogue.kinds import KindData, kind_make
from plates.catalogue.models import BadFigures, Kind
from plates.catalogue.spec_models import Slot
from plates.catalogue.specs import SlotData, slots_check
from shop.people.models import Person
from tests.api import Api
from tests.factories import FitFactory
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db

LIMITS = {"taper_limit": "0.0015 in", "cone_limit": "0.005 in", "warp_limit": "0.006 in", "made_coned": "0.004 in"}


@pytest.fixture
def kind(owner: Person) -> dict[str, Any]:
    fit = FitFactory.create(shop=owner.shop, code="DRUM")
    return {"code": "S-77", "fit": fit.code, "role": "steel", "nominal": "0.077 in"}


def spec(**steels: Any) -> dict[str, Any]:
    slot = {"name": "steels", "role": "steel", "fit": "DRUM", "count": 5, "swap": True, "nominal": "0.077 in"}
    window = {"source": "manual", "low": "0.040 in", "high": "0.060 in", "reference": "p. 1"}
    return {"code": "PACK", "title": "Pack", "measures": "gap", "window": window, "slots": [{**slot, **steels}]}


def test_a_kind_gives_its_limits_back(api: Api, kind: dict[str, Any]) -> None:
    assert api.post("kinds/", {**kind, **LIMITS}).status == 201
    shown = api.get("kinds/S-77/").body
    assert {name: shown[name]["in"] for name in LIMITS} == {
        "taper_limit": "0.0015", "cone_limit": "0.0050", "warp_limit": "0.0060", "made_coned": "0.0040",
    }  # fmt: skip


def test_a_kind_has_none_to_begin_with(api: Api, kind: dict[str, Any]) -> None:
    shown = api.post("kinds/", kind).body
    assert {shown[name] for name in LIMITS} == {None}


@pytest.mark.parametrize("name", ["taper_limit", "cone_limit", "warp_limit"])
def test_a_limit_is_a_length_above_zero(api: Api, owner: Person, kind: dict[str, Any], name: str) -> None:
    for value in ("0 in", "0.001", "-1 mm", 5):
        reply = api.post("kinds/", {**kind, name: value})
        assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, f"/{name}")
    figures: dict[str, Any] = {**kind, f"{name}_nm": 0, "nominal_nm": 77, "fit": FitFactory.create(shop=owner.shop)}
    del figures["nominal"]
    with pytest.raises(BadFigures) as caught:
        kind_make(person=owner, kind=KindData(**figures))
    assert caught.value.errors[0][0] == f"/{name}"
    assert not Kind.objects.exists()


@pytest.mark.usefixtures("kind")
def test_a_slot_gives_its_limits_back(api: Api) -> None:
    assert api.post("specs/", spec(reuse_minimum="0.0755 in", cone_limit="0.005 in")).status == 201
    (slot,) = api.get("specs/PACK/").body["slots"]
    assert (slot["reuse_minimum"]["in"], slot["cone_limit"]["in"]) == ("0.0755", "0.0050")
    (plain,) = api.post("specs/", {**spec(), "code": "PLAIN"}).body["slots"]
    assert (plain["reuse_minimum"], plain["cone_limit"]) == (None, None)


@pytest.mark.usefixtures("kind")
@pytest.mark.parametrize(
    ("said", "status", "name"),
    [
        ({"reuse_minimum": "0 in"}, 400, "reuse_minimum"),
        ({"cone_limit": "0 mm"}, 400, "cone_limit"),
        ({"reuse_minimum": "1.955801 mm"}, 422, "reuse_minimum"),
    ],
)
def test_limits_of_a_slot_that_cannot_be(api: Api, said: dict[str, str], status: int, name: str) -> None:
    reply = api.post("specs/", spec(**said))
    assert (reply.status, reply.body["errors"][0]["pointer"]) == (status, f"/slots/0/{name}")
    assert api.post("specs/", spec(reuse_minimum="0.077 in")).status == 201


def test_a_slot_limit_of_zero_is_refused_by_the_service(owner: Person) -> None:
    fit = FitFactory.create(shop=owner.shop)
    for name in ("reuse_minimum", "cone_limit"):
        with pytest.raises(BadFigures) as caught:
            slots_check([SlotData("steels", "steel", fit, 5, **{f"{name}_nm": 0})])
        assert caught.value.errors[0][0] == f"/slots/0/{name}"


def test_pages_take_and_show_them(owner: Person, kind: dict[str, Any]) -> None:
    counter = Counter(owner)
    counter.open("/add/kind/")
    typed = {"code": "S-77", "fit": kind["fit"], "nominal": "77", "taper_limit": "1.5 thou", "cone_limit": "5"}
    counter.send(typed=typed)
    made = Kind.objects.get()
    assert (made.taper_limit_nm, made.cone_limit_nm, made.warp_limit_nm) == (38_100, 127_000, None)
    assert "taper 0.0015 in (0.038 mm) cone 0.0050 in (0.127 mm)" in counter.text

    counter.open("/add/spec/")
    counter.send(typed={
        "code": "PACK", "title": "Pack", "low": "40", "high": "60", "reference": "p. 1", "slot0-name": "steels",
        "slot0-fit": kind["fit"], "slot0-count": "5", "slot0-reuse_minimum": ".0755", "slot0-cone_limit": "5",
    })  # fmt: skip
    slot = Slot.objects.get()
    assert (slot.reuse_minimum_nm, slot.cone_limit_nm) == (1_917_700, 127_000)
    assert "from 0.0755 in (1.918 mm) cone to 0.0050 in (0.127 mm)" in counter.text
