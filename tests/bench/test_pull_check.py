"""The pull check: the reading decides which plate left, refines the prediction, or says that something is wrong."""

import math
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.catalogue.windows import Window
from plates.lengths import length_parse
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from shop.people.models import Person
from tests.api import Api, Reply
from tests.factories import BinFactory, KindFactory, PersonFactory, shelve
from tests.shelves import Shelf, nm, question, shelf_of

pytestmark = pytest.mark.django_db

FIVE = ["0.0670 in"] * 5
LOOSE = "0.0640 in"  # one of about .077 closes it
#: Queries of a check that agrees, and of one that ends in a rematch, which is done twice: once to look ahead.
QUERIES = [13, 33]


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    made = shelf_of(owner)
    BinFactory.create(fit=made.steels, code="B-14")
    BinFactory.create(
        fit=made.steels, code="B-20", from_nm=length_parse("0.0865 in"), to_nm=length_parse("0.0875 in")
    )
    return made


def take(api: Api, reading: str = LOOSE, changes: int = 1, **more: Any) -> dict[str, Any]:
    match = api.post("matches/", question(reading, FIVE, max_changes=changes, job="J-1", **more)).body
    (number,) = [option["number"] for option in match["options"] if option["changes"] == changes]
    taken: dict[str, Any] = api.post(f"matches/{match['id']}/take/", {"option": number}).body
    assert taken["state"] == "taken", taken
    return taken


def pull(api: Api, match: dict[str, Any], reading: str | list[str], row: int = 0, **more: Any) -> Reply:
    readings = [reading] if isinstance(reading, str) else reading
    body = {"plate": match["slip"][row]["plate"], "readings": readings, **more}
    return api.post(f"matches/{match['id']}/pull-check/", body)


def lines(plate: Any) -> list[tuple[str, str, str]]:
    rows = LedgerLine.objects.filter(plate=plate).order_by("seq")
    return [(line.act, line.state, str(line.thickness_nm)) for line in rows]


def test_the_reading_becomes_the_thickness_and_the_prediction_is_made_afresh(api: Api, shelf: Shelf) -> None:
    """.0640 + .0670 - .0771 = .0539; read as .0773 it is .0537."""
    shelf.stock("0.0771 in")
    taken = take(api)
    before = taken["options"][-1]
    assert (before["predicted"]["in"], taken["slip"][0]["pulled"]) == ("0.0539", None)
    status, match = pull(api, taken, ["0.0772 in", "0.0774 in"], gauge="")
    assert (status, match["state"]) == (200, "taken")
    (row,) = match["slip"]
    assert row["thickness"]["in"] == "0.0773"
    assert row["pulled"]["texts"] == ["0.0772 in", "0.0774 in"]
    assert (row["pulled"]["thickness"]["in"], row["pulled"]["by"]) == ("0.0773", api.person.username)
    after = next(option for option in match["options"] if option["number"] == match["option_taken"])
    assert after["predicted"]["in"] == "0.0537"
    plate = Plate.objects.get()
    assert (plate.thickness_nm, plate.spread_nm, plate.u_nm) == (1_963_420, 5_080, 0.0)
    assert lines(plate)[-1] == ("pulled", "taken", "1963420")
    assert LedgerLine.objects.get(act="pulled").readings == ["0.0772 in", "0.0774 in"]
    assert api.get(f"matches/{match['id']}/").body["slip"] == match["slip"]
    call_command("ledger_verify")


def test_what_nobody_could_tell_apart_leaves_the_uncertainty(api: Api, shelf: Shelf) -> None:
    """Plates of one bin over .0771, .0766: until one is read, any of them may have left."""
    shelf.stock("0.0771 in", "0.0766 in", "0.0766 in")
    taken = take(api)
    before = taken["options"][-1]["u"]["nm"]
    match = pull(api, taken, taken["slip"][0]["thickness"]["in"] + " in").body
    after = match["options"][-1]["u"]["nm"]
    # Of three plates: the mean square distance of the chosen one to all of them.
    lengths = [1_958_340, 1_945_640, 1_945_640]
    alike = math.sqrt(sum((one - taken["slip"][0]["thickness"]["nm"]) ** 2 for one in lengths) / 3)
    assert before**2 - after**2 == pytest.approx(alike**2, rel=1e-3)


