"""What came out of one pack of a job is a candidate of its other packs, without ever touching the shelf."""

from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from plates.bench.lying import lying_on
from plates.bench.models import Match
from plates.bench.take import match_hold
from plates.catalogue.spec_models import Slot, SlotFit
from plates.catalogue.specs import SlotData, spec_make
from plates.catalogue.windows import Window
from plates.lengths import length_parse
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from shop.people.models import Person
from tests.api import Api, Reply
from tests.factories import FitFactory, KindFactory, PersonFactory, pack
from tests.gauges.test_api import HIGH
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

#: One thick one among five: it goes out for the one .0870 on the shelf.
GIVES = ["0.0770 in", "0.0770 in", "0.0770 in", "0.0770 in", "0.0771 in"]
#: Five thin ones, too loose: the .0771 in place of one of them gives .0539.
WANTS = ["0.0670 in"] * 5
LOOSE = "0.0640 in"
#: Five thick ones, too tight: the .0771 in place of one of them gives .0439.
THICK = ["0.0870 in"] * 5
TIGHT = "0.0340 in"


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def given(
    api: Api,
    shelf: Shelf,
    fate: str = "pack",
    steels: Any = None,
    job: str = "J-1",
    gauge_of_plates: str = "",
    **more: Any,
) -> Any:
    """A pack out of which one of .0771 comes, and gets this fate: with what is asked of it, the match after that."""
    if not shelf.kind.fit.kinds.filter(code="STEEL-87").exists():
        KindFactory.create(fit=shelf.steels, code="STEEL-87", nominal_nm=length_parse("0.087 in"))
    shelf.stock("0.0871 in")
    entries = [{"thickness": text, "must_go": text == "0.0771 in"} for text in GIVES]
    ask = question("0.0600 in", steels or entries, max_changes=1, job=job, take=True, plates_gauge=gauge_of_plates)
    match = api.post("matches/", ask).body
    assert (match["state"], [row["thickness"]["in"] for row in match["outs"]]) == ("taken", ["0.0771"])
    out = {"slot": "steels", "thickness": "0.0771 in", "fate": fate, **more}
    reply = api.post(f"matches/{match['id']}/outs/", {"outs": [out]})
    assert reply.status == 200, reply
    return reply.body


def wanted(api: Api, job: str | None = "J-1", **more: Any) -> Any:
    reply = api.post("matches/", question(LOOSE, WANTS, **({"job": job} if job else {}), **more))
    assert reply.status == 201, reply
    return reply.body


def sources(match: Any) -> list[str]:
    return [row["source"] for option in match["options"] for row in option["in"]]


def act(api: Api, match: Any, name: str, key: str | None = None, **body: Any) -> Reply:
    return api.post(f"matches/{match['id']}/{name}/", body, key=key)


def used_by(api: Api, giver: Any) -> int | None:
    (row,) = api.get(f"matches/{giver['id']}/").body["outs"]
    found: int | None = row["used_by"]
    return found


# --- which are candidates --------------------------------------------------------------------------------------


def test_another_pack_of_the_job_is_offered_it(api: Api, shelf: Shelf) -> None:
    giver = given(api, shelf)
    match = wanted(api)
    (option,) = match["options"]
    (row,) = option["in"]
    assert (option["way"], option["changes"], option["predicted"]["in"]) == ("ordinary", 1, "0.0539")
    assert (row["plate"], row["bin"], row["kind"]) == (None, None, None)
    assert row["source"] == f"out of match {giver['number']}"
    built = giver["option_taken"]
    assert row["out_of"] == {"match": giver["id"], "number": giver["number"], "option": built, "row": 0}
    assert LedgerLine.objects.filter(act="received").count() == 1  # the .0871 alone ever lay on the shelf


@pytest.mark.parametrize(
    ("fate", "more", "job", "expected"),
    [
        ("pack", {}, "J-1", True),
        ("pack", {}, "J-2", False),
        ("pack", {}, None, False),
        ("pack", {"to_job": "J-2"}, "J-2", True),
        ("pack", {"to_job": "J-2"}, "J-1", False),
        ("job", {}, "J-1", False),
        ("customer", {}, "J-1", False),
    ],
)
def test_of_its_job_or_of_the_one_named_for_it(
    api: Api, shelf: Shelf, fate: str, more: dict[str, str], job: str | None, expected: bool
) -> None:
    given(api, shelf, fate, **more)
    assert bool(sources(wanted(api, job))) is expected


