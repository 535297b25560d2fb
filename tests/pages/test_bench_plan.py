"""Several packs planned together at the counter: chosen in the list, shown side by side, taken in one press."""

from dataclasses import replace
from typing import Any

import pytest

from plates.bench.models import Match
from plates.bench.plan import plan as planning
from plates.stock.models import Plate
from shop.people.models import Person
from shop.web import key_new
from tests.api import Api
from tests.factories import KindFactory, PersonFactory, shelve
from tests.pages.conftest import Bench
from tests.pages.counter import Counter
from tests.shelves import question

pytestmark = pytest.mark.django_db
THIN = ["0.0670 in"] * 5
KEY = key_new()


@pytest.fixture
def chain(bench: Bench) -> tuple[int, int]:
    """The .0871 takes the place of a .0791 in the first pack of J-1, which closes the second; the shelf of the fixture
    is empty.
    """
    Plate.objects.all().update(owner="a customer")
    shelve(bench.owner, KindFactory.create(fit=bench.kind.fit, code="STEEL-87"), "0.0891 in")
    api = Api(bench.owner)
    numbers = []
    for steels in (["0.0791 in"] * 5, THIN):
        match = api.post("matches/", question("0.0640 in", steels, job="J-1", max_changes=1)).body
        numbers.append(match["number"])
    return numbers[0], numbers[1]


def plan(counter: Counter, *numbers: int) -> str:
    counter.open("/matches/", job="J-1")
    return counter.send("/bench-plan/", {"match": [str(number) for number in numbers]})


def test_chosen_in_the_list_and_shown_side_by_side(counter: Counter, chain: tuple[int, int]) -> None:
    text = plan(counter, *chain)
    assert "2 packs planned together" in text
    assert "Closes 2 of 2, 2 of them sure, with 2 changes. Answered one by one it would be 1." in text
    assert f"0.0791 in (2.009 mm) out of match {chain[0]} into match {chain[1]}" in text
    assert "Take all" in text and "Take the chosen" in text


def test_all_of_a_job_are_ticked_and_none_of_all(counter: Counter, chain: tuple[int, int]) -> None:
    counter.open("/matches/", job="J-1")
    assert sorted(counter.form("/bench-plan/")["fields"]["match"]) == [str(number) for number in chain]
    counter.open("/matches/")
    assert "match" not in counter.form("/bench-plan/")["fields"]
    assert "Choose the matches to plan together" in counter.send("/bench-plan/")


def test_taken_in_one_press_and_only_once(counter: Counter, chain: tuple[int, int]) -> None:
    plan(counter, *chain)
    form = counter.form("/bench-plan/")["fields"]
    text = counter.send("/bench-plan/", {"go": "all"})
    assert "Taken for 2 of 2" in text and f"Slip {chain[1]}" in text
    assert set(Match.objects.values_list("state", flat=True)) == {"taken"}
    assert "Taken for 2 of 2" in counter.post("/bench-plan/", {**form, "go": "all"})
    assert f"used in match {chain[1]}" in counter.open(f"/matches/{chain[0]}/slip/")


def test_a_chosen_part(counter: Counter, chain: tuple[int, int]) -> None:
    plan(counter, *chain)
    text = counter.send("/bench-plan/", {"go": "chosen", "only": [str(chain[1])]})
    assert "Not taken. This part cannot be taken by itself" in text and "Take all" in text
    assert "Taken for 1 of 2" in counter.send("/bench-plan/", {"go": "chosen", "only": [str(chain[0])]})
    assert sorted(Match.objects.values_list("number", "state")) == [(chain[0], "taken"), (chain[1], "open")]


def test_nothing_chosen_is_told(counter: Counter, chain: tuple[int, int]) -> None:
    plan(counter, *chain)
    assert "No pack of the plan is ticked" in counter.send("/bench-plan/", {"go": "chosen"})


