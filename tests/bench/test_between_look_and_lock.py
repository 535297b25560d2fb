"""What happens between a look at a match and its lock is never written over."""

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction

from plates.bench.final import match_final
from plates.bench.locks import Run
from plates.bench.models import Match
from plates.bench.question import PackReading
from plates.bench.release import match_release
from plates.lengths import length_parse
from shop.people.models import Person
from tests.api import Api
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

THIN = ["0.0670 in"] * 5


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def after(meanwhile: Callable[[], object]) -> Run[Match]:
    """Carries out the act, and something else just before its first try."""
    done: list[object] = []

    def run(effect: Callable[[], Match]) -> Match:
        if not done:
            done.append(meanwhile())
        with transaction.atomic():
            return effect()

    return run


def test_a_fate_told_meanwhile_stays(api: Api, owner: Person, shelf: Shelf) -> None:
    shelf.stock("0.0771 in")
    match = api.post("matches/", question("0.0640 in", THIN, take=True)).body
    assert match["state"] == "taken"
    out: dict[str, Any] = {"slot": "steels", "thickness": "0.0670 in", "fate": "scrap"}
    meanwhile = after(lambda: api.post(f"matches/{match['id']}/outs/", {"outs": [out]}))
    reading = PackReading("feeler", ["0.0540 in"] * 3, [length_parse("0.0540 in")] * 3)
    match_final(person=owner, match_id=uuid.UUID(match["id"]), reading=reading, run=meanwhile)
    stored = api.get(f"matches/{match['id']}/").body
    assert stored["state"] == "closed"
    assert [row["fate"] for row in stored["outs"]] == ["scrap"]


def test_a_hold_that_began_meanwhile_is_released_with_fresh_options(api: Api, owner: Person, shelf: Shelf) -> None:
    """Seen open, held by the time it is locked: looked at once more instead of released without options."""
    shelf.stock("0.0771 in")
    match = api.post("matches/", question("0.0640 in", THIN)).body
    meanwhile = after(lambda: api.post(f"matches/{match['id']}/hold/", {"option": 1}))
    released = match_release(person=owner, match_id=uuid.UUID(match["id"]), run=meanwhile)
    assert (released.state, [o["changes"] for o in released.options if not o.get("past")]) == ("open", [1])