def test_never_of_another_shop(api: Api, shelf: Shelf) -> None:
    given(api, shelf)
    other = PersonFactory.create()
    shelf_of(other)
    assert sources(wanted(Api(other))) == []


def test_not_of_the_pack_that_it_came_out_of(api: Api, shelf: Shelf) -> None:
    giver = given(api, shelf)
    opened = act(api, giver, "final", readings=["0.0640 in"] * 3, method="feeler").body
    assert opened["state"] == "open" and opened["verdict"] == "high"
    assert sources(opened) == []


def test_a_fate_that_was_told_before_says_nothing_of_where_it_lies_now(api: Api, shelf: Shelf) -> None:
    giver = Match.objects.get(pk=given(api, shelf)["id"])
    del giver.outs[0]["used_by"]
    giver.save()
    assert sources(wanted(api)) == []


def other_spec(shelf: Shelf, **slot: Any) -> None:
    """A pack spec of another unit, in which the steels are of this kind."""
    fit = slot.pop("fit", shelf.steels)
    spec = pack(shelf.person, fit, shelf.frictions, code="OTHER")
    Slot.objects.filter(spec=spec, name="steels").update(**slot)


@pytest.mark.parametrize(
    ("slot", "more", "expected"),
    [
        ({}, {}, True),
        ({"material": "steel, hardened"}, {}, False),
        ({"reuse_minimum_nm": length_parse("0.0772 in")}, {}, False),
        ({"reuse_minimum_nm": length_parse("0.0771 in")}, {}, True),
        ({"cone_limit_nm": length_parse("0.003 in")}, {"cone": "0.004 in"}, False),
        ({"cone_limit_nm": length_parse("0.003 in")}, {"cone": "0.003 in"}, True),
        ({"thickest_nm": length_parse("0.0770 in")}, {}, False),
        ({}, {"hot_spot": True}, False),
    ],
)
def test_the_limits_of_the_slot_that_it_goes_into(
    api: Api, shelf: Shelf, slot: dict[str, Any], more: dict[str, Any], expected: bool
) -> None:
    other_spec(shelf, nominal_nm=length_parse("0.087 in"), **slot)
    given(api, shelf, **more)
    match = api.post("matches/", question(TIGHT, THICK, spec="OTHER", job="J-1")).body
    assert bool(sources(match)) is expected


def test_what_was_seen_in_the_pack_bars_it_too(api: Api, shelf: Shelf) -> None:
    entries: list[Any] = [*GIVES[:4], {"thickness": "0.0771 in", "must_go": True, "hot_spot": True}]
    given(api, shelf, steels=entries)
    assert sources(wanted(api)) == []


def test_a_further_proven_fit_makes_it_a_substitute_and_no_fit_none(api: Api, shelf: Shelf) -> None:
    other = FitFactory.create(shop=shelf.person.shop)
    other_spec(shelf, fit=other)
    given(api, shelf)
    ask = question(LOOSE, WANTS, spec="OTHER", job="J-1")
    assert sources(api.post("matches/", ask).body) == []
    slot = Slot.objects.get(spec__code="OTHER", name="steels")
    SlotFit.objects.create(shop_id=slot.shop_id, slot=slot, fit=shelf.steels)
    assert [option["way"] for option in api.post("matches/", ask).body["options"]] == ["substitute"]


def test_through_a_second_pack_it_keeps_its_own_fit(api: Api, shelf: Shelf) -> None:
    """It goes into OTHER as a substitute, and comes out of it as what it is: no plate of OTHER's own fit."""
    other = FitFactory.create(shop=shelf.person.shop)
    other_spec(shelf, fit=other)
    slot = Slot.objects.get(spec__code="OTHER", name="steels")
    SlotFit.objects.create(shop_id=slot.shop_id, slot=slot, fit=shelf.steels)
    given(api, shelf)
    second = api.post("matches/", question(LOOSE, WANTS, spec="OTHER", job="J-1", take=True)).body
    assert second["state"] == "taken"
    KindFactory.create(fit=other, code="OTHER-87", nominal_nm=length_parse("0.087 in"))
    api.post("plates/", {"kind": "OTHER-87", "readings": ["0.0870 in"]})
    opened = act(api, second, "final", readings=["0.0640 in"] * 3, method="feeler").body
    thick = next(
        one for one in opened["options"] if [row["thickness"]["in"] for row in one["out"]] == ["0.0771"]
    )
    taken = act(api, opened, "take", option=thick["number"]).body
    out = {"slot": "steels", "thickness": "0.0771 in", "fate": "pack"}
    assert act(api, taken, "outs", outs=[out]).status == 200
    (one,) = lying_on(shop_id=shelf.person.shop_id, job="J-1")
    assert (one.number, one.interchange.fit_id) == (taken["number"], shelf.steels.pk)


