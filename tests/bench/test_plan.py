"""Several packs planned together: most of them closed, taken all or nothing, plates going from pack to pack."""

import uuid
from typing import Any

import pytest
from django.core.management import call_command

from plates.bench.locks import Moved
from plates.bench.models import Match
from plates.bench.plan import plan as planning
from plates.catalogue.spec_models import Slot
from plates.lengths import length_parse
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from shop import gunicorn
from shop.people.models import Person
from tests.api import Api, Reply
from tests.factories import KindFactory, PersonFactory, pack
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

THIN = ["0.0670 in"] * 5


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def asked(api: Api, reading: str, steels: Any = None, **more: Any) -> dict[str, Any]:
    reply = api.post("matches/", question(reading, steels or THIN, **{"max_changes": 1, **more}))
    assert reply.status == 201, reply
    body: dict[str, Any] = reply.body
    return body


def planned(api: Api, *matches: dict[str, Any], key: str | None = None, **more: Any) -> Reply:
    return api.post("bench-plan/", {"matches": [match["id"] for match in matches], **more}, key=key)


def ins(row: dict[str, Any]) -> list[str]:
    return [one["thickness"]["in"] for one in row["option"]["in"]] if row["option"] else []


@pytest.fixture
def pair(api: Api, shelf: Shelf) -> tuple[dict[str, Any], dict[str, Any]]:
    """The first, at .0610, is closed by the .0751 (.0529) or the .0771 (.0509); the second, at .0690, by the .0771
    alone (.0589, marginal).
    """
    shelf.stock("0.0771 in", "0.0751 in")
    return asked(api, "0.0610 in"), asked(api, "0.0690 in")


def test_more_close_than_one_by_one(api: Api, pair: Any) -> None:
    status, body = planned(api, *pair)
    assert status == 200, body
    assert (body["closed"], body["changes"], body["one_by_one"]) == (2, 2, 1)
    assert (body["optimal"], body["bound"]) == (True, None)
    assert [ins(row) for row in body["plan"]] == [["0.0751"], ["0.0771"]]
    assert [row["match"] for row in body["plan"]] == [match["id"] for match in pair]
    assert body["taken"] == []


def test_a_planned_option_stands_among_those_of_its_match(api: Api, pair: Any) -> None:
    first, second = (row["option"]["number"] for row in planned(api, *pair).body["plan"])
    stored = [api.get(f"matches/{match['id']}/").body["options"] for match in pair]
    assert first == 2 and [option["number"] for option in stored[0]] == [1, 2]
    # Equal in every figure, it keeps its number.
    assert second == 1 and [option["number"] for option in stored[1]] == [1]
    again = planned(api, *pair).body
    assert [row["option"]["number"] for row in again["plan"]] == [first, second]
    assert api.post(f"matches/{pair[0]['id']}/take/", {"option": first}).status == 200


def test_an_option_of_an_earlier_plan_is_past(api: Api, shelf: Shelf, pair: Any) -> None:
    planned(api, *pair)
    shelf.stock("0.0770 in")
    body = planned(api, *pair).body
    numbers = [option["number"] for option in api.get(f"matches/{pair[0]['id']}/").body["options"]]
    assert 2 not in numbers and body["plan"][0]["option"]["number"] in numbers


def test_taken_all_at_once(api: Api, pair: Any) -> None:
    status, body = planned(api, *pair, take=True, accept_marginal=True)
    assert status == 200, body
    assert body["taken"] == [match["id"] for match in pair]
    assert [row["state"] for row in body["plan"]] == ["taken", "taken"]
    assert LedgerLine.objects.filter(act="taken").count() == 2
    assert planned(api, *pair).code == "wrong_state"
    call_command("ledger_verify")


def test_the_same_key_takes_once(api: Api, pair: Any) -> None:
    first, second = (planned(api, *pair, key="press", take=True, accept_marginal=True) for _ in range(2))
    assert first == second and first.status == 200
    assert planned(api, *pair, key="press").code == "key_reused"


def test_marginal_ones_close_and_are_not_taken_unasked(api: Api, pair: Any) -> None:
    reply = planned(api, *pair, take=True)
    assert (reply.status, reply.code) == (422, "marginal")
    assert f"match {pair[1]['number']}" in reply.body["detail"] and "take the others" in reply.body["detail"]
    assert "the others in only" in reply.body["errors"][0]["detail"]
    alone = planned(api, pair[1], take=True, only=[pair[1]["id"]])
    assert alone.code == "marginal" and "others" not in alone.body["detail"] + alone.body["errors"][0]["detail"]
    assert set(Match.objects.values_list("state", flat=True)) == {"open"}
    part = planned(api, *pair, take=True, only=[pair[0]["id"]])
    assert (part.status, part.body["taken"]) == (200, [pair[0]["id"]])
    assert [row["state"] for row in part.body["plan"]] == ["taken", "open"]


