"""What came out of a pack gets its fate, once, and nothing stands twice."""

import re
import uuid
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.bench.slip.outs import Out, match_outs
from plates.lengths import length_parse
from plates.stock.booking import KindsAndBins
from plates.stock.findings import Reading
from plates.stock.ledger_models import LedgerLine
from plates.stock.life import plate_put_back
from plates.stock.models import Plate
from shop.errors import Malformed
from shop.people.models import Person
from tests.api import Api, Reply
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

#: Two go out, a new one for each: .0748 is worn, .0766 goes back to the bin that spans it.
STEELS = ["0.0748 in", "0.0766 in", "0.0770 in", "0.0770 in", "0.0770 in"]


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    made = shelf_of(owner)
    BinFactory.create(fit=made.steels, code="B-14")
    BinFactory.create(fit=made.steels, code="B-13", from_nm=length_parse("0.0740 in"), to_nm=length_parse("0.0765 in"))
    return made


def taken(api: Api, shelf: Shelf, steels: Any = None, **more: Any) -> dict[str, Any]:
    """.0630 + .0748 + .0766 - 2 × .0820 = .0504."""
    KindFactory.create(fit=shelf.steels, code="STEEL-82", nominal_nm=length_parse("0.082 in"))
    shelf.stock("0.0820 in", "0.0820 in")
    ask = question("0.0630 in", steels or STEELS, max_changes=2, job="J-1", **more)
    match = api.post("matches/", ask).body
    (option,) = [one for one in match["options"] if one["changes"] == 2]
    match = api.post(f"matches/{match['id']}/take/", {"option": option["number"]}).body
    assert sorted(one["thickness"]["in"] for one in match["outs"]) == ["0.0748", "0.0766"]
    assert [one["fate"] for one in match["outs"]] == [None, None]
    return dict(match)


@pytest.fixture
def match(api: Api, shelf: Shelf) -> dict[str, Any]:
    return taken(api, shelf)


def out(api: Api, match: dict[str, Any], *outs: dict[str, Any], key: str | None = None) -> Reply:
    return api.post(f"matches/{match['id']}/outs/", {"outs": list(outs)}, key=key)


def worn(fate: str, **more: Any) -> dict[str, Any]:
    return {"slot": "steels", "thickness": "0.0748 in", "fate": fate, **more}


def good(fate: str, **more: Any) -> dict[str, Any]:
    return {"slot": "steels", "thickness": "0.0766 in", "fate": fate, **more}


def test_to_the_shelf_it_is_read_and_binned(api: Api, shelf: Shelf, match: dict[str, Any]) -> None:
    status, after = out(api, match, good("shelf"), worn("scrap"))
    assert (status, after["state"]) == (200, "taken")
    told = {one["thickness"]["in"]: one for one in after["outs"]}
    assert (told["0.0766"]["fate"], told["0.0766"]["bin"]) == ("shelf", "B-14")
    assert (told["0.0748"]["fate"], told["0.0748"]["plate"]) == ("scrap", None)
    plate = Plate.objects.get(pk=told["0.0766"]["plate"])
    assert (plate.state, plate.condition, plate.source) == ("on_shelf", "used", f"out of match {match['number']}")
    assert (plate.thickness_nm, plate.kind, plate.u_nm) == (length_parse("0.0766 in"), shelf.kind, 0.0)
    (line,) = LedgerLine.objects.filter(plate=plate)
    assert (line.act, str(line.match_id), line.job and line.job.code) == ("received", match["id"], "J-1")
    assert line.readings == ["0.0766 in"]
    assert api.get(f"matches/{match['id']}/").body["outs"] == after["outs"]
    call_command("ledger_verify")


