"""Holds: plates promised to one match, and free again without anybody's doing when the time is over."""

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction
from django.utils import timezone

from plates.bench.models import Match
from plates.bench.take import match_hold
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from shop.people.models import Person
from tests.api import Api
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

LOOSE = question("0.0640 in", ["0.0670 in"] * 5)  # one plate of about .077 closes it


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def states(api: Api) -> list[str]:
    return sorted(plate["state"] for plate in api.get("plates/").body["results"])


def act(api: Api, match: dict[str, Any], name: str, option: int | None = 1) -> Any:
    return api.post(f"matches/{match['id']}/{name}/", {} if option is None else {"option": option})


def run_out_hold(shelf: Shelf, match: dict[str, Any], option: int = 1) -> None:
    """A hold made yesterday; the shop's holds last hours."""

    def run(effect: Any) -> Match:
        with transaction.atomic():
            return effect()

    person = Person.objects.select_related("shop").get(pk=shelf.person.pk)
    yesterday = timezone.now() - timedelta(days=1)
    match_hold(person=person, match_id=uuid.UUID(match["id"]), option=option, run=run, at=yesterday)


def test_a_held_plate_is_promised_to_one_match(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in")
    mine, other = (api.post("matches/", LOOSE).body for _ in range(2))
    held = act(api, mine, "hold").body
    assert (held["state"], states(api)) == ("held", ["held"])
    assert held["held_until"] is not None
    refused = act(api, other, "take")
    assert (refused.status, refused.code, refused.body["options"]) == (409, "stock_moved", [])
    assert api.post("matches/", LOOSE).body["options"] == []
    assert act(api, mine, "take").body["state"] == "taken"
    acts = list(LedgerLine.objects.order_by("seq").values_list("act", "delta", "balance"))
    assert acts == [("received", 1, 1), ("held", 0, 1), ("taken", -1, 0)]
    call_command("ledger_verify")


def test_released_plates_are_free_and_the_match_is_open_with_fresh_numbers(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in")
    match = api.post("matches/", LOOSE).body
    act(api, match, "hold")
    released = act(api, match, "release", None).body
    assert (released["state"], released["held_until"], states(api)) == ("open", None, ["on_shelf"])
    assert [option["number"] for option in released["options"]] == [2]
    assert act(api, match, "release", None).code == "wrong_state"
    assert act(api, match, "take").code == "stock_moved"  # option 1 is past
    assert act(api, match, "take", 2).status == 200
    call_command("ledger_verify")


def test_another_option_of_a_held_match_frees_what_it_does_not_take(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0755 in", "0.0755 in", "0.0800 in")
    match = api.post("matches/", question("0.0660 in", ["0.0670 in"] * 5)).body
    one, two = (next(o for o in match["options"] if o["changes"] == changes) for changes in (1, 2))
    act(api, match, "hold", two["number"])
    assert states(api) == ["held", "held", "on_shelf"]
    taken = act(api, match, "take", one["number"]).body
    assert [row["plate"] for row in taken["slip"]] == [row["plate"] for row in one["in"]]
    assert "held" not in states(api)
    assert states(api).count("taken") == 1
    call_command("ledger_verify")


def test_a_hold_that_has_run_out_reads_as_free(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in")
    match = api.post("matches/", LOOSE).body
    run_out_hold(shelf, match)
    assert Plate.objects.get().state == "held"  # nobody has touched it yet
    assert states(api) == ["on_shelf"]
    assert api.get("plates/", state="on_shelf").body["count"] == 1
    assert api.get("plates/", state="held").body["count"] == 0
    assert api.get(f"matches/{match['id']}/").body["state"] == "open"
    assert api.get("matches/", state="held").body["count"] == 0


def test_the_next_ask_releases_it_with_a_line_dated_at_the_expiry(api: Api, shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.0771 in")
    match = api.post("matches/", LOOSE).body
    run_out_hold(shelf, match)
    until = Plate.objects.get().held_until
    assert [option["in"][0]["plate"] for option in api.post("matches/", LOOSE).body["options"]] == [str(plate.pk)]
    line = LedgerLine.objects.get(act="ran_out")
    assert (line.at, line.delta, line.balance, str(line.match_id)) == (until, 0, 1, match["id"])
    assert Plate.objects.get().state == "on_shelf"
    call_command("ledger_verify")


@pytest.mark.parametrize("who", ["mine", "other"])
def test_whoever_comes_first_takes_what_has_run_out(api: Api, shelf: Shelf, who: str) -> None:
    shelf.stock("0.0771 in")
    mine, other = (api.post("matches/", LOOSE).body for _ in range(2))
    run_out_hold(shelf, mine)
    assert act(api, {"mine": mine, "other": other}[who], "take").body["state"] == "taken"
    assert Plate.objects.get().state == "taken"
    assert act(api, {"mine": other, "other": mine}[who], "take").code == "stock_moved"
    call_command("ledger_verify")


def test_an_option_that_takes_nothing_is_nothing_to_hold(api: Api, shelf: Shelf) -> None:
    match = api.post("matches/", question("0.0500 in", ["0.0770 in"] * 5)).body
    assert match["options"][0]["changes"] == 0
    assert act(api, match, "hold").code == "wrong_state"