def test_one_at_book_size_carries_its_doubt(api: Api, shelf: Shelf) -> None:
    KindFactory.create(fit=shelf.steels, code="STEEL-87", nominal_nm=length_parse("0.087 in"))
    shelf.stock("0.0870 in")
    giver = api.post(
        "matches/", question("0.0640 in", {"steels": {"nominal": True}}, take=True, accept_marginal=True, job="J-1")
    ).body
    act(api, giver, "outs", outs=[{"slot": "steels", "thickness": "0.0770 in", "fate": "pack"}])
    (option,) = wanted(api)["options"]
    assert "a plate at book size" in {part["name"] for part in option["budget"]}


@pytest.mark.parametrize(("used_ok", "expected"), [(None, True), (True, True), (False, False)])
def test_it_ran(api: Api, shelf: Shelf, used_ok: bool | None, expected: bool) -> None:
    given(api, shelf)
    assert bool(sources(wanted(api, used_ok=used_ok))) is expected


def test_a_friction_that_ran_only_where_used_ones_are_allowed(api: Api, shelf: Shelf) -> None:
    def spec(code: str) -> None:
        slots = [
            SlotData("frictions", "friction", shelf.frictions, 2, lined_faces=2, swap=True),
            SlotData("steels", "steel", shelf.steels, 2, nominal_nm=length_parse("0.077 in")),
        ]
        window = Window("manual", *(length_parse(f"{text} in") for text in ("0.010", "0.030", "0.020")), "Book, page 1")
        spec_make(person=shelf.person, code=code, title=code, measures="gap", window=window, slots=slots)

    spec("FRICTIONS")
    kind = KindFactory.create(
        fit=shelf.frictions, code="F-90", role="friction", lined_faces=2, nominal_nm=length_parse("0.09 in")
    )
    assert api.post("plates/", {"kind": kind.code, "readings": ["0.0900 in"]}).status == 201
    installed = {"frictions": [{"thickness": "0.0801 in", "must_go": True}, "0.0800 in"]}
    ask = question("0.0300 in", installed, spec="FRICTIONS", job="J-1", take=True)
    giver = api.post("matches/", ask).body
    assert giver["state"] == "taken"
    act(api, giver, "outs", outs=[{"slot": "frictions", "thickness": "0.0801 in", "fate": "pack"}])
    ask = question("0.0350 in", {"frictions": ["0.0700 in"] * 2}, spec="FRICTIONS", job="J-1")
    assert sources(api.post("matches/", ask).body) == []
    assert set(sources(api.post("matches/", {**ask, "used_ok": True}).body)) == {f"out of match {giver['number']}"}