def test_its_reading_counts_where_it_is_read_again(api: Api, match: dict[str, Any]) -> None:
    after = out(api, match, good("shelf", readings=["0.0767 in", "0.0768 in"], gauge="M-9", cone="0.001 in")).body
    plate = Plate.objects.get(pk=after["outs"][0]["plate"])
    assert (plate.thickness_nm, plate.spread_nm, plate.gauge) == (1_949_450, 2_540, "M-9")
    assert plate.lines.get().findings == {"cone_nm": 25_400}
    assert [(one["code"], one["pointer"]) for one in after["warnings"]] == [("gauge_unknown", "/outs/0")]


@pytest.mark.parametrize("fate", ["job", "pack", "scrap", "customer"])
def test_what_never_was_ours_is_only_recorded(api: Api, match: dict[str, Any], fate: str) -> None:
    before = LedgerLine.objects.count()
    after = out(api, match, worn(fate, **({"to_job": "J-2"} if fate == "pack" else {}))).body
    (told,) = [one for one in after["outs"] if one["fate"]]
    assert (told["fate"], told["plate"], told["by"]) == (fate, None, api.person.username)
    assert told["to_job"] == ("J-2" if fate == "pack" else None)
    assert LedgerLine.objects.count() == before


def test_each_has_one_fate(api: Api, match: dict[str, Any]) -> None:
    assert out(api, match, worn("job")).status == 200
    reply = out(api, match, worn("scrap"))
    assert (reply.status, reply.code) == (422, "not_out")
    assert reply.body["errors"][0]["pointer"] == "/outs/0/thickness"
    assert "steels 0.0766 in" in reply.body["detail"]
    assert out(api, match, good("job"), good("job")).body["errors"][0]["pointer"] == "/outs/1/thickness"
    assert out(api, match, good("job")).status == 200
    assert "nothing" in out(api, match, good("job")).body["detail"]


@pytest.mark.parametrize("other", [{"slot": "frictions"}, {"slot": "?"}, {"thickness": "0.0770 in"}])
def test_what_did_not_come_out_has_none(api: Api, match: dict[str, Any], other: dict[str, str]) -> None:
    assert out(api, match, {**worn("job"), **other}).code == "not_out"


def test_all_of_them_or_none(api: Api, match: dict[str, Any]) -> None:
    before = LedgerLine.objects.count()
    assert out(api, match, good("shelf"), {**worn("shelf"), "thickness": "0.0749 in"}).code == "not_out"
    reply = out(api, match, good("shelf"), worn("shelf", readings=["0.0948 in"], kind="STEEL-82"))
    assert (reply.code, reply.body["errors"][0]["pointer"]) == ("implausible", "/outs/1/readings")
    assert LedgerLine.objects.count() == before
    assert api.get(f"matches/{match['id']}/").body == match


def test_the_same_key_twice_is_once(api: Api, match: dict[str, Any]) -> None:
    first, second = (out(api, match, good("shelf"), key="press") for _ in range(2))
    assert first == second and first.status == 200
    assert Plate.objects.filter(condition="used").count() == 1


def test_of_a_closed_match_too_but_not_of_one_that_is_only_asked(api: Api, match: dict[str, Any]) -> None:
    assert api.post(f"matches/{match['id']}/final/", {"readings": ["0.0504 in"], "method": "feeler"}).status == 200
    assert out(api, match, good("shelf")).body["state"] == "closed"
    asked = api.post("matches/", question("0.0630 in", STEELS)).body
    assert asked["outs"] == []
    assert out(api, asked, good("job")).code == "wrong_state"


def test_after_a_final_reading_outside_what_came_out_may_still_be_told(api: Api, match: dict[str, Any]) -> None:
    opened = api.post(f"matches/{match['id']}/final/", {"readings": ["0.0640 in"], "method": "feeler"}).body
    assert opened["state"] == "open"
    assert out(api, match, good("job")).body["state"] == "open"


# --- of which kind ---------------------------------------------------------------------------------------------