def test_one_that_cannot_be_closed_is_null(api: Api, pair: Any) -> None:
    third = asked(api, "0.0800 in")
    body = planned(api, *pair, third).body
    assert (body["closed"], body["plan"][2]["option"]) == (2, None)
    taken = planned(api, *pair, third, take=True, accept_marginal=True)
    assert [row["state"] for row in taken.body["plan"]] == ["taken", "taken", "open"]


def test_a_plan_that_closes_nothing_takes_nothing(api: Api, shelf: Shelf) -> None:
    status, body = planned(api, asked(api, "0.0800 in"), take=True)
    assert (status, body["closed"], body["taken"]) == (200, 0, [])


def test_only_what_the_plan_closes_is_taken(api: Api, pair: Any) -> None:
    third = asked(api, "0.0800 in")
    for wrong in (third["id"], str(uuid.uuid4())):
        reply = planned(api, *pair, third, take=True, only=[wrong])
        assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, "/only/0")


def test_the_plates_are_counted_first(api: Api, shelf: Shelf) -> None:
    """.0680 too loose is near a plate of the pack."""
    shelf.stock("0.1350 in")
    match = asked(api, "0.1180 in")
    assert "count_first" in {one["code"] for one in match["cautions"]}
    reply = planned(api, match, take=True, accept_marginal=True)
    assert reply.code == "count_first" and f"Match {match['number']}" in reply.body["detail"]
    assert planned(api, match, take=True, accept_marginal=True, counted=True).body["closed"] == 1


def test_held_plates_are_its_own(api: Api, pair: Any) -> None:
    """The first holds the .0771: to the second it is no candidate, and the plan gives it to the first."""
    assert api.post(f"matches/{pair[0]['id']}/hold/", {"option": 1}).status == 200
    body = planned(api, *pair).body
    assert (body["closed"], ins(body["plan"][0]), body["plan"][1]["option"]) == (1, ["0.0771"], None)
    taken = planned(api, pair[0], take=True).body
    assert taken["plan"][0]["state"] == "taken"
    assert set(Plate.objects.values_list("state", flat=True)) == {"taken", "on_shelf"}
    call_command("ledger_verify")


# --- from pack to pack -----------------------------------------------------------------------------------------


@pytest.fixture
def chain(api: Api, shelf: Shelf) -> tuple[dict[str, Any], dict[str, Any]]:
    """The .0871 on the shelf takes the place of a .0771 in the first pack, which closes the second."""
    KindFactory.create(fit=shelf.steels, code="STEEL-87", nominal_nm=length_parse("0.087 in"))
    shelf.stock("0.0871 in")
    first = asked(api, "0.0640 in", ["0.0771 in"] * 5, job="J-1")
    second = asked(api, "0.0640 in", THIN, job="J-1")
    return first, second


def test_what_comes_out_of_one_goes_into_the_other(api: Api, chain: Any) -> None:
    body = planned(api, *chain).body
    assert (body["closed"], body["one_by_one"]) == (2, 1)
    assert [ins(row) for row in body["plan"]] == [["0.0871"], ["0.0771"]]
    (row,) = body["plan"][1]["option"]["in"]
    assert (row["plate"], row["source"]) == (None, f"out of match {chain[0]['number']}")
    number = body["plan"][0]["option"]["number"]
    assert row["out_of"] == {"match": chain[0]["id"], "number": chain[0]["number"], "option": number, "row": 0}


def test_taken_it_has_its_fate_and_is_used(api: Api, chain: Any) -> None:
    assert planned(api, *chain, take=True).status == 200
    giver, taker = (api.get(f"matches/{match['id']}/").body for match in chain)
    (out,) = giver["outs"]
    assert (out["fate"], out["used_by"], out["thickness"]["in"]) == ("pack", taker["number"], "0.0771")
    assert taker["slip"][0]["source"] == f"out of match {giver['number']}"
    assert api.post("matches/", question("0.0640 in", THIN, job="J-1")).body["options"] == []
    call_command("ledger_verify")


def test_by_itself_it_waits_for_what_is_still_in_its_pack(api: Api, chain: Any) -> None:
    planned(api, *chain)
    option = api.get(f"matches/{chain[1]['id']}/").body["options"][-1]
    assert option["in"][0]["out_of"]
    reply = api.post(f"matches/{chain[1]['id']}/take/", {"option": option["number"]})
    assert reply.code == "wrong_state" and f"match {chain[0]['number']} first" in reply.body["detail"]