def test_what_lies_on_the_bench_goes_before_an_equal_one_on_the_shelf(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in")
    giver = given(api, shelf)
    assert sources(wanted(api))[0] == f"out of match {giver['number']}"


# --- take, hold, release ---------------------------------------------------------------------------------------


def test_taken_it_is_used_and_offered_no_more(api: Api, shelf: Shelf) -> None:
    giver = given(api, shelf)
    match = wanted(api)
    taken = act(api, match, "take", option=1).body
    assert (taken["state"], taken["slip"][0]["plate"]) == ("taken", None)
    assert used_by(api, giver) == match["number"]
    assert sources(wanted(api)) == []
    assert LedgerLine.objects.filter(act="taken").count() == 1  # the .0871 that the giver took
    call_command("ledger_verify")


def test_taken_in_the_same_breath_as_asked(api: Api, shelf: Shelf) -> None:
    giver = given(api, shelf)
    match = wanted(api, take=True)
    assert (match["state"], used_by(api, giver)) == ("taken", match["number"])


def test_for_a_job_that_is_not_there_yet(api: Api, shelf: Shelf) -> None:
    given(api, shelf, to_job="J-NEW")
    assert wanted(api, "J-NEW", take=True)["state"] == "taken"
    assert api.get("matches/", job="J-NEW").body["count"] == 1


def test_the_same_key_takes_it_once(api: Api, shelf: Shelf) -> None:
    given(api, shelf)
    match = wanted(api)
    first, second = (act(api, match, "take", key="press", option=1) for _ in range(2))
    assert first == second and first.status == 200


def test_nobody_uses_it_twice_and_who_comes_late_sees_fresh_options(api: Api, shelf: Shelf) -> None:
    given(api, shelf)
    first, second = wanted(api), wanted(api)
    assert act(api, first, "take", option=1).status == 200
    reply = act(api, second, "take", option=1)
    assert (reply.status, reply.code, reply.body["options"]) == (409, "stock_moved", [])
    shelf.stock("0.0772 in")
    reply = act(api, wanted(api), "take", option=1)
    assert reply.status == 200


def test_another_like_it_is_no_stand_in(api: Api, shelf: Shelf) -> None:
    """Options that name their source are not equal in every figure: the person is to see where the plate lies."""
    given(api, shelf)
    first, second = wanted(api), wanted(api)
    act(api, first, "take", option=1)
    again = given(api, shelf)
    reply = act(api, second, "take", option=1)
    assert reply.code == "stock_moved"
    assert sources(reply.body) == [f"out of match {again['number']}"]


def test_a_hold_holds_it_and_a_release_frees_it(api: Api, shelf: Shelf) -> None:
    giver = given(api, shelf)
    match = wanted(api)
    held = act(api, match, "hold", option=1)
    assert (held.status, held.body["state"]) == (200, "held")
    assert sources(wanted(api)) == []
    assert used_by(api, giver) is None
    released = act(api, match, "release").body
    assert (released["state"], len(released["options"])) == ("open", 1)
    assert len(sources(wanted(api))) == 1


def test_what_is_held_is_taken_by_who_holds_it(api: Api, shelf: Shelf) -> None:
    giver = given(api, shelf)
    match = wanted(api)
    act(api, match, "hold", option=1)
    assert act(api, match, "take", option=1).body["state"] == "taken"
    assert used_by(api, giver) == match["number"]


def test_who_holds_one_option_and_takes_another_frees_what_he_held(api: Api, shelf: Shelf) -> None:
    """One change with the .0811 gives .0499; two, the .0771 and the .0709, give .0500."""
    shelf.stock("0.0811 in", "0.0709 in")
    given(api, shelf)
    match = wanted(api)
    shelf_only, with_lying = match["options"]
    assert ([row["out_of"] for row in shelf_only["in"]], len(with_lying["in"])) == ([None], 2)
    assert act(api, match, "hold", option=with_lying["number"]).status == 200
    assert not lying_on(shop_id=shelf.person.shop_id, job="J-1")
    assert act(api, match, "take", option=shelf_only["number"]).status == 200
    assert len(lying_on(shop_id=shelf.person.shop_id, job="J-1")) == 1
    call_command("ledger_verify")


def test_a_hold_runs_out(api: Api, shelf: Shelf, owner: Person) -> None:
    giver = given(api, shelf)
    match = wanted(api)
    match_hold(
        person=owner, match_id=UUID(match["id"]), option=1, run=lambda do: do(), at=timezone.now() - timedelta(days=1)
    )
    late = wanted(api)
    assert len(sources(late)) == 1
    assert act(api, late, "take", option=1).status == 200
    assert used_by(api, giver) == late["number"]


def test_it_may_be_moved_between_look_and_lock(api: Api, shelf: Shelf) -> None:
    giver = Match.objects.get(pk=given(api, shelf)["id"])
    match = wanted(api)
    giver.outs[0]["thickness_nm"] -= 2_540
    giver.save()
    reply = act(api, match, "take", option=1)
    assert reply.code == "stock_moved"
    assert reply.body["options"][0]["in"][0]["thickness"]["in"] == "0.0770"


# --- one of ours -----------------------------------------------------------------------------------------------


@pytest.fixture
def ours(api: Api, shelf: Shelf) -> tuple[Any, str]:
    """A match whose .0771 out of our stock came out again, and lies on the bench; with that plate."""
    (plate,) = shelf.stock("0.0771 in")
    match = wanted(api, take=True)
    assert match["state"] == "taken"
    KindFactory.create(fit=shelf.steels, code="STEEL-87", nominal_nm=length_parse("0.087 in"))
    shelf.stock("0.0871 in")
    opened = act(api, match, "final", readings=["0.0640 in"] * 3, method="feeler").body
    number = next(
        one["number"] for one in opened["options"] if [row["thickness"]["in"] for row in one["out"]] == ["0.0771"]
    )
    taken = act(api, opened, "take", option=number).body
    out = {"slot": "steels", "thickness": "0.0771 in", "fate": "pack"}
    assert act(api, taken, "outs", outs=[out]).status == 200
    return taken, str(plate.pk)


def test_one_of_ours_is_named_and_moves_with_the_take(api: Api, shelf: Shelf, ours: tuple[Any, str]) -> None:
    giver, plate = ours
    match = wanted(api)
    (row,) = match["options"][0]["in"]
    assert (row["plate"], row["bin"], row["kind"]) == (plate, None, shelf.kind.code)
    assert row["source"] == f"out of match {giver['number']}"
    taken = act(api, match, "take", option=1).body
    assert taken["slip"][0]["plate"] == plate
    stored = Plate.objects.get(pk=plate)
    assert (stored.state, str(stored.match_id)) == ("taken", match["id"])
    assert [(line.act, line.delta, str(line.match_id)) for line in stored.lines.order_by("seq")][-2:] == [
        ("taken", -1, giver["id"]),
        ("taken", 0, match["id"]),
    ]
    assert api.get("ledger/", match=match["id"]).body["count"] == 1
    call_command("ledger_verify")


def test_held_one_of_ours_stays_on_record_where_it_was(api: Api, ours: tuple[Any, str]) -> None:
    plate = ours[1]
    match = wanted(api)
    assert act(api, match, "hold", option=1).body["state"] == "held"
    assert (Plate.objects.get(pk=plate).state, sources(wanted(api))) == ("taken", [])
    assert act(api, match, "take", option=1).status == 200
    call_command("ledger_verify")


def test_sold_or_scrapped_meanwhile_it_is_gone(api: Api, ours: tuple[Any, str]) -> None:
    match = wanted(api)
    assert api.post(f"plates/{ours[1]}/scrap/", {"reason": "dropped"}).status == 200
    assert act(api, match, "take", option=1).code == "stock_moved"
    assert sources(wanted(api)) == []


def test_new_while_it_never_ran(api: Api, ours: tuple[Any, str]) -> None:
    assert len(sources(wanted(api, used_ok=False))) == 1
    act(api, ours[0], "final", readings=["0.0490 in"] * 3, method="feeler")
    assert Match.objects.get(pk=ours[0]["id"]).state == "closed"
    assert sources(wanted(api, used_ok=False)) == []


def test_no_pull_check_where_there_is_no_bin(api: Api, ours: tuple[Any, str]) -> None:
    match = wanted(api, take=True)
    reply = act(api, match, "pull-check", plate=ours[1], readings=["0.0771 in"])
    assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, "/plate")