def test_a_used_one_may_be_four_thou_under_its_nominal(api: Api, shelf: Shelf, match: dict[str, Any]) -> None:
    """.0748 is .0022 under .0770; with a tolerance of .0010 a new one could not be so."""
    shelf.kind.tolerance_nm = length_parse("0.001 in")
    shelf.kind.save()
    assert out(api, match, worn("shelf", condition="new")).code == "kind_needed"
    after = out(api, match, worn("shelf")).body
    told = next(one for one in after["outs"] if one["fate"])
    assert told["bin"] == "B-13"
    assert Plate.objects.get(pk=told["plate"]).kind == shelf.kind


def test_where_no_kind_is_near_it_is_asked_for(api: Api, shelf: Shelf) -> None:
    steels = ["0.0700 in", *STEELS[1:]]
    KindFactory.create(fit=shelf.steels, code="STEEL-82", nominal_nm=length_parse("0.082 in"))
    shelf.stock("0.0820 in", "0.0820 in")
    ask = question("0.0630 in", steels, max_changes=1, take=True, accept_marginal=True)
    match = api.post("matches/", ask).body
    (row,) = match["outs"]
    assert row["thickness"]["in"] == "0.0700"
    body = {"slot": "steels", "thickness": "0.0700 in", "fate": "shelf"}
    reply = out(api, match, body)
    assert (reply.status, reply.code, reply.body["errors"][0]["pointer"]) == (422, "kind_needed", "/outs/0/kind")
    assert [one["kind"] for one in reply.body["candidates"]] == [shelf.kind.code, "STEEL-82"]
    assert out(api, match, {**body, "kind": shelf.kind.code}).code == "implausible"
    assert out(api, match, {**body, "kind": shelf.kind.code, "confirm": True}).status == 200


def test_two_kinds_as_near_are_not_guessed(api: Api, shelf: Shelf, match: dict[str, Any]) -> None:
    KindFactory.create(fit=shelf.steels, code="SAME-77")
    reply = out(api, match, good("shelf"))
    assert reply.code == "kind_needed"
    assert {one["kind"] for one in reply.body["candidates"]} == {shelf.kind.code, "SAME-77"}
    assert out(api, match, good("shelf", kind="SAME-77")).status == 200


def test_never_of_a_kind_for_another_place(api: Api, match: dict[str, Any]) -> None:
    fit = FitFactory.create(shop=api.person.shop)
    for kind in (KindFactory.create(fit=fit), KindFactory.create(fit=fit, role="friction", lined_faces=2)):
        reply = out(api, match, good("shelf", kind=kind.code))
        assert (reply.code, reply.body["errors"][0]["pointer"]) == ("bad_figures", "/outs/0/kind")
    reply = out(api, match, good("shelf", kind="NO-SUCH"))
    assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, "/outs/0/kind")
    reply = out(api, match, good("shelf", bin="NO-SUCH"))
    assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, "/outs/0/bin")


# --- limits and people -----------------------------------------------------------------------------------------


def test_one_below_its_reuse_minimum_is_quarantined(api: Api, shelf: Shelf, match: dict[str, Any]) -> None:
    shelf.kind.reuse_minimum_nm = length_parse("0.0755 in")
    shelf.kind.save()
    after = out(api, match, worn("shelf")).body
    told = next(one for one in after["outs"] if one["fate"])
    assert told["bin"] is None
    assert Plate.objects.get(pk=told["plate"]).state == "quarantined"
    assert "below_reuse_minimum" in {one["code"] for one in after["warnings"]}
    call_command("ledger_verify")


def test_what_was_seen_on_it_in_the_pack_goes_with_it(api: Api, shelf: Shelf) -> None:
    steels = [{"thickness": "0.0748 in", "must_go": True, "hot_spot": True, "cone": "0.002 in"}, *STEELS[1:]]
    match = taken(api, shelf, steels)
    told = next(one for one in out(api, match, worn("shelf")).body["outs"] if one["fate"])
    plate = Plate.objects.get(pk=told["plate"])
    assert plate.lines.get().findings == {"cone_nm": 50_800, "hot_spot": True}
    assert plate.state == "quarantined"


