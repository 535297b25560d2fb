"""Which plates are candidates: the shelf's and the bench's, and which never are."""

from typing import Any

import pytest
from django.core.management import call_command

from plates.lengths import length_parse
from plates.stock.ledger_models import LedgerLine
from shop.people.models import Person
from tests.api import Api
from tests.factories import FitFactory, KindFactory, shelve
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

FIVE = ["0.0670 in"] * 5
LOOSE = "0.0640 in"  # one of about .077 closes it


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def offered(api: Api, reading: str = LOOSE, steels: Any = None, **more: Any) -> list[dict[str, Any]]:
    reply = api.post("matches/", question(reading, steels or FIVE, **more))
    assert reply.status == 201, reply
    options: list[dict[str, Any]] = reply.body["options"]
    return options


@pytest.mark.parametrize(
    ("tags", "ask", "expected"),
    [
        ({}, {}, True),
        ({"owner": "a customer"}, {}, False),
        ({"owner": "a customer"}, {"used_ok": True, "open_boxes": True}, False),
        ({"box": "kit 3"}, {}, False),
        ({"box": "kit 3"}, {"open_boxes": True}, True),
        ({"condition": "used"}, {}, True),
        ({"condition": "used"}, {"used_ok": False}, False),
    ],
)
def test_of_the_shelf(api: Api, shelf: Shelf, tags: dict[str, str], ask: dict[str, bool], expected: bool) -> None:
    shelf.stock("0.0771 in", **tags)
    assert bool(offered(api, **ask)) is expected


@pytest.mark.parametrize(
    ("thickness", "condition", "expected"),
    [("0.0755 in", "used", True), ("1.917699 mm", "used", False), ("1.917699 mm", "new", True)],
)
def test_used_ones_not_below_their_reuse_minimum(
    api: Api, shelf: Shelf, thickness: str, condition: str, expected: bool
) -> None:
    shelf.stock(thickness, condition=condition)  # before there was a minimum: it lies on the shelf
    shelf.kind.reuse_minimum_nm = length_parse("0.0755 in")
    shelf.kind.save()
    for used_ok in (None, True):
        assert bool(offered(api, used_ok=used_ok)) is expected


@pytest.mark.parametrize(
    "other",
    [
        {"fit": "other"},
        {"role": "spacer"},
        {"role": "friction", "lined_faces": 2},
    ],
)
def test_never_one_of_another_fit_or_role(api: Api, shelf: Shelf, other: dict[str, Any]) -> None:
    fit = FitFactory.create(shop=shelf.person.shop) if "fit" in other else shelf.steels
    shelve(shelf.person, KindFactory.create(**{**other, "fit": fit}), "0.0771 in")
    assert offered(api) == []


def _spec(api: Api, shelf: Shelf, **steels: Any) -> str:
    slots = [
        {"name": "steels", "role": "steel", "fit": shelf.steels.code, "count": 5, "swap": True, **steels},
        {"name": "frictions", "role": "friction", "fit": shelf.frictions.code, "count": 5},
    ]
    body = {"code": "OWN", "title": "Own", "measures": "gap", "window": {"source": "rule"}, "slots": slots}
    assert api.post("specs/", body).status == 201
    return "OWN"


def test_a_further_proven_fit_is_a_substitute(api: Api, shelf: Shelf) -> None:
    sibling = FitFactory.create(shop=shelf.person.shop)
    spec = _spec(api, shelf, fits=[sibling.code])
    shelve(shelf.person, KindFactory.create(fit=sibling), "0.0771 in")
    assert [option["way"] for option in offered(api, spec=spec)] == ["substitute"]
    shelf.stock("0.0771 in")
    assert offered(api, spec=spec)[0]["way"] == "ordinary"


def test_a_further_fit_of_other_teeth_is_refused(api: Api, shelf: Shelf) -> None:
    other = FitFactory.create(shop=shelf.person.shop, teeth=40)
    slot = {"name": "a", "role": "steel", "fit": shelf.steels.code, "count": 1, "fits": [other.code]}
    window = {"source": "manual", "low": "0.04 in", "high": "0.06 in", "reference": "p. 1"}
    reply = api.post("specs/", {"code": "X", "title": "X", "measures": "gap", "window": window, "slots": [slot]})
    assert (reply.status, reply.code) == (422, "bad_figures")
    assert reply.body["errors"][0]["pointer"] == "/slots/0/fits/0"