@pytest.fixture
def both_taken(api: Api, shelf: Shelf, ours: tuple[Any, str]) -> Any:
    """A match that took ours and a strange one off the bench, and one from the shelf."""
    stranger = given(api, shelf)
    shelf.stock("0.0760 in")
    steels = [{"thickness": "0.0670 in", "must_go": row < 3} for row in range(5)]
    ask = question("0.0800 in", steels, job="J-1", max_changes=3)
    match = api.post("matches/", ask).body
    option = next(one for one in match["options"] if len({row["source"] for row in one["in"]}) == 3)
    taken = act(api, match, "take", option=option["number"]).body
    assert taken["state"] == "taken"
    return taken, stranger


def test_released_it_lies_there_again(api: Api, shelf: Shelf, ours: tuple[Any, str], both_taken: Any) -> None:
    taken, stranger = both_taken
    shelved = next(row["plate"] for row in taken["slip"] if row["out_of"] is None)
    api.post(f"plates/{shelved}/put-back/", {"readings": ["0.0760 in"]})
    released = act(api, taken, "release")
    assert (released.status, released.body["state"], released.body["slip"]) == (200, "open", [])
    assert (used_by(api, stranger), Match.objects.get(pk=ours[0]["id"]).outs[-1]["used_by"]) == (None, None)
    plate = Plate.objects.get(pk=ours[1])
    assert (plate.state, str(plate.match_id)) == ("taken", ours[0]["id"])
    assert plate.lines.order_by("-seq")[0].act == "released"
    # What is offered afresh can be taken as it is.
    fresh = next(one for one in released.body["options"] if len({row["source"] for row in one["in"]}) == 3)
    assert act(api, taken, "take", option=fresh["number"]).status == 200
    call_command("ledger_verify")


