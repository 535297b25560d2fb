"""Sixteen benches want the last three plates; each race beside a control that shows the bug with the lock off."""

from collections import Counter
from collections.abc import Callable

import pytest

from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from tests.races.conftest import ASK, Crowd
from tests.races.unlocked import unlocked
from tests.service import Call, serving

pytestmark = pytest.mark.processes

TAKE = {**ASK, "take": True}
CLOSES = ("0.0790 in", "0.0791 in", "0.0792 in")


def test_sixteen_ask_for_the_last_three(crowd: Crowd, verified: Callable[[], None]) -> None:
    crowd.stock(*CLOSES)
    with serving(crowd.urls, crowd.data_dir) as service:
        replies = service.at_once(crowd.token, [Call("matches/", TAKE, f"bench-{n}") for n in range(16)])
    assert Counter(reply.status for reply in replies) == {201: 16}
    assert Counter(reply.body["state"] for reply in replies) == {"taken": 3, "open": 13}
    taken = [row["plate"] for reply in replies for row in reply.body["slip"]]
    assert len(taken) == len(set(taken)) == 3
    assert set(Plate.objects.values_list("state", flat=True)) == {"taken"}
    assert LedgerLine.objects.filter(act="taken").count() == 3
    verified()


def test_control_without_the_lock_on_plates(crowd: Crowd) -> None:
    """Only the revision in the one statement that writes is left, and it fails loudly: a fault of ours, 500."""
    crowd.stock(*CLOSES[:1])
    with unlocked(crowd.urls, crowd.data_dir, "plates_unlocked") as service:
        replies = service.at_once(crowd.token, [Call("matches/", TAKE) for _ in range(6)])
    statuses = Counter(reply.status for reply in replies)
    assert statuses[201] >= 1
    assert statuses[500] >= 1, statuses


def test_control_without_any_guard_the_ledger_itself_refuses_the_double_take(crowd: Crowd) -> None:
    """With the revision gone from that statement too, the chain of the ledger stops the second take."""
    crowd.stock(*CLOSES[:1])
    with unlocked(crowd.urls, crowd.data_dir, "unguarded") as service:
        replies = service.at_once(crowd.token, [Call("matches/", TAKE) for _ in range(6)])
    statuses = Counter(reply.status for reply in replies)
    # Who asked so late that the plate was gone already has a match without it, and no answer that closes the pack.
    assert [reply.body["state"] for reply in replies if reply.status == 201].count("taken") == 1
    assert statuses[500] + statuses[409] >= 1, statuses
    assert LedgerLine.objects.filter(act="taken").count() == 1


def test_run_out_holds_are_taken_once(crowd: Crowd, verified: Callable[[], None]) -> None:
    """All plates are held by a match whose hold has run out; eight benches want them at once."""
    from datetime import timedelta
    from uuid import UUID

    from django.utils import timezone

    from plates.bench.take import match_hold
    from shop.once import Answer, Once
    from tests.api import Api

    crowd.stock(*CLOSES)
    match = Api(crowd.owner).post("matches/", ASK).body
    match_hold(
        person=crowd.owner,
        match_id=UUID(match["id"]),
        option=1,
        run=lambda act: Once(crowd.owner).run(act, lambda made: Answer(200, {})),
        at=timezone.now() - timedelta(days=1),
    )
    with serving(crowd.urls, crowd.data_dir) as service:
        replies = service.at_once(crowd.token, [Call("matches/", TAKE) for _ in range(8)])
    assert {reply.status for reply in replies} <= {201, 409}
    taken = [row["plate"] for reply in replies if reply.status == 201 for row in reply.body["slip"]]
    assert len(taken) == len(set(taken)) == 3
    assert LedgerLine.objects.filter(act="ran_out").count() == 1
    verified()