def test_one_plate_more_only_where_the_spec_proves_it(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in")
    assert offered(api, "0.1271 in") == []
    (option,) = offered(api, "0.1271 in", spec=_spec(api, shelf, extra=1))
    assert (option["way"], option["changes"], option["out"], option["predicted"]["in"]) == ("extra", 1, [], "0.0500")


def test_a_slot_that_names_a_material_takes_that_one(api: Api, shelf: Shelf) -> None:
    spec = _spec(api, shelf, material="hardened")
    shelf.stock("0.0771 in")
    assert offered(api, spec=spec) == []
    shelve(shelf.person, KindFactory.create(fit=shelf.steels, material="hardened"), "0.0771 in")
    assert len(offered(api, spec=spec)) == 1


def test_only_slots_that_are_named_change(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in")
    reply = api.post("matches/", question(LOOSE, {}))
    assert (reply.status, reply.body["options"]) == (201, [])


def test_what_must_go_goes_in_every_option(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0671 in", "0.0672 in")
    steels = [{"thickness": "0.0600 in", "must_go": True}, *FIVE[1:]]
    options = offered(api, "0.0560 in", {"steels": steels})
    assert options and all(option["changes"] > 0 for option in options)
    assert all("0.0600" in [row["thickness"]["in"] for row in option["out"]] for option in options)


def test_plates_on_the_bench_never_touch_the_shelf(api: Api, shelf: Shelf) -> None:
    bench = {"steels": [{"readings": ["0.0770 in", "0.0772 in"], "count": 2, "source": "open kit"}]}
    match = api.post("matches/", question(LOOSE, FIVE, bench=bench, take=True)).body
    assert match["state"] == "taken"
    (row,) = match["slip"]
    assert (row["plate"], row["bin"], row["kind"], row["thickness"]["in"]) == (None, None, None, "0.0771")
    assert row["source"] == "open kit"
    assert LedgerLine.objects.count() == 0


@pytest.mark.parametrize(
    ("slot", "more", "spec", "said"),
    [
        ("frictions", {"installed": {"frictions": ["0.0800 in"] * 5}}, {}, "not one that is chosen to measure"),
        ("frictions", {}, {}, "not one that is chosen to measure"),
        ("steels", {"installed": {}}, {}, "stays as it is"),
        ("steels", {"set_only": True}, {}, "stay together"),
        ("steels", {}, {"set_only": True}, "stay together"),
        ("steels", {}, {"adjustable": False}, "no adjustment"),
    ],
)
def test_plates_on_the_bench_for_what_takes_none_are_refused(
    api: Api, owner: Person, slot: str, more: dict[str, Any], spec: dict[str, bool], said: str
) -> None:
    """None of them is passed over in silence."""
    shelf_of(owner, **spec)
    ask = {**question(LOOSE, FIVE), "bench": {slot: [{"thickness": "0.0771 in"}]}, **more}
    reply = api.post("matches/", ask)
    assert (reply.status, reply.code) == (400, "malformed")
    assert said in reply.body["detail"] and "leave them out" in reply.body["detail"]
    assert [error["pointer"] for error in reply.body["errors"]] == [f"/bench/{slot}"]


def test_an_empty_slot_and_one_with_room_for_one_more_take_them(api: Api, shelf: Shelf) -> None:
    bench = {"steels": [{"thickness": "0.0771 in", "count": 5}]}
    empty = {"left_out": ["steels"], "installed": {}, "bench": bench}
    assert offered(api, "0.4355 in", **empty)[0]["predicted"]["in"] == "0.0500"
    assert offered(api, "0.1271 in", spec=_spec(api, shelf, extra=1, swap=False), bench=bench)


def test_bench_and_shelf_together(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in")
    bench = {"steels": [{"thickness": "0.0771 in"}]}
    (two,) = [o for o in offered(api, "0.0702 in", bench=bench) if o["changes"] == 2]
    assert sorted(row["plate"] is None for row in two["in"]) == [False, True]
    match = api.post("matches/", question("0.0702 in", FIVE, bench=bench)).body
    api.post(f"matches/{match['id']}/take/", {"option": two["number"]})
    assert LedgerLine.objects.filter(act="taken").count() == 1
    call_command("ledger_verify")


def test_measured_without_the_selective_part(api: Api, shelf: Shelf) -> None:
    """Clearance = room - that part: the slot is left out, and what goes in fills it."""
    slots = [{"name": "ring", "role": "snap_ring", "fit": shelf.steels.code, "count": 1, "swap": True}]
    window = {"source": "manual", "low": "0.040 in", "high": "0.060 in", "reference": "p. 1"}
    api.post("specs/", {"code": "ROOM", "title": "Room", "measures": "gap", "window": window, "slots": slots})
    kind = KindFactory.create(fit=shelf.steels, role="snap_ring", nominal_nm=length_parse("0.090 in"))
    shelve(shelf.person, kind, "0.0900 in")
    match = api.post("matches/", question("0.1400 in", {}, "ROOM", left_out=["ring"])).body
    (option,) = match["options"]
    assert (option["predicted"]["in"], option["out"], option["changes"]) == ("0.0500", [], 1)


@pytest.mark.parametrize("most", [0, 1, 2])
def test_no_more_changes_than_allowed(api: Api, shelf: Shelf, most: int) -> None:
    shelf.stock(*["0.0700 in"] * 5)
    counts = {option["changes"] for option in offered(api, "0.0590 in", max_changes=most)}
    assert counts and max(counts) <= most