@pytest.mark.parametrize("again", [False, True])
def test_a_hot_spot_of_what_came_out_first_goes_with_it(api: Api, shelf: Shelf, again: bool) -> None:
    """The pack came out loose, is open again, and perhaps another option of it is built by now."""
    match = taken(api, shelf, [{"thickness": "0.0748 in", "must_go": True, "hot_spot": True}, *STEELS[1:]])
    shelf.stock("0.0920 in")
    opened = api.post(f"matches/{match['id']}/final/", {"readings": ["0.0605 in"] * 3, "method": "feeler"}).body
    assert opened["state"] == "open"
    if again:
        number = opened["options"][0]["number"]
        assert api.post(f"matches/{match['id']}/take/", {"option": number}).body["state"] == "taken"
    told = [one for one in out(api, match, worn("shelf"), good("shelf")).body["outs"] if one["fate"]]
    assert {one["thickness"]["in"]: Plate.objects.get(pk=one["plate"]).state for one in told} == {
        "0.0748": "quarantined",
        "0.0766": "on_shelf",
    }


def test_a_second_person_where_the_shop_wants_one(api: Api, shelf: Shelf, match: dict[str, Any]) -> None:
    shelf.person.shop.second_person = True
    shelf.person.shop.save()
    reply = out(api, match, worn("scrap"), good("shelf"))
    assert (reply.code, reply.body["errors"][0]["pointer"]) == ("second_person", "/outs/1/agreed_by")
    other = PersonFactory.create(shop=shelf.person.shop, role="bench")
    assert out(api, match, worn("scrap"), good("shelf", agreed_by=other.username)).status == 200


def test_a_gauge_goes_with_its_readings(api: Api, match: dict[str, Any]) -> None:
    reply = out(api, match, good("shelf", gauge="M-1"))
    assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, "/outs/0/gauge")


# --- our own plates --------------------------------------------------------------------------------------------


@pytest.fixture
def again(api: Api, shelf: Shelf, match: dict[str, Any]) -> dict[str, Any]:
    """The pack came out loose: one of the two .0820 that went in comes out again for a .0920, and is told of."""
    KindFactory.create(fit=shelf.steels, code="STEEL-92", nominal_nm=length_parse("0.092 in"))
    shelf.stock("0.0920 in")
    opened = api.post(f"matches/{match['id']}/final/", {"readings": ["0.0605 in"] * 3, "method": "feeler"}).body
    option = next(
        one for one in opened["options"] if [row["thickness"]["in"] for row in one["out"]] == ["0.0820"]
    )
    return dict(api.post(f"matches/{match['id']}/take/", {"option": option["number"]}).body)


def test_a_plate_of_ours_goes_back_as_itself(api: Api, match: dict[str, Any], again: dict[str, Any]) -> None:
    before = Plate.objects.count()
    body = {"slot": "steels", "thickness": "0.0820 in", "fate": "shelf"}
    status, after = out(api, again, body)
    assert status == 200, after
    told = next(one for one in after["outs"] if one["fate"])
    assert told["plate"] in {row["plate"] for row in match["slip"]}
    plate = Plate.objects.get(pk=told["plate"])
    # It never ran: the pack was not closed.
    assert (plate.state, plate.condition, plate.match, Plate.objects.count()) == ("on_shelf", "new", None, before)
    assert [line.act for line in plate.lines.order_by("seq")] == ["received", "taken", "put_back"]
    call_command("ledger_verify")


def test_a_plate_of_ours_is_scrapped_as_itself_or_stays_with_the_job(
    api: Api, match: dict[str, Any], again: dict[str, Any]
) -> None:
    body = {"slot": "steels", "thickness": "0.0820 in", "fate": "scrap"}
    after = out(api, again, body).body
    told = next(one for one in after["outs"] if one["fate"])
    assert Plate.objects.get(pk=told["plate"]).state == "scrapped"
    assert Plate.objects.filter(state="taken").count() == 2
    call_command("ledger_verify")