def test_first_the_giver_then_the_taker(api: Api, chain: Any) -> None:
    """Taken singly: once the giver is taken and its plate told to go into another pack, the planned option holds."""
    body = planned(api, *chain).body
    give, get = (row["option"]["number"] for row in body["plan"])
    assert api.post(f"matches/{chain[0]['id']}/take/", {"option": give}).status == 200
    out = {"slot": "steels", "thickness": "0.0771 in", "fate": "pack"}
    assert api.post(f"matches/{chain[0]['id']}/outs/", {"outs": [out]}).status == 200
    assert api.post(f"matches/{chain[1]['id']}/take/", {"option": get}).status == 200


def test_a_part_that_needs_another_pack_is_refused_with_it(api: Api, chain: Any) -> None:
    reply = planned(api, *chain, take=True, only=[chain[1]["id"]])
    assert (reply.status, reply.code, reply.body["add"]) == (422, "part_lacks", [chain[0]["id"]])
    assert f"match {chain[0]['number']}" in reply.body["detail"]
    assert planned(api, *chain, take=True, only=[chain[0]["id"]]).body["taken"] == [chain[0]["id"]]


@pytest.mark.parametrize(
    ("jobs", "closed"), [(("J-1", "J-1"), 2), (("J-1", "J-2"), 1), ((None, "J-1"), 1), ((None, None), 2)]
)
def test_never_into_the_pack_of_another_job(api: Api, shelf: Shelf, jobs: Any, closed: int) -> None:
    shelf.stock("0.0871 in")
    more = [{"job": job} if job else {} for job in jobs]
    first = asked(api, "0.0640 in", ["0.0771 in"] * 5, **more[0])
    assert planned(api, first, asked(api, "0.0640 in", THIN, **more[1])).body["closed"] == closed


@pytest.mark.parametrize(
    ("limit", "closed"),
    [({}, 2), ({"thickest_nm": length_parse("0.0770 in")}, 1), ({"material": "hardened"}, 1)],
)
def test_by_the_limits_of_where_it_goes(api: Api, shelf: Shelf, chain: Any, limit: Any, closed: int) -> None:
    spec = pack(shelf.person, shelf.steels, shelf.frictions, code="OTHER")
    Slot.objects.filter(spec=spec, name="steels").update(**limit)
    second = api.post("matches/", question("0.0640 in", THIN, spec="OTHER", job="J-1", max_changes=1)).body
    assert planned(api, chain[0], second).body["closed"] == closed


@pytest.mark.parametrize(("hot", "closed"), [(True, 1), (False, 2)])
def test_hot_ones_stay_out(api: Api, shelf: Shelf, hot: bool, closed: int) -> None:
    """The one plate on the shelf frees a .0771 of the first pack, which would close the second."""
    shelf.stock("0.0871 in")
    stack = [{"thickness": "0.0771 in", "hot_spot": hot}, *THIN[:4]]
    first = asked(api, "0.0640 in", stack, job="J-1")
    assert planned(api, first, asked(api, "0.0640 in", THIN, job="J-1")).body["closed"] == closed


def test_one_of_ours_moves_on_record(api: Api, shelf: Shelf) -> None:
    """The first was built with our .0771, came out loose, and gives it on."""
    (plate,) = shelf.stock("0.0771 in")
    first = asked(api, "0.0640 in", THIN, job="J-1", take=True)
    opened = api.post(f"matches/{first['id']}/final/", {"readings": ["0.0640 in"] * 3, "method": "feeler"}).body
    assert opened["state"] == "open"
    shelf.stock("0.0871 in")
    second = asked(api, "0.0640 in", THIN, job="J-1")
    taken = planned(api, first, second, take=True)
    assert taken.status == 200 and taken.body["closed"] == 2, taken
    plate.refresh_from_db()
    assert (plate.state, str(plate.match_id)) == ("taken", second["id"])
    call_command("ledger_verify")


def test_what_lies_on_the_bench_already_is_given_once(api: Api, shelf: Shelf, chain: Any) -> None:
    """The first is taken and told; two other packs of the job want its plate, one gets it."""
    api.post(f"matches/{chain[0]['id']}/take/", {"option": 1})
    out = {"slot": "steels", "thickness": "0.0771 in", "fate": "pack"}
    assert api.post(f"matches/{chain[0]['id']}/outs/", {"outs": [out]}).status == 200
    third = asked(api, "0.0640 in", THIN, job="J-1")
    body = planned(api, chain[1], third, take=True).body
    assert (body["closed"], len(body["taken"])) == (1, 1)
    call_command("ledger_verify")


# --- moved in between ------------------------------------------------------------------------------------------


