"""Holds run out by the database's clock, however it jumps, and by no other."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any, NamedTuple

import pytest
from django.core.management import call_command
from django.db.models import DurationField, ExpressionWrapper, F
from django.db.models.functions import Now
from django.utils import timezone

from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from tests.api import Api
from tests.conftest import Urls
from tests.faults import clocks
from tests.faults.model import THICKNESSES
from tests.faults.world import ASK, scan, shop_new

HELD = timedelta(minutes=240)  # a shop's to begin with


class Held(NamedTuple):
    """A match that holds the two only plates of a shop."""

    api: Api
    match: dict[str, Any]
    plates: list[str]
    jump: Callable[[timedelta], None]

    @property
    def states(self) -> set[str]:
        return {self.api.get(f"plates/{plate}/").body["state"] for plate in self.plates}

    @property
    def offered(self) -> list[str]:
        """What another pack is offered."""
        options = self.api.post("matches/", ASK).body["options"]
        return sorted({row["plate"] for option in options for row in option["in"]})


@pytest.fixture
def held(fresh_db: Urls) -> Held:
    owner = shop_new()
    api = Api(owner)
    plates = sorted(api.post("plates/", scan(THICKNESSES[3])).body["id"] for _ in range(2))
    match = api.post("matches/", ASK).body
    (both,) = [option["number"] for option in match["options"] if option["changes"] == 2]
    match = api.post(f"matches/{match['id']}/hold/", {"option": both}).body
    assert match["state"] == "held"
    return Held(api, match, plates, lambda ahead: clocks.jump(fresh_db, owner.shop_id, ahead))


def test_ahead_over_the_end_of_a_hold(held: Held) -> None:
    held.jump(HELD - timedelta(minutes=5))
    assert (held.states, held.offered) == ({"held"}, [])
    held.jump(timedelta(minutes=5))
    assert held.states == {"on_shelf"}
    assert held.offered == held.plates
    assert held.api.get(f"matches/{held.match['id']}/").body["state"] == "open"
    assert LedgerLine.objects.filter(act="ran_out").count() == 2
    call_command("ledger_verify")


def test_another_pack_takes_what_ran_out_and_nobody_takes_it_twice(held: Held) -> None:
    held.jump(HELD)
    taken = held.api.post("matches/", {**ASK, "take": True}).body
    assert taken["state"] == "taken"
    late = held.api.post(f"matches/{held.match['id']}/take/", {"option": held.match["option_taken"]})
    assert (late.status, late.code) == (409, "stock_moved")
    gone = LedgerLine.objects.filter(act="taken").values_list("plate_id", flat=True)
    assert sorted(map(str, gone)) == sorted(row["plate"] for row in taken["slip"])
    call_command("ledger_verify")


def test_back_a_hold_lasts_longer_and_is_still_one(held: Held) -> None:
    held.jump(-HELD)
    held.jump(HELD)
    assert (held.states, held.offered) == ({"held"}, [])
    taken = held.api.post(f"matches/{held.match['id']}/take/", {"option": held.match["option_taken"]}).body
    assert (taken["state"], held.states) == ("taken", {"taken"})
    call_command("ledger_verify")


@pytest.mark.parametrize("days", [3, -3])
def test_the_clock_of_the_service_does_not_count(held: Held, monkeypatch: pytest.MonkeyPatch, days: int) -> None:
    """Wrong by days on the machine that serves: what is held stays held, and a fresh hold lasts as long as any."""
    real = timezone.now
    monkeypatch.setattr(timezone, "now", lambda: real() + timedelta(days=days))
    assert (held.states, held.offered) == ({"held"}, [])
    again = held.api.post(f"matches/{held.match['id']}/hold/", {"option": held.match["option_taken"]}).body
    assert again["state"] == "held"
    lasts = Plate.objects.annotate(left=ExpressionWrapper(F("held_until") - Now(), DurationField()))
    assert all(HELD - timedelta(hours=1) < plate.left <= HELD for plate in lasts)
