"""Ask, take, hold, count and sell over the same two plates, each paused after each of its statements for each other.

For every day two of the pauses of each pair, seeded; all of them by hand: ``PLATES_EVERY_PAUSE=1 pytest
tests/faults/test_hands.py``.
"""

import os
import random
import uuid
from collections.abc import Callable, Iterator
from itertools import product
from typing import Any

import pytest
from django.core.management import call_command

from plates.bench import ask, locks, take
from plates.lengths import length_parse
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from shop.people.models import Person
from tests.api import Api, Reply
from tests.conftest import Urls
from tests.faults.hands import laid, steps_of
from tests.faults.world import ASK, scan, shop_new

pytestmark = pytest.mark.processes

ACTS = ("ask", "take", "hold", "count", "sell")
#: What may come of an act when the other was first. No deadlock, no wait that ran out, no fault.
REFUSED = {"stock_moved", "wrong_state", "count_moved"}
PAUSES = 2


class World:
    """A shop with two plates in one bin, which any of the acts wants whole."""

    def __init__(self) -> None:
        self.owner: Person = shop_new()
        self.api = Api(self.owner)
        thickness_nm = length_parse("0.0770 in")
        self.plates = [self.made("plates/", scan(thickness_nm)) for _ in range(2)]
        self.bin = self.plates[0]["bin"]

    def made(self, path: str, body: dict[str, Any]) -> dict[str, Any]:
        reply = self.api.post(path, body)
        assert reply.status in (200, 201), reply
        return dict(reply.body)

    def call(self, act: str) -> Callable[[], Reply]:
        """What this act sends; what comes before it is done already."""
        path, body = self._asked(act)
        api = Api(self.owner)
        return lambda: api.post(path, body, key=f"{act}-{uuid.uuid4()}")

    def _asked(self, act: str) -> tuple[str, dict[str, Any]]:
        if act == "ask":
            return "matches/", {**ASK, "take": True}
        if act in ("take", "hold"):
            match = self.made("matches/", ASK)
            return f"matches/{match['id']}/{act}/", {"option": match["options"][0]["number"]}
        if act == "sell":
            return "hand-outs/", {"bin": self.bin, "count": 2, "reason": "cash"}
        count = self.made("counts/", {"bin": self.bin})
        self.made(f"counts/{count['id']}/all-read/", {})
        return f"counts/{count['id']}/book/", {"gone": [plate["id"] for plate in self.plates]}

    def left(self) -> list[str]:
        """By which acts plates left the free shelf: at most once each."""
        lines = LedgerLine.objects.filter(plate__in=[plate["id"] for plate in self.plates]).exclude(act="received")
        acts = list(lines.values_list("plate", "act"))
        assert len({plate for plate, _ in acts}) == len(acts), acts
        return [act for _, act in acts]


def got(act: str, reply: Reply) -> int:
    """How many plates the answer promises."""
    if reply.status >= 400:
        assert reply.code in REFUSED, reply
        return 0
    if act == "ask":
        return len(reply.body["slip"]) if reply.body["state"] == "taken" else 0
    return len(reply.body["outcome"]["missing"]) if act == "count" else 2


@pytest.fixture(scope="module")
def rng() -> random.Random:
    return random.Random(20261127)


def pauses(act: str, rng: random.Random) -> Iterator[int]:
    """Before each of its statements but the first, and before its commit."""
    every = range(1, steps_of(World().call(act)))
    return iter(every if os.environ.get("PLATES_EVERY_PAUSE") else sorted(rng.sample(every, PAUSES)))


def test_in_every_order_each_plate_goes_once(fresh_db: Urls, rng: random.Random, capsys: Any) -> None:
    tried = 0
    for first, second in product(ACTS, ACTS):
        for after in pauses(first, rng):
            world = World()
            calls = world.call(first), world.call(second)
            replies = laid(*calls, after)
            promised = got(first, replies[0]) + got(second, replies[1])
            told = (first, second, after, replies)
            assert len(world.left()) == promised, told
            assert promised == 2, told
            tried += 1
    call_command("ledger_verify")
    with capsys.disabled():
        print(f"\n{tried} orders of {len(ACTS)} acts with each other")


def believe(match: Any, ins: Any) -> locks.Locked:
    """The search is believed: no lock, no look whether the plates are still as it saw them."""
    return locks.Locked([(uuid.UUID(row["plate"]), row["revision"]) for row in ins if row["plate"]], [])


def test_control_without_the_lock_on_plates(fresh_db: Urls, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some order then comes to a fault, which the revision in the statement that writes finds."""
    for module in (ask, take):
        monkeypatch.setattr(module, "plates_lock", believe)
    statuses = set()
    for after in range(1, steps_of(World().call("take"))):
        world = World()
        statuses |= {reply.status for reply in laid(world.call("take"), world.call("take"), after)}
    assert 500 in statuses
    assert Plate.objects.filter(state="taken").exists()
    call_command("ledger_verify")