def test_one_that_stays_with_the_job_is_out_for_good(
    api: Api, match: dict[str, Any], again: dict[str, Any]
) -> None:
    body = {"slot": "steels", "thickness": "0.0820 in", "fate": "job"}
    told = next(one for one in out(api, again, body).body["outs"] if one["fate"])
    assert Plate.objects.get(pk=told["plate"]).state == "taken"
    assert told["plate"] in {row["plate"] for row in match["slip"]}


def test_what_came_out_is_told_so_the_pack_is_not_asked_again_as_it_was(api: Api, match: dict[str, Any]) -> None:
    out(api, match, good("shelf"))
    body = {"plate": match["slip"][0]["plate"], "readings": ["0.0790 in"], "then": "rematch", "agreed": True}
    assert api.post(f"matches/{match['id']}/pull-check/", body).code == "wrong_state"


@pytest.mark.parametrize(
    ("outs", "pointer"),
    [
        ([], "/outs"),
        ([{"slot": "steels", "thickness": "0.0766 in"}], "/outs/0/fate"),
        ([worn("lost")], "/outs/0/fate"),
        ([worn("job", thickness="0.0748")], "/outs/0/thickness"),
        ([worn("shelf", readings=[])], "/outs/0/readings"),
        ([worn("shelf", colour="red")], "/outs/0/colour"),
        ([worn("shelf", cone="-1 in")], "/outs/0/cone"),
    ],
)
def test_a_body_that_cannot_be_read(api: Api, match: dict[str, Any], outs: list[Any], pointer: str) -> None:
    reply = out(api, match, *outs)
    assert reply.status == 400
    assert reply.body["errors"][0]["pointer"].startswith(pointer)


def test_no_other_shop_disposes_of_our_plates(api: Api, match: dict[str, Any]) -> None:
    assert out(Api(PersonFactory.create()), match, good("job")).status == 404


# --- whose it is, and whether anybody read it ------------------------------------------------------------------


def test_one_as_thick_as_ours_is_not_ours(api: Api, shelf: Shelf) -> None:
    """Pack A was closed with three of ours; pack B of the same job has old ones just as thick. Its outs are its own."""
    ours = shelf.stock("0.0800 in", "0.0800 in", "0.0800 in")
    first = api.post("matches/", question("0.0740 in", ["0.0730 in"] * 5, job="J-7", take=True)).body
    assert first["state"] == "taken" and len(first["slip"]) == 3
    done = {"readings": [first["options"][0]["predicted"]["in"] + " in"] * 3, "method": "feeler"}
    assert api.post(f"matches/{first['id']}/final/", done).body["state"] == "closed"
    shelf.stock("0.0870 in", "0.0870 in")
    second = api.post("matches/", question("0.0640 in", ["0.0800 in"] * 5, job="J-7", take=True)).body
    assert second["state"] == "taken"
    shelved = {"slot": "steels", "thickness": "0.0800 in", "fate": "shelf", "kind": shelf.kind.code, "confirm": True}
    assert api.post(f"matches/{second['id']}/outs/", {"outs": [shelved]}).status == 200
    assert set(Plate.objects.filter(pk__in=[one.pk for one in ours]).values_list("state", flat=True)) == {"taken"}


