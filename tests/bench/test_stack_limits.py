"""What a whole stack keeps to: sizes that go in, how much its steels differ, how high its plates stand."""

from typing import Any

import pytest

from plates.catalogue.spec_models import Slot
from plates.catalogue.specs import StackLimits
from plates.lengths import length_parse
from shop.people.models import Person
from tests.api import Api
from tests.factories import FitFactory, KindFactory, shelve
from tests.pages.counter import Counter
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

FIVE = ["0.0700 in"] * 5


def limited(owner: Person, **limits: str) -> Shelf:
    shelf = shelf_of(owner, limits=StackLimits(**{f"{name}_nm": length_parse(text) for name, text in limits.items()}))
    shelf.stock("0.0950 in", "0.0780 in", "0.0780 in", "0.0780 in")
    return shelf


def sure(reply: Any) -> list[tuple[int, str]]:
    assert reply.status == 201, reply
    return [(one["changes"], one["predicted"]["in"]) for one in reply.body["options"] if one["confidence"] == "sure"]


def codes(reply: Any) -> set[str]:
    return {one["code"] for one in reply.body["cautions"]}


def test_a_spec_gives_its_limits_back(api: Api, owner: Person) -> None:
    FitFactory.create(shop=owner.shop, code="DRUM")
    slot = {"name": "steels", "role": "steel", "fit": "DRUM", "count": 5, "swap": True, "thinnest": "0.066 in",
            "thickest": "0.094 in", "place": "next to the pressure plate"}  # fmt: skip
    window = {"source": "manual", "low": "0.040 in", "high": "0.060 in", "reference": "p. 1"}
    body = {"code": "PACK", "title": "Pack", "measures": "gap", "window": window, "slots": [slot],
            "spread": "0.010 in", "splines": "1.150 in", "liftable": ["spread", "set_only", "spread"]}  # fmt: skip
    made = api.post("specs/", body).body
    assert (made["spread"]["in"], made["splines"]["in"]) == ("0.0100", "1.1500")
    assert made["liftable"] == ["spread", "set_only"]
    assert [made["slots"][0][name]["in"] for name in ("thinnest", "thickest")] == ["0.0660", "0.0940"]
    plain = api.post("specs/", {**body, "code": "B", "spread": "0 in", "liftable": []}).body
    assert (plain["spread"]["nm"], plain["liftable"]) == (0, [])


@pytest.mark.parametrize(
    ("said", "status", "pointer"),
    [
        ({"spread": "-1 in"}, 400, "/spread"),
        ({"splines": "0 in"}, 400, "/splines"),
        ({"liftable": ["wave"]}, 400, "/liftable/0"),
        ({"thinnest": "0.080 in", "thickest": "0.0799 in"}, 422, "/slots/0/thinnest"),
        ({"role": "snap_ring", "count": 2, "splines": "1 in"}, 422, "/splines"),
    ],
)
def test_limits_that_cannot_be(api: Api, owner: Person, said: dict[str, Any], status: int, pointer: str) -> None:
    FitFactory.create(shop=owner.shop, code="DRUM")
    slot = {"name": "steels", "role": "steel", "fit": "DRUM", "count": 5, "swap": True}
    window = {"source": "manual", "low": "0.040 in", "high": "0.060 in", "reference": "p. 1"}
    of_spec = {name: said.pop(name) for name in ("spread", "splines", "liftable") if name in said}
    body = {
        "code": "PACK",
        "title": "Pack",
        "measures": "gap",
        "window": window,
        "slots": [{**slot, **said}],
        **of_spec,
    }
    reply = api.post("specs/", body)
    assert (reply.status, reply.body["errors"][0]["pointer"]) == (status, pointer)


def test_one_thick_steel_closes_a_pack_that_may_be_uneven(api: Api, owner: Person) -> None:
    limited(owner)
    assert sure(api.post("matches/", question("0.0750 in", FIVE))) == [(1, "0.0500")]


def test_an_even_pack_takes_three_instead(api: Api, owner: Person) -> None:
    limited(owner, spread="0.010 in")
    assert sure(api.post("matches/", question("0.0750 in", FIVE))) == [(3, "0.0510")]


def test_steels_that_nobody_may_exchange_count_as_well(api: Api, owner: Person) -> None:
    """A second slot of steels stands at .067: beside it .078 is too thick, wherever it would go."""
    shelf = limited(owner, spread="0.010 in")
    Slot.objects.create(
        shop=owner.shop, spec=shelf.spec, position=9, name="apply side", role="steel", fit=shelf.steels, count=1,
        lined_faces=0, nominal_nm=length_parse("0.067 in"),
    )  # fmt: skip
    assert sure(api.post("matches/", question("0.0750 in", FIVE))) == []
    read = {"steels": FIVE, "apply side": ["0.0680 in"]}
    assert sure(api.post("matches/", question("0.0750 in", read))) == [(3, "0.0510")]


def test_an_uneven_pack_cannot_stay_though_it_reads_right(api: Api, owner: Person) -> None:
    shelf = limited(owner, spread="0.010 in")
    shelf.stock("0.0700 in")
    reply = api.post("matches/", question("0.0350 in", ["0.0700 in"] * 4 + ["0.0850 in"]))
    assert "uneven" in codes(reply)
    assert sure(reply) == [(1, "0.0500")]
    as_it_is = api.post("matches/", question("0.0500 in", ["0.0700 in"] * 4 + ["0.0850 in"]))
    assert 0 not in {one["changes"] for one in as_it_is.body["options"]}