def test_stock_that_moves_is_planned_again(api: Api, pair: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody scraps the .0771 after the first look: the second look plans without it."""
    look, looks = planning.plan_work_out, []

    def once_moved(**values: Any) -> Any:
        worked = look(**values)
        if not looks:
            plate = Plate.objects.get(thickness_nm=length_parse("0.0771 in"))
            assert api.post(f"plates/{plate.pk}/scrap/", {"reason": "dropped"}).status == 200
        looks.append(worked)
        return worked

    monkeypatch.setattr(planning, "plan_work_out", once_moved)
    body = planned(api, *pair, take=True, accept_marginal=True).body
    assert (len(looks), body["closed"]) == (2, 1)


def test_stock_that_never_rests_is_given_up_with_the_fresh_plan(
    api: Api, pair: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    tries = []

    def moved(wanted: Any) -> Any:
        tries.append(wanted)
        raise Moved

    monkeypatch.setattr(planning, "plates_lock_all", moved)
    reply = planned(api, *pair, take=True, accept_marginal=True)
    assert (reply.status, reply.code, len(tries)) == (409, "stock_moved", 5)
    assert reply.body["plan"]["closed"] == 2
    numbers = [row["option"]["number"] for row in reply.body["plan"]["plan"]]
    stored = [api.get(f"matches/{match['id']}/").body for match in pair]
    assert [one["state"] for one in stored] == ["open", "open"]
    assert all(n in [option["number"] for option in one["options"]] for n, one in zip(numbers, stored, strict=True))


@pytest.mark.parametrize("slower", [1, 3])
def test_all_tries_together_have_one_limit(
    api: Api, pair: Any, monkeypatch: pytest.MonkeyPatch, slower: int
) -> None:
    """On a clock of the test, where each try uses up all it may solve, or takes three times as long over all."""
    look, now, limits = planning.plan_work_out, [1000.0], []

    def slow(*, seconds: float, **values: Any) -> Any:
        limits.append(seconds)
        now[0] += slower * seconds
        return look(seconds=1.0, **values)

    def moved(wanted: Any) -> Any:
        raise Moved

    monkeypatch.setattr(planning, "monotonic", lambda: now[0], raising=False)
    monkeypatch.setattr(planning, "plan_work_out", slow)
    monkeypatch.setattr(planning, "plates_lock_all", moved)
    assert planned(api, *pair, take=True, accept_marginal=True).code == "stock_moved"
    assert len(limits) == 6 and sum(limits) <= planning.SECONDS
    assert limits[0] > 0 and limits == sorted(limits, reverse=True) and limits[-1] >= 0
    assert (limits[1] > 0) == (slower == 1)


def test_both_calls_of_a_page_fit_into_a_request() -> None:
    assert gunicorn.timeout > 2 * planning.SECONDS


# --- what cannot be planned ------------------------------------------------------------------------------------


def test_all_open_ones_of_a_job(api: Api, chain: Any) -> None:
    body = api.post("bench-plan/", {"job": "J-1"}).body
    assert [row["match"] for row in body["plan"]] == [match["id"] for match in chain]
    api.post("bench-plan/", {"job": "J-1", "take": True})
    reply = api.post("bench-plan/", {"job": "J-1"})
    assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, "/job")


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/matches"),
        ({"matches": []}, "/matches"),
        ({"matches": ["x"]}, "/matches/0"),
        ({"matches": [str(uuid.uuid4())]}, "/matches/0"),
        ({"job": "NO-SUCH"}, "/job"),
        ({"job": "J-1", "matches": [str(uuid.uuid4())]}, "/matches"),
        ({"job": "J-1", "only": [str(uuid.uuid4())]}, "/only"),
        ({"job": "J-1", "take": "yes"}, "/take"),
        ({"job": "J-1", "accept": True}, "/accept"),
    ],
)
def test_a_body_that_cannot_be_read(api: Api, shelf: Shelf, body: dict[str, Any], pointer: str) -> None:
    reply = api.post("bench-plan/", body)
    assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, pointer), reply


def test_each_match_is_named_once(api: Api, pair: Any) -> None:
    assert planned(api, pair[0], pair[0]).status == 400


def test_no_match_of_another_shop(api: Api, pair: Any) -> None:
    assert planned(Api(PersonFactory.create()), *pair).status == 400


@pytest.mark.parametrize(("role", "status"), [("bench", 200), ("counter", 200), ("buyer", 403)])
def test_who_may_plan(api: Api, owner: Person, pair: Any, role: str, status: int) -> None:
    assert planned(Api(PersonFactory.create(shop=owner.shop, role=role)), *pair).status == status


@pytest.mark.parametrize(("role", "status"), [("bench", 400), ("buyer", 403)])
def test_who_may_not_plan_is_told_that_first(owner: Person, role: str, status: int) -> None:
    reply = Api(PersonFactory.create(shop=owner.shop, role=role)).post("bench-plan/", {"job": "J-NOT-THERE"})
    assert reply.status == status