def test_another_plan_than_the_one_shown_is_not_taken(counter: Counter, bench: Bench, chain: tuple[int, int]) -> None:
    """While it is looked at the .0891 goes; another one comes that closes the second only."""
    plan(counter, *chain)
    gone = Plate.objects.get(owner="")
    assert Api(bench.owner).post(f"plates/{gone.pk}/scrap/", {"reason": "dropped"}).status == 200
    shelve(bench.owner, bench.kind, "0.0772 in")
    text = counter.send("/bench-plan/", {"go": "all"})
    assert "Not taken. The shelf or one of these packs has changed" in text and "Closes 1 of 2" in text
    assert set(Match.objects.values_list("state", flat=True)) == {"open"}
    assert "Taken for 1 of 2" in counter.send("/bench-plan/", {"go": "all"})


@pytest.mark.parametrize(
    ("better", "said"),
    [
        ({"closed": 3, "changes": 0}, "At most 3 of 3 could close."),
        ({"sure": 3, "changes": 0}, "No plan closes more; at most 3 of these could be sure."),
        ({"changes": 1, "distance_nm": 0}, "nor more of them surely; fewer changes might do, but not fewer than 1."),
        ({"distance_nm": 0}, "nor with fewer changes; they might only come nearer to their targets."),
    ],
)
def test_of_a_plan_that_is_not_proven_only_what_is_open_is_said(
    counter: Counter,
    bench: Bench,
    chain: tuple[int, int],
    monkeypatch: pytest.MonkeyPatch,
    better: dict[str, int],
    said: str,
) -> None:
    third = Api(bench.owner).post("matches/", question("0.0800 in", THIN, job="J-1", max_changes=1)).body["number"]
    work_out = planning.plan_work_out

    def unproven(**values: Any) -> Any:
        worked = work_out(**values)
        return replace(worked, plan=replace(worked.plan, bound=worked.plan.totals._replace(**better)))

    assert "Look:" not in plan(counter, *chain, third)
    monkeypatch.setattr(planning, "plan_work_out", unproven)
    text = plan(counter, *chain, third)
    assert said in text and ("could close" in text) == ("closed" in better)


def test_marginal_ones_want_their_tick(counter: Counter, bench: Bench) -> None:
    number = Api(bench.owner).post("matches/", question("0.0690 in", THIN, job="J-1", max_changes=1)).body["number"]
    plan(counter, number)
    text = counter.send("/bench-plan/", {"go": "all"})
    assert f"match {number} is only marginal" in text and "Tick “Take the marginal ones, too”" in text
    assert "accept_marginal" not in text and "others" not in text
    assert "Taken for 1 of 1" in counter.send("/bench-plan/", {"go": "all", "accept_marginal": "on"})


def test_uncounted_ones_want_theirs(counter: Counter, bench: Bench) -> None:
    """.0680 too loose is near a plate of the pack."""
    shelve(bench.owner, KindFactory.create(fit=bench.kind.fit, code="STEEL-135"), "0.1350 in")
    number = Api(bench.owner).post("matches/", question("0.1180 in", THIN, job="J-1", max_changes=1)).body["number"]
    plan(counter, number)
    text = counter.send("/bench-plan/", {"go": "all", "accept_marginal": "on"})
    assert "Once you have, say so and ask or take again" in text
    assert "Tick “I have counted the plates of these packs”" in text and "with counted" not in text
    assert "Taken for 1 of 1" in counter.send("/bench-plan/", {"go": "all", "accept_marginal": "on", "counted": "on"})


@pytest.mark.parametrize("fields", [{"match": "x"}, {"match": "99"}, {"match": "1", "go": "all", "shown": "1:x"}])
def test_a_form_that_cannot_be_read(counter: Counter, chain: tuple[int, int], fields: dict[str, Any]) -> None:
    counter.post("/bench-plan/", {"key": KEY, **fields})
    assert counter.status == 400


def test_a_buyer_only_looks(owner: Person, chain: tuple[int, int]) -> None:
    buyer = Counter(PersonFactory.create(shop=owner.shop, role="buyer"))
    assert "Plan these together" not in buyer.open("/matches/", job="J-1")
    buyer.post("/bench-plan/", {"key": KEY, "match": [str(number) for number in chain]})
    assert buyer.status == 403


def test_its_address_typed_leads_to_the_list(counter: Counter, bench: Bench) -> None:
    counter.open("/bench-plan/")
    assert counter.path == "/matches/"