@pytest.mark.parametrize(
    ("size", "changes"),
    [({"thickest_nm": "0.0949 in"}, 3), ({"thickest_nm": "0.0950 in"}, 1), ({"thinnest_nm": "0.0781 in"}, 1)],
)
def test_only_plates_of_the_sizes_that_a_slot_takes(
    api: Api, owner: Person, size: dict[str, str], changes: int
) -> None:
    shelf = limited(owner)
    shelf.spec.slots.filter(name="steels").update(**{name: length_parse(text) for name, text in size.items()})
    assert [one for one, _ in sure(api.post("matches/", question("0.0750 in", FIVE)))] == [changes]


def test_what_would_close_it_keeps_to_the_limits(api: Api, owner: Person) -> None:
    """Free: one of .085 to .105, or two equal of .0775 to .0875. Here a steel is .0800 at most, and within .010."""
    shelf = shelf_of(owner, limits=StackLimits(spread_nm=length_parse("0.009 in")))
    shelf.spec.slots.filter(name="steels").update(thickest_nm=length_parse("0.0800 in"))
    ranges = api.post("matches/", question("0.0750 in", FIVE)).body["shortfall"]["would_close"]
    assert [(one["count"], one["from"]["in"], one["to"]["in"]) for one in ranges] == [(2, "0.0775", "0.0790")]


def ringed(owner: Person, splines: str | None) -> Shelf:
    """Five steels and five frictions, .35 + .40 high, and a ring; .010 thicker rings and steels lie there."""
    limits = StackLimits(splines_nm=length_parse(splines)) if splines else StackLimits()
    shelf = shelf_of(owner, limits=limits)
    ring = FitFactory.create(shop=owner.shop, tooth_side="none", teeth=0)
    Slot.objects.create(
        shop=owner.shop, spec=shelf.spec, position=9, name="ring", role="snap_ring", fit=ring, count=1, lined_faces=0,
        swap=True,
    )  # fmt: skip
    shelve(owner, KindFactory.create(fit=ring, role="snap_ring", nominal_nm=length_parse("0.072 in")), "0.0720 in")
    shelf.stock("0.0800 in")
    return shelf


@pytest.mark.parametrize(
    ("splines", "slot"), [(None, {"steels", "ring"}), ("0.7600 in", {"steels", "ring"}), ("0.7599 in", {"ring"})]
)
def test_the_last_plate_stays_on_its_splines(api: Api, owner: Person, splines: str | None, slot: set[str]) -> None:
    ringed(owner, splines)
    stack = {"steels": FIVE, "ring": ["0.0620 in"]}
    reply = api.post("matches/", question("0.0600 in", stack))
    best = {row["slot"] for one in reply.body["options"] if one["predicted"]["in"] == "0.0500" for row in one["in"]}
    assert best and best <= slot
    assert "splines_unknown" not in codes(reply)


def test_a_height_of_which_one_plate_is_unknown_is_left_to_the_eye(api: Api, owner: Person) -> None:
    shelf = ringed(owner, "0.7599 in")
    shelf.spec.slots.filter(name="frictions").update(nominal_nm=None)
    reply = api.post("matches/", question("0.0600 in", {"steels": FIVE, "ring": ["0.0620 in"]}))
    assert "splines_unknown" in codes(reply)
    assert reply.body["options"]


def test_a_stack_beyond_its_splines_must_shrink(api: Api, owner: Person) -> None:
    ringed(owner, "0.7450 in")
    reply = api.post("matches/", question("0.0500 in", {"steels": FIVE, "ring": ["0.0620 in"]}))
    assert "beyond_splines" in codes(reply)
    assert reply.body["options"] == []


def test_a_ring_wider_than_its_groove_stays_on_the_shelf(api: Api, owner: Person) -> None:
    shelf = ringed(owner, None)
    shelf.spec.slots.filter(name="ring").update(thickest_nm=length_parse("0.0719 in"))
    reply = api.post("matches/", question("0.0600 in", {"ring": ["0.0620 in"]}))
    assert reply.body["options"] == [] or all(not one["in"] for one in reply.body["options"])


def test_pages_take_and_show_them(owner: Person) -> None:
    FitFactory.create(shop=owner.shop, code="DRUM")
    counter = Counter(owner)
    counter.open("/add/spec/")
    counter.send(typed={
        "code": "PACK", "title": "Pack", "low": "40", "high": "60", "reference": "p. 1", "slot0-name": "steels",
        "slot0-fit": "DRUM", "slot0-count": "5", "slot0-thinnest": "66", "slot0-thickest": "94",
        "slot0-place": "next to the pressure plate", "spread": "10", "splines": "1.150 in", "liftable": ["spread"],
    })  # fmt: skip
    for said in (
        "from 0.0660 in (1.676 mm) to 0.0940 in (2.388 mm)", "an odd one next to the pressure plate",
        "differ by no more than 0.0100 in (0.254 mm)", "no higher than 1.1500 in (29.210 mm)",
        "may lift, with a reason: how much its plates may differ",
    ):  # fmt: skip
        assert said in counter.text