def test_one_that_went_another_way_does_not_come_back(
    api: Api, shelf: Shelf, ours: tuple[Any, str], both_taken: Any
) -> None:
    taken, stranger = both_taken
    assert api.post(f"plates/{ours[1]}/scrap/", {"reason": "dropped"}).status == 200
    assert act(api, taken, "release").status == 200
    assert used_by(api, stranger) is None
    assert Match.objects.get(pk=ours[0]["id"]).outs[-1]["used_by"] == taken["number"]
    assert [one.plate for one in lying_on(shop_id=shelf.person.shop_id, job="J-1")] == [None]
    call_command("ledger_verify")


def test_a_rematch_lays_it_back_too(api: Api, shelf: Shelf, ours: tuple[Any, str], both_taken: Any) -> None:
    taken, stranger = both_taken
    shelved = next(row["plate"] for row in taken["slip"] if row["out_of"] is None)
    body = {"plate": shelved, "readings": ["0.0750 in"], "then": "rematch", "agreed": True}
    reply = act(api, taken, "pull-check", **body)
    assert (reply.status, reply.body["state"]) == (200, "open"), reply
    assert used_by(api, stranger) is None
    assert str(Plate.objects.get(pk=ours[1]).match_id) == ours[0]["id"]
    call_command("ledger_verify")


def test_the_final_check_of_a_pack_with_it(api: Api, shelf: Shelf, both_taken: Any) -> None:
    taken, stranger = both_taken
    opened = act(api, taken, "final", readings=["0.0700 in"] * 3, method="feeler").body
    assert opened["state"] == "open"
    entries = Match.objects.get(pk=taken["id"]).question["installed"]["steels"]
    strange = [entry for entry in entries if entry["fit"] and not entry["plate"]]
    assert [entry["fit"] for entry in strange] == [str(shelf.steels.pk)]
    assert used_by(api, stranger) == taken["number"]


# --- a gauge found wrong ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("closed", [False, True])
@pytest.mark.parametrize("when", ["lying", "taken", "built in"])
def test_what_was_read_with_a_wrong_gauge_is_put_right_wherever_it_is(
    api: Api, shelf: Shelf, when: str, closed: bool
) -> None:
    """MIC-1 reads .0003 high. The pack that gave it was read with it; the one that takes it after that was not."""
    for code in ("MIC-1", "MIC-2"):
        assert api.post("gauges/", {"code": code, "type": "micrometer"}).status == 201
    giver = given(api, shelf, gauge_of_plates="MIC-1")
    if closed:
        assert act(api, giver, "final", readings=["0.0500 in"] * 3, method="feeler").body["state"] == "closed"
    if when == "lying":
        check = api.post("gauges/MIC-1/checks/", HIGH).body
        assert api.post("gauges/MIC-1/correct/", {"check": check["id"]}).status == 200
        match = wanted(api)
        assert match["options"][0]["in"][0]["thickness"]["in"] == "0.0768"
        return
    match = wanted(api, take=True)
    assert match["slip"][0]["thickness"]["in"] == "0.0771"
    if when == "built in":
        match = act(api, match, "final", readings=["0.0640 in"] * 3, method="feeler").body
        assert match["state"] == "open"
    check = api.post("gauges/MIC-1/checks/", HIGH).body
    assert api.post("gauges/MIC-1/correct/", {"check": check["id"]}).status == 200
    after = Match.objects.get(pk=match["id"])
    rows = after.slip if when == "taken" else after.question["installed"]["steels"]
    assert length_parse("0.0768 in") in {row["thickness_nm"] for row in rows}


# --- how many queries ------------------------------------------------------------------------------------------


def test_many_on_a_bench_take_two_queries(api: Api, shelf: Shelf, ours: tuple[Any, str]) -> None:
    counts = []
    for _ in range(2):
        given(api, shelf)
        with CaptureQueriesContext(connection) as captured:
            assert lying_on(shop_id=shelf.person.shop_id, job="J-1")
        counts.append(len(captured))
    assert counts == [2, 2]