def test_a_lot_plate_that_was_not_read_is_certain_once_it_is_read(api: Api, shelf: Shelf) -> None:
    readings = [["0.0767 in"], ["0.0769 in"], ["0.0770 in"], ["0.0771 in"], ["0.0773 in"]]
    api.post("lots/", {"kind": shelf.kind.code, "count": 6, "readings": readings})
    unread = Plate.objects.exclude(u_nm=0).get()
    for plate in Plate.objects.exclude(pk=unread.pk):
        api.post(f"plates/{plate.pk}/scrap/", {"reason": "not for this test"})
    taken = take(api)
    assert taken["slip"][0]["plate"] == str(unread.pk)
    within_nm = int(2 * math.sqrt(2 * 5_080**2 + unread.u_nm**2))
    assert within_nm > 14_369  # further than for one that was read
    assert pull(api, taken, nm(unread.thickness_nm - within_nm - 1)).status == 409
    assert pull(api, taken, nm(unread.thickness_nm - within_nm)).status == 200
    unread.refresh_from_db()
    assert unread.u_nm == 0.0


# --- the rule -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("off_nm", "status"),
    [(0, 200), (14_368, 200), (-14_368, 200), (14_369, 409), (-14_369, 409)],
)
def test_two_readings_agree_within_twice_the_u_of_their_difference(
    api: Api, shelf: Shelf, off_nm: int, status: int
) -> None:
    """2·√(.0002² + .0002²) in = 14 368.4 nm (JCGM 100:2008, 5.1.2; k = 2)."""
    shelf.stock("0.0771 in")
    assert pull(api, take(api), nm(1_958_340 + off_nm)).status == status


