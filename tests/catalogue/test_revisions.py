"""A pack spec is revised by a row of its own: what was asked by the one before goes on by that one."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.bench.models import Match, Missed
from plates.catalogue.changes import changes
from plates.catalogue.selectors import specs, specs_all
from plates.catalogue.spec_models import Slot, Spec
from shop.people.models import Person
from tests.api import Api
from tests.catalogue.test_estimates import KNOWN
from tests.factories import FitFactory, PersonFactory
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

MANUAL = {"source": "manual", "low": "0.040 in", "high": "0.060 in", "reference": "Bench book, page 4"}
LOOSE = question("0.0640 in", ["0.0670 in"] * 5)


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    made = shelf_of(owner)
    made.stock("0.0771 in", "0.0770 in", "0.0772 in")
    return made


def body(shelf: Shelf, **more: Any) -> dict[str, Any]:
    """The pack of :func:`shelf_of` as the API takes it."""
    steels = {
        "name": "steels", "role": "steel", "fit": shelf.steels.code, "count": 5, "swap": True, "nominal": "0.077 in",
    }  # fmt: skip
    frictions = {
        "name": "frictions", "role": "friction", "fit": shelf.frictions.code, "count": 5, "nominal": "0.080 in",
    }  # fmt: skip
    return {
        "title": "Pack", "measures": "gap", "window": {"source": "rule"}, "slots": [steels, frictions],
        "revision": 1, "reason": "The book has a new page", **more,
    }  # fmt: skip


def revised(api: Api, shelf: Shelf, **more: Any) -> dict[str, Any]:
    reply = api.post("specs/PACK/revise/", body(shelf, **{"window": MANUAL, **more}))
    assert reply.status == 200, reply
    made: dict[str, Any] = reply.body
    return made


def test_a_revision_is_a_new_row_under_the_same_code(api: Api, shelf: Shelf) -> None:
    before = api.get("specs/PACK/").body
    made = revised(api, shelf)
    assert (made["code"], made["revision"], made["replaced_by"]) == ("PACK", 2, None)
    assert made["revised"]["by"] == api.person.username and made["revised"]["reason"] == "The book has a new page"
    assert made["window"]["source"] == "manual" and made["id"] != before["id"]
    assert api.get("specs/PACK/").body == made == api.get("specs/PACK/", revision="2").body
    assert api.get("specs/PACK/", revision="1").body == {**before, "replaced_by": 2}
    assert before["revised"] is None
    assert [one["id"] for one in api.get("specs/").body["results"]] == [made["id"]]


@pytest.mark.parametrize(("revision", "status"), [("3", 404), ("0", 404), ("x", 400), ("", 200)])
def test_a_revision_that_is_not_there(api: Api, shelf: Shelf, revision: str, status: int) -> None:
    revised(api, shelf)
    assert api.get("specs/PACK/", revision=revision).status == status


def test_what_was_asked_goes_on_by_its_own_revision(api: Api, shelf: Shelf) -> None:
    """Held, released, asked anew by the service, taken, measured out of the window and closed: all by revision 1."""
    held, opened = (api.post("matches/", {**LOOSE, "job": "J-1"}).body for _ in range(2))
    assert api.post(f"matches/{held['id']}/hold/", {"option": 1}).body["revised_since"] is False
    tight = {"source": "manual", "low": "0.010 in", "high": "0.012 in", "reference": "Bench book, page 5"}
    others = [{**slot, "name": f"other {slot['name']}"} for slot in body(shelf)["slots"]]
    revised(api, shelf, window=tight, slots=others)

    for match, name in ((held, "release"), (opened, "hold"), (opened, "release")):
        reply = api.post(f"matches/{match['id']}/{name}/", {} if name == "release" else {"option": 1})
        assert (reply.status, reply.body["revision"], reply.body["revised_since"]) == (200, 1, True), reply
    option = api.get(f"matches/{held['id']}/").body["options"][0]
    assert option["number"] > 1  # searched again
    taken = api.post(f"matches/{held['id']}/take/", {"option": option["number"]}).body
    assert (taken["state"], taken["window"]) == ("taken", held["window"])
    sheet = api.get(f"matches/{held['id']}/build-sheet/").body
    assert (sheet["revision"], {layer["slot"] for layer in sheet["stack"]}) == (1, {"steels", "frictions"})
    again = api.post(f"matches/{held['id']}/final/", {"readings": ["0.0900 in"], "method": "feeler"}).body
    assert (again["state"], again["revision"], again["window"]) == ("open", 1, held["window"])
    moved = api.post(f"matches/{opened['id']}/take/", {"option": 2})
    assert (moved.status, moved.code) == (409, "stock_moved")  # and it was searched again
    number = moved.body["options"][0]["number"]
    taken = api.post(f"matches/{opened['id']}/take/", {"option": number})
    assert taken.status == 200, taken.body
    done = api.post(f"matches/{opened['id']}/final/", {"readings": ["0.0540 in"] * 2, "method": "feeler"}).body
    assert (done["state"], done["revision"]) == ("closed", 1)
    back = api.post(f"matches/{opened['id']}/comeback/", {"readings": ["0.0600 in"] * 3, "method": "feeler"})
    assert (back.status, back.body.get("revision")) == (201, 1), back
    fresh = api.post("matches/", question("0.0640 in", {"other steels": ["0.0670 in"] * 5})).body
    assert (fresh["revision"], fresh["revised_since"], fresh["window"]["high"]["in"]) == (2, False, "0.0120")


def test_one_job_is_missed_once_by_whatever_revision(api: Api, shelf: Shelf) -> None:
    far = question("0.1200 in", ["0.0770 in"] * 5)
    api.post("matches/", {**far, "job": "J-1"})
    api.post("matches/", {**far, "job": "J-2"})
    api.post("matches/", far)
    revised(api, shelf)
    last = api.post("matches/", {**far, "job": "J-1"}).body
    assert api.get("missed/", spec="PACK").body["count"] == 3
    assert {row.job.code: row.match.number for row in Missed.objects.all() if row.job}["J-1"] == last["number"]
    assert api.get("matches/", spec="PACK").body["count"] == 4


def test_who_opened_an_older_one_is_told_who_revised_it(api: Api, shelf: Shelf) -> None:
    revised(api, shelf)
    reply = api.post("specs/PACK/revise/", body(shelf, title="Mine"))
    assert (reply.status, reply.code) == (409, "revised_since")
    assert f"revision 2, by {api.person.username}, because: “The book has a new page”" in reply.body["detail"]
    assert Spec.objects.count() == 2
    assert api.post("specs/PACK/revise/", body(shelf, title="Mine", revision=2)).body["revision"] == 3


def test_the_same_again_is_refused_and_leaves_nothing(api: Api, shelf: Shelf) -> None:
    reply = api.post("specs/PACK/revise/", body(shelf))
    assert (reply.status, reply.code) == (422, "nothing_changed")
    assert (Spec.objects.get().replaced_by, Slot.objects.count()) == (None, 2)


def test_it_is_done_once_for_one_key(api: Api, shelf: Shelf) -> None:
    first, second = (api.post("specs/PACK/revise/", body(shelf, title="New"), "one-key") for _ in range(2))
    assert first == second and first.status == 200
    assert Spec.objects.count() == 2
    assert api.post("specs/PACK/revise/", body(shelf, title="Newer"), "one-key").code == "key_reused"


@pytest.mark.parametrize(
    ("path", "more", "status", "code"),
    [
        ("PACK", {"reason": ""}, 400, "malformed"),
        ("PACK", {"reason": "  "}, 400, "malformed"),
        ("PACK", {"revision": 0}, 400, "malformed"),
        ("PACK", {"code": "OTHER"}, 400, "malformed"),
        ("PACK", {"revision": 2}, 404, "not_found"),
        ("PACK", {"revision": 40_000}, 404, "not_found"),
        ("NONE", {}, 404, "not_found"),
        ("PACK", {"slots": []}, 400, "malformed"),
        ("PACK", {"measures": "height"}, 422, "bad_window"),
        ("PACK", {"window": {**MANUAL, "high": "0.030 in"}}, 422, "bad_window"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(
    api: Api, shelf: Shelf, path: str, more: dict[str, Any], status: int, code: str
) -> None:
    reply = api.post(f"specs/{path}/revise/", body(shelf, **{"title": "New", **more}))
    assert (reply.status, reply.code) == (status, code), reply
    assert Spec.objects.get().replaced_by is None


@pytest.mark.parametrize(("role", "status"), [("buyer", 200), ("owner", 200), ("bench", 403), ("counter", 403)])
def test_who_may_add_may_revise(owner: Person, shelf: Shelf, role: str, status: int) -> None:
    api = Api(PersonFactory.create(shop=owner.shop, role=role))
    assert api.post("specs/PACK/revise/", body(shelf, title="New")).status == status


def test_another_shop_has_a_pack_of_its_own(api: Api, shelf: Shelf) -> None:
    theirs = shelf_of(PersonFactory.create())
    revised(api, shelf)
    assert specs(theirs.person.shop_id).get().revision == 1
    assert Api(theirs.person).post("specs/PACK/revise/", body(shelf, title="New")).status == 400  # our fits


STEELS = "Slot steels, "
#: What is put otherwise, with what the history says of it.
CHANGED: list[tuple[dict[str, Any], dict[str, Any], list[tuple[str, str, str]]]] = [
    ({}, {"title": "New"}, [("Title", "Pack", "New")]),
    ({"window": MANUAL}, {"window": {**MANUAL, "target": "0.045 in"}}, [
        ("Target", "0.0500 in (1.270 mm)", "0.0450 in (1.143 mm)")]),
    ({"window": MANUAL}, {"window": {**MANUAL, "low": "1.016 mm", "high": "1.524 mm"}}, [
        ("Unit that governs", "inch", "millimetre")]),
    ({"window": MANUAL}, {"window": {**MANUAL, "high": "0.06001 in"}}, [
        ("High limit", "0.06 in", "0.06001 in"), ("Target", "0.05 in", "0.050005 in")]),
    ({}, {"limit_high": "0.070 in"}, [("Highest allowed, not to build to", "not given", "0.0700 in (1.778 mm)")]),
    ({"wave": {"free": "0.090 in", "flat": "0.070 in"}}, {}, [
        ("Wave plate, free height", "0.0900 in (2.286 mm)", "not given"),
        ("Wave plate, flat thickness", "0.0700 in (1.778 mm)", "not given")]),
    ({}, {"reads_wave": "free", "reads_soak": "dry"}, [
        ("Read with the wave plate", "not given", "free"), ("Frictions when read", "not given", "dry")]),
    ({}, {"adjustable": False, "set_only": True}, [
        ("May be adjusted", "yes", "no"), ("Replaced as a set only", "no", "yes")]),
    ({}, {"spread": "0 in"}, [("Its steels differ by no more than", "not given", "0.0000 in (0.000 mm)")]),
    ({"liftable": ["spread"]}, {"liftable": ["spread", "cone"]}, [
        ("The owner may lift", "how much its plates may differ",
         "how much its plates may differ; the cone limit of an old plate")]),
    ({"hydraulics": {"pressure": "40 psi"}}, {"hydraulics": {"pressure": "276 kPa", "orifice": "0.1 in"}}, [
        ("Hydraulics, orifice", "not given", "0.1000 in (2.540 mm)"), ("Hydraulics, pressure", "40 psi", "276 kPa")]),
]  # fmt: skip


@pytest.mark.parametrize(("was", "now", "said"), CHANGED, ids=lambda value: "")
def test_what_changed_is_said_as_it_was_and_as_it_is(
    api: Api, shelf: Shelf, was: dict[str, Any], now: dict[str, Any], said: list[tuple[str, str, str]]
) -> None:
    plain = {"title": "Pack"}
    if was:
        revised(api, shelf, **{"window": {"source": "rule"}, **was})
    revision = specs(api.person.shop_id).get().revision
    revised(api, shelf, **{"window": was.get("window", {"source": "rule"}), **plain, **now, "revision": revision})
    before, after = list(specs_all(api.person.shop_id).order_by("revision"))[-2:]
    assert [(one.what, one.was, one.now) for one in changes(before, after)] == said


def test_slots_are_told_by_their_names(api: Api, shelf: Shelf, owner: Person) -> None:
    further = FitFactory.create(shop=owner.shop, code="SIBLING")
    steels, frictions = body(shelf)["slots"]
    thick = {**steels, "count": 6, "nominal": "1.956 mm", "fits": ["SIBLING"], "material": "hard", "thickest": "0.1 in"}
    ring = {"name": "ring", "role": "snap_ring", "fit": further.code, "count": 1}
    revised(api, shelf, window={"source": "rule"}, slots=[frictions, thick, ring])
    revised(api, shelf, window={"source": "rule"}, slots=[frictions, thick], revision=2)
    one, two, three = specs_all(owner.shop_id).order_by("revision")
    assert [(change.what, change.was, change.now) for change in changes(one, two)] == [
        (f"{STEELS}further proven fits", "not given", "SIBLING"),
        (f"{STEELS}count", "5", "6"),
        (f"{STEELS}book size", "0.077 in", "1.956 mm"),
        (f"{STEELS}thickest that goes in", "not given", "0.1000 in (2.540 mm)"),
        (f"{STEELS}material", "not given", "hard"),
        ("Slot ring", "was not there", "1 snap ring, fit SIBLING"),
        ("Slots from the base up", "steels, frictions", "frictions, steels"),
    ]
    assert [change.what for change in changes(two, three)] == ["Slot ring"]


def test_all_hydraulics_stand_again_as_they_were_given(api: Api, shelf: Shelf) -> None:
    revised(api, shelf, window={"source": "rule"}, hydraulics=KNOWN)
    made = revised(api, shelf, window={"source": "rule"}, hydraulics=KNOWN, title="New", revision=2)
    assert {name: made["hydraulics"][name] for name in KNOWN if name in made["hydraulics"]}
    before, after = list(specs_all(api.person.shop_id).order_by("revision"))[-2:]
    assert [change.what for change in changes(before, after)] == ["Title"]


def test_more_revisions_take_no_more_queries(api: Api, shelf: Shelf) -> None:
    counts = []
    for revision in range(1, 5):
        with CaptureQueriesContext(connection) as captured:
            revised(api, shelf, title=f"Title {revision}", revision=revision)
        counts.append(len(captured))
    assert counts[1:] == [counts[0]] * 3
    for path in ("specs/", "specs/PACK/"):
        with CaptureQueriesContext(connection) as captured:
            api.get(path)
        assert len(captured) == {"specs/": 6, "specs/PACK/": 5}[path]
    assert Match.objects.count() == 0