def test_what_nobody_read_is_read_before_it_lies_on_the_shelf(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0870 in")
    match = api.post("matches/", question("0.0640 in", {"steels": {"nominal": True}}, take=True, accept_marginal=True))
    assert match.body["state"] == "taken"
    shelved = {"slot": "steels", "thickness": "0.0770 in", "fate": "shelf"}
    refused = api.post(f"matches/{match.body['id']}/outs/", {"outs": [shelved]})
    assert (refused.status, refused.code) == (422, "readings_needed")
    assert refused.body["errors"][0]["pointer"] == "/outs/0/readings"
    read = {**shelved, "readings": ["0.0763 in"]}
    assert api.post(f"matches/{match.body['id']}/outs/", {"outs": [read]}).status == 200


def test_what_came_out_first_gets_its_fate_after_a_second_take(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0740 in", "0.0770 in")
    match = api.post("matches/", question("0.0640 in", ["0.0670 in"] * 5, take=True)).body
    path = f"matches/{match['id']}/"
    first = [row["thickness"]["in"] for row in match["options"][0]["out"]]
    opened = api.post(f"{path}final/", {"readings": ["0.0660 in"] * 3, "method": "feeler"}).body
    assert opened["state"] == "open" and opened["options"]
    taken = api.post(f"{path}take/", {"option": opened["options"][0]["number"]}).body
    waiting = [row["thickness"]["in"] for row in taken["outs"] if row["fate"] is None]
    assert sorted(waiting) == sorted(first + [row["thickness"]["in"] for row in taken["options"][0]["out"]])
    done = api.post(f"{path}outs/", {"outs": [{"slot": "steels", "thickness": f"{first[0]} in", "fate": "scrap"}]})
    assert done.status == 200
    assert [row["fate"] for row in done.body["outs"]].count("scrap") == 1


def test_another_job_is_named_for_another_pack_only(api: Api, match: dict[str, Any]) -> None:
    body = {"slot": "steels", "thickness": "0.0766 in", "fate": "job", "to_job": "J-9"}
    refused = api.post(f"matches/{match['id']}/outs/", {"outs": [body]})
    assert (refused.status, refused.body["errors"][0]["pointer"]) == (400, "/outs/0/to_job")


@pytest.mark.parametrize("fate", ["shelf", "job", "scrap", "customer"])
def test_the_service_itself_refuses_a_job_with_a_fate_that_takes_none(
    api: Api, match: dict[str, Any], fate: str
) -> None:
    told = Out("steels", Reading(["0.0766 in"], [length_parse("0.0766 in")]), fate, to_job="J-9")
    with pytest.raises(Malformed, match="'J-9' is the job of another pack") as refused:
        match_outs(person=api.person, match_id=uuid.UUID(match["id"]), outs=[told], run=lambda effect: effect())
    assert refused.value.errors == [("/outs/0/to_job", "goes with the fate pack only")]


@pytest.mark.parametrize("named", [False, True])
def test_kinds_and_bins_are_looked_up_once_however_many_came_out(api: Api, shelf: Shelf, named: bool) -> None:
    shelf.stock(*["0.0771 in"] * 6)
    more = {"bin": "B-13", "kind": shelf.kind.code} if named else {}
    counts = []
    for reading, changes in (("0.0568 in", 2), ("0.0600 in", 4)):
        asked = api.post("matches/", question(reading, ["0.0746 in"] * 5, max_changes=changes)).body
        (number,) = [one["number"] for one in asked["options"] if one["changes"] == changes]
        assert api.post(f"matches/{asked['id']}/take/", {"option": number}).status == 200
        body = {"slot": "steels", "thickness": "0.0746 in", "fate": "shelf", **more}
        with CaptureQueriesContext(connection) as captured:
            assert out(api, asked, *[body] * changes).status == 200
        looked = re.compile(r'FROM "plates_(kind|bin)"')
        counts.append(sum(bool(looked.search(query["sql"])) for query in captured))
    # Those of the fit; and those named by their codes.
    assert counts == [4 if named else 2] * 2


def test_the_kinds_and_bins_of_our_own_are_looked_up_once_too(api: Api, match: dict[str, Any]) -> None:
    ours = Plate.objects.filter(state="taken").values_list("pk", "fit")
    known = KindsAndBins(api.person.shop_id, {fit for _, fit in ours})
    for pk, _ in ours:
        with CaptureQueriesContext(connection) as captured:
            plate_put_back(person=api.person, plate_id=pk, reading=None, known=known)
        assert not [query["sql"] for query in captured if re.search(r'FROM "plates_(kind|bin)"', query["sql"])]