def test_the_other_one_of_its_bin_left_and_the_ledger_says_so(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in", "0.0768 in")
    taken = take(api)
    (row,) = taken["slip"]
    named = Plate.objects.get(pk=row["plate"])
    other = Plate.objects.exclude(pk=named.pk).get()
    status, match = pull(api, taken, nm(other.thickness_nm))
    assert status == 200
    assert [one["plate"] for one in match["slip"]] == [str(other.pk)]
    named.refresh_from_db()
    other.refresh_from_db()
    assert (named.state, named.bin.code, named.match, named.job) == ("on_shelf", "B-14", None, None)  # type: ignore[union-attr]
    assert (other.state, str(other.match_id), other.job.code) == ("taken", match["id"], "J-1")  # type: ignore[union-attr]
    assert [act for act, *_ in lines(named)] == ["received", "taken", "put_back"]
    assert [act for act, *_ in lines(other)] == ["received", "taken", "pulled"]
    reasons = LedgerLine.objects.exclude(reason="").values_list("reason", flat=True)
    assert len(reasons) == 2 and all("at the bin" in reason for reason in reasons)
    call_command("ledger_verify")


def test_equally_near_the_slips_own_left(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in", "0.0773 in", "0.0769 in")
    taken = take(api)
    own = taken["slip"][0]
    step = {"0.0771": "0.0772 in", "0.0773": "0.0772 in", "0.0769": "0.0770 in"}[own["thickness"]["in"]]
    assert pull(api, taken, step).body["slip"][0]["plate"] == own["plate"]


@pytest.mark.parametrize("tags", [{"mark": "3"}, {"box": "kit 3"}, {"owner": "a customer"}, {"condition": "used"}])
def test_a_plate_that_can_be_told_or_may_not_go_never_left(api: Api, shelf: Shelf, tags: dict[str, str]) -> None:
    shelf.stock("0.0771 in")
    taken = take(api, used_ok=False)
    shelf.stock("0.0774 in", **tags)
    match = pull(api, taken, "0.0774 in").body
    assert match["slip"][0]["plate"] == taken["slip"][0]["plate"]


def test_a_plate_of_another_bin_or_kind_never_left(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in")
    taken = take(api)
    shelf.stock("0.0870 in")
    shelve(shelf.person, KindFactory.create(fit=shelf.steels), "0.0774 in")
    assert pull(api, taken, "0.0870 in").code == "pull_mismatch"
    assert pull(api, taken, "0.0774 in").body["slip"][0]["plate"] == taken["slip"][0]["plate"]


def test_three_of_one_bin_are_ticked_off_in_whatever_order_the_hand_brings_them(api: Api, shelf: Shelf) -> None:
    """The first in the hand is the .0766, whichever row of the slip it is read for."""
    shelf.stock("0.0774 in", "0.0774 in", "0.0766 in")
    taken = take(api, "0.0820 in", 3)
    thick = [row for row in taken["slip"] if row["thickness"]["in"] == "0.0774"]
    thin = next(row for row in taken["slip"] if row["thickness"]["in"] == "0.0766")
    body = {"plate": thick[0]["plate"], "readings": ["0.0767 in"]}
    match = api.post(f"matches/{taken['id']}/pull-check/", body).body
    assert {row["plate"]: row["pulled"] is not None for row in match["slip"]} == {
        thin["plate"]: True,
        thick[0]["plate"]: False,
        thick[1]["plate"]: False,
    }
    for row in thick:
        body = {"plate": row["plate"], "readings": ["0.0774 in"]}
        match = api.post(f"matches/{taken['id']}/pull-check/", body).body
    assert all(row["pulled"] for row in match["slip"])
    assert sorted(row["plate"] for row in match["slip"]) == sorted(row["plate"] for row in taken["slip"])
    call_command("ledger_verify")


def test_checked_twice_it_is_refined_again(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in")
    taken = take(api)
    first, second = pull(api, taken, "0.0773 in").body, pull(api, taken, "0.0772 in").body
    assert first["options"][-1]["predicted"]["in"] == "0.0537"
    assert second["options"][-1]["predicted"]["in"] == "0.0538"
    assert first["options"][-1]["u"] == second["options"][-1]["u"]


def test_the_same_key_twice_is_one_check(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in", "0.0768 in")
    taken = take(api)
    body = {"plate": taken["slip"][0]["plate"], "readings": ["0.0770 in"]}
    first, second = (api.post(f"matches/{taken['id']}/pull-check/", body, key="press") for _ in range(2))
    assert first == second and first.status == 200
    assert LedgerLine.objects.filter(act="pulled").count() == 1


# --- the mismatch ----------------------------------------------------------------------------------------------


@pytest.fixture
def wrong(api: Api, shelf: Shelf) -> dict[str, Any]:
    """A .0771 is on the slip; what lies in the hand is a .0870, in the wrong bin."""
    shelf.stock("0.0771 in")
    return take(api)


def test_a_mismatch_changes_nothing_and_says_what_to_do(api: Api, wrong: dict[str, Any]) -> None:
    before = list(LedgerLine.objects.values_list("pk"))
    status, problem = reply = pull(api, wrong, "0.0790 in")
    assert (status, reply.code) == (409, "pull_mismatch")
    assert problem["reading"]["in"] == "0.0790"
    assert problem["nearest"] == {
        "plate": wrong["slip"][0]["plate"],
        "kind": wrong["slip"][0]["kind"],
        "bin": "B-14",
        "thickness": wrong["slip"][0]["thickness"],
        "on_slip": True,
    }
    assert problem["ways"] == ["read_again", "next_one", "keep", "rematch"]
    assert problem["match"] == wrong
    assert all(word in problem["detail"] for word in ("Read it again", "next to it", "keep", "rematch", "0.0006 in"))
    assert list(LedgerLine.objects.values_list("pk")) == before
    assert api.get(f"matches/{wrong['id']}/").body == wrong


def test_an_entry_fault_says_what_it_would_be_in_the_other_unit(api: Api, wrong: dict[str, Any]) -> None:
    detail = pull(api, wrong, "1.958 in").body["detail"]
    assert "Read as mm it would be 0.0771 in" in detail
    assert "Read as" not in pull(api, wrong, "0.0790 in").body["detail"]


def test_kept_it_goes_in_as_it_was_read_and_its_record_is_put_right(api: Api, wrong: dict[str, Any]) -> None:
    """.0640 + .0670 - .0790 = .0520."""
    status, match = pull(api, wrong, "0.0790 in", then="keep")
    assert (status, match["state"], match["slip"][0]["thickness"]["in"]) == (200, "taken", "0.0790")
    assert match["options"][-1]["predicted"]["in"] == "0.0520"
    assert {caution["code"] for caution in match["cautions"]}.isdisjoint({"pulled_out_of_window", "pulled_marginal"})
    plate = Plate.objects.get()
    assert lines(plate)[-1] == ("corrected", "taken", str(length_parse("0.0790 in")))
    line = plate.lines.get(act="corrected")
    assert line.reason.startswith("misfiled") and line.readings == ["0.0790 in"]
    call_command("ledger_verify")


@pytest.mark.parametrize(
    ("reading", "code"),
    [("0.0709 in", "pulled_out_of_window"), ("0.0705 in", "pulled_out_of_window"), ("0.0713 in", "pulled_marginal")],
)
def test_kept_outside_the_window_or_short_of_sure_it_is_said(
    api: Api, wrong: dict[str, Any], reading: str, code: str
) -> None:
    """.0640 + .0670 - .0709 = .0601, over .0600."""
    match = pull(api, wrong, reading, then="keep").body
    (said,) = [caution for caution in match["cautions"] if caution["code"].startswith("pulled")]
    assert said["code"] == code
    assert pull(api, wrong, "0.0771 in", then="keep").body["cautions"] == wrong["cautions"]  # mended, it is taken back


def test_rematched_it_lies_in_the_bin_for_its_size_and_the_pack_is_asked_again(api: Api, shelf: Shelf) -> None:
    """Two were taken; one turns out a .0870: it goes into B-20, the other back to B-14, and the options are fresh."""
    shelf.stock("0.0771 in", "0.0770 in")
    taken = take(api, "0.0720 in", 2)
    wrong, right = taken["slip"]
    status, match = pull(api, taken, "0.0870 in", then="rematch", agreed=True)
    assert (status, match["state"], match["slip"], match["option_taken"]) == (200, "open", [], None)
    assert match["laid"] == {"plate": wrong["plate"], "state": "on_shelf", "bin": "B-20"}
    plates = {str(plate.pk): plate for plate in Plate.objects.select_related("bin")}
    assert (plates[wrong["plate"]].bin.code, plates[right["plate"]].bin.code) == ("B-20", "B-14")  # type: ignore[union-attr]
    assert {plate.state for plate in plates.values()} == {"on_shelf"}
    assert plates[wrong["plate"]].thickness_nm == length_parse("0.0870 in")
    assert LedgerLine.objects.get(plate=wrong["plate"], act="put_back").reason.startswith("misfiled")
    fresh = match["options"]
    assert fresh and min(option["number"] for option in fresh) > max(option["number"] for option in taken["options"])
    # .0720 + .0670 - .0870 = .0520 with what was really found.
    assert ("0.0520", [wrong["plate"]]) in [
        (option["predicted"]["in"], [row["plate"] for row in option["in"]]) for option in fresh
    ]
    again = api.post(f"matches/{match['id']}/take/", {"option": fresh[0]["number"]})
    assert (again.status, again.body["state"]) == (200, "taken")
    call_command("ledger_verify")


def test_a_rematch_under_one_key_is_one(api: Api, wrong: dict[str, Any]) -> None:
    body = {"plate": wrong["slip"][0]["plate"], "readings": ["0.0790 in"], "then": "rematch"}
    first, second = (api.post(f"matches/{wrong['id']}/pull-check/", body, key="press") for _ in range(2))
    assert first == second and first.body["state"] == "open"
    assert LedgerLine.objects.filter(act="put_back").count() == 1
    assert api.post(f"matches/{wrong['id']}/pull-check/", body, key="other").code == "wrong_state"


def test_looking_ahead_leaves_nothing_behind(api: Api, wrong: dict[str, Any]) -> None:
    """A rematch that is refused under the lock has changed nothing before it either."""
    before = list(LedgerLine.objects.values_list("pk"))
    assert pull(api, wrong, "1.958 in", then="rematch").code == "implausible"
    assert list(LedgerLine.objects.values_list("pk")) == before
    assert api.get(f"matches/{wrong['id']}/").body == wrong


def test_in_a_height_pack_a_thicker_plate_makes_it_taller(api: Api, owner: Person) -> None:
    window = Window("manual", *(length_parse(text) for text in ("37.8 mm", "38.2 mm", "38.0 mm")), "p. 1")
    shelf = shelf_of(owner, measures="height", window=window)
    shelf.stock("1.60 mm")
    ask = question("38.46 mm", ["2.00 mm"] * 5, max_changes=1, take=True, accept_marginal=True)
    taken = api.post("matches/", ask).body
    assert taken["options"][0]["predicted"]["mm"] == "38.060"
    assert pull(api, taken, "1.61 mm").body["options"][0]["predicted"]["mm"] == "38.070"


@pytest.mark.parametrize(("reading", "changes"), [("0.0720 in", 2), ("0.0880 in", 4)])
def test_query_counts_do_not_grow_with_the_slip(api: Api, shelf: Shelf, reading: str, changes: int) -> None:
    shelf.stock(*["0.0771 in"] * 6)
    taken = take(api, reading, changes)
    counts = []
    for more in ({}, {"then": "rematch", "agreed": True}):
        with CaptureQueriesContext(connection) as captured:
            assert pull(api, taken, "0.0870 in" if more else "0.0772 in", **more).status == 200
        counts.append(len(captured))
    assert counts == QUERIES


def test_an_answer_to_a_mismatch_that_is_none_just_agrees(api: Api, wrong: dict[str, Any]) -> None:
    for then in ("keep", "rematch"):
        match = pull(api, wrong, "0.0772 in", then=then).body
        assert (match["state"], match["slip"][0]["thickness"]["in"]) == ("taken", "0.0772")


def test_what_no_plate_of_its_kind_can_be_needs_a_word(api: Api, wrong: dict[str, Any]) -> None:
    assert pull(api, wrong, "1.958 in", then="keep").code == "implausible"
    assert pull(api, wrong, "0.0900 in", then="keep").code == "implausible"
    assert pull(api, wrong, "0.0900 in", then="keep", agreed=True).status == 200


# --- limits, gauges, people ------------------------------------------------------------------------------------


def test_a_plate_beyond_a_limit_never_goes_in(api: Api, shelf: Shelf) -> None:
    """The taper that was not seen at one point: .0768 to .0775 where the kind allows .0005."""
    shelf.kind.taper_limit_nm = length_parse("0.0005 in")
    shelf.kind.save()
    shelf.stock("0.0771 in", "0.0772 in")
    taken = take(api)
    for then in (None, "keep"):
        reply = pull(api, taken, ["0.0768 in", "0.0775 in"], **({"then": then} if then else {}))
        assert reply.code == "pull_mismatch"
        assert "must not go in" in reply.body["detail"] and reply.body["ways"] == ["read_again", "next_one", "rematch"]
    match = pull(api, taken, ["0.0768 in", "0.0775 in"], then="rematch").body
    assert (match["state"], match["laid"]["state"], match["laid"]["bin"]) == ("open", "quarantined", None)
    assert "beyond_taper" in {warning["code"] for warning in match["warnings"]}
    offered = {row["plate"] for option in match["options"] for row in option["in"]}
    assert offered and match["laid"]["plate"] not in offered
    call_command("ledger_verify")


@pytest.mark.parametrize(("named", "nearest", "status"), [("used", "new", 409), ("new", "used", 200)])
def test_the_condition_of_the_plate_that_is_kept_decides(
    api: Api, shelf: Shelf, named: str, nearest: str, status: int
) -> None:
    """.0760 agrees with neither .0771, the slip's, nor .0768; below .0765 no used one may go in."""
    shelf.kind.reuse_minimum_nm = length_parse("0.0765 in")
    shelf.kind.save()
    shelf.stock("0.0771 in", condition=named)
    taken = take(api)
    (other,) = shelf.stock("0.0768 in", condition=nearest)
    asked, kept = pull(api, taken, "0.0760 in"), pull(api, taken, "0.0760 in", then="keep")
    assert (asked.code, asked.body["nearest"]["plate"]) == ("pull_mismatch", str(other.pk))
    assert ("keep" in asked.body["ways"]) == (status == 200)
    assert kept.status == status
    if status == 409:
        assert "below the reuse minimum" in kept.body["detail"]
        assert kept.body["ways"] == ["read_again", "next_one", "rematch"]
        laid = pull(api, taken, "0.0760 in", then="rematch").body["laid"]
        assert laid == {"plate": taken["slip"][0]["plate"], "state": "quarantined", "bin": None}
    else:
        assert kept.body["slip"][0]["plate"] == taken["slip"][0]["plate"]


def test_the_zero_error_of_its_gauge_is_taken_off(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in")
    taken = take(api)
    assert api.post("gauges/", {"code": "M-1", "type": "micrometer"}).status == 201
    check = {"standard": "0.0770 in", "readings": ["0.0775 in"], "then": "in_force"}
    assert api.post("gauges/M-1/checks/", check).status == 201
    match = pull(api, taken, "0.0776 in", gauge="M-1").body
    assert match["slip"][0]["thickness"]["in"] == "0.0771"
    assert match["slip"][0]["pulled"]["texts"] == ["0.0776 in"]
    assert "zero_taken_off" in {warning["code"] for warning in match["warnings"]}
    assert Plate.objects.get().gauge == "M-1"
    names = [part["name"] for part in match["options"][-1]["budget"]]
    assert any("M-1" in name for name in names)


def test_a_withdrawn_gauge_is_refused(api: Api, wrong: dict[str, Any]) -> None:
    api.post("gauges/", {"code": "M-1", "type": "micrometer"})
    api.post("gauges/M-1/withdraw/", {"reason": "dropped"})
    assert pull(api, wrong, "0.0771 in", gauge="M-1").code == "gauge_withdrawn"


def test_a_second_person_agrees_where_the_record_of_an_old_plate_changes(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in", condition="used")
    taken = take(api)
    shelf.person.shop.second_person = True
    shelf.person.shop.save()
    other = PersonFactory.create(shop=shelf.person.shop, role="bench")
    assert pull(api, taken, "0.0772 in").status == 200
    assert pull(api, taken, "0.0790 in", then="keep").code == "second_person"
    assert pull(api, taken, "0.0790 in", then="keep", agreed_by=other.username).status == 200


def test_only_of_a_slip_that_is_taken(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in", "0.0770 in")
    match = api.post("matches/", question(LOOSE, FIVE)).body
    plate = match["options"][0]["in"][0]["plate"]
    body = {"plate": plate, "readings": ["0.0771 in"]}
    assert api.post(f"matches/{match['id']}/pull-check/", body).code == "wrong_state"
    taken = take(api)
    other = Plate.objects.filter(state="on_shelf").get()
    status, problem = api.post(f"matches/{taken['id']}/pull-check/", {**body, "plate": str(other.pk)})
    assert (status, problem["errors"][0]["pointer"]) == (400, "/plate")


def test_a_plate_that_was_put_back_meanwhile_is_no_longer_of_the_slip(api: Api, wrong: dict[str, Any]) -> None:
    plate = wrong["slip"][0]["plate"]
    assert api.post(f"plates/{plate}/put-back/", {"readings": ["0.0771 in"]}).status == 200
    assert pull(api, wrong, "0.0771 in").code == "wrong_state"


def test_no_other_shop_reads_our_plates(api: Api, wrong: dict[str, Any]) -> None:
    assert pull(Api(PersonFactory.create()), wrong, "0.0771 in").status == 404


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"plate": "x"}, "/plate"),
        ({"readings": []}, "/readings"),
        ({"readings": ["0.0771"]}, "/readings/0"),
        ({"readings": ["0 in"]}, "/readings/0"),
        ({"then": "hope"}, "/then"),
        ({"agreed": "yes"}, "/agreed"),
        ({"colour": "red"}, "/colour"),
    ],
)
def test_a_body_that_cannot_be_read(api: Api, wrong: dict[str, Any], body: dict[str, Any], pointer: str) -> None:
    good = {"plate": wrong["slip"][0]["plate"], "readings": ["0.0771 in"]}
    reply = api.post(f"matches/{wrong['id']}/pull-check/", {**good, **body})
    assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, pointer)


@pytest.mark.parametrize("name", ["nobody-here", "myself"])
def test_whoever_is_named_as_second_person_is_somebody_else_here(api: Api, shelf: Shelf, name: str) -> None:
    """Wanted or not: a made-up name must not stand in the ledger."""
    shelf.stock("0.0771 in")
    match = take(api)
    agreed_by = api.person.username if name == "myself" else name
    refused = pull(api, match, "0.0771 in", agreed_by=agreed_by)
    assert (refused.status, refused.code) == (422, "second_person")
