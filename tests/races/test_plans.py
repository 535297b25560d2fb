"""Two bench plans want the same plates at once, or the same packs: each plate is taken once, and all or nothing."""

from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest

from plates.stock.ledger_models import LedgerLine
from tests.api import Api
from tests.races.conftest import ASK, Crowd
from tests.races.unlocked import unlocked
from tests.service import Call, Reply, Service, serving

pytestmark = pytest.mark.processes


def taken_at_once(service: Service, crowd: Crowd, key: Callable[[int], str | None], same: bool) -> list[Reply]:
    """Four plans of two packs each, over the last two plates that close any of them."""
    crowd.stock("0.0790 in", "0.0791 in")
    api = Api(crowd.owner)
    pairs: list[list[Any]] = [[api.post("matches/", ASK).body["id"] for _ in range(2)] for _ in range(4)]
    bodies = [{"matches": pairs[0] if same else pair, "take": True, "accept_marginal": True} for pair in pairs]
    return service.at_once(crowd.token, [Call("bench-plan/", body, key(n)) for n, body in enumerate(bodies)])


def test_one_plan_has_the_plates(crowd: Crowd, verified: Callable[[], None]) -> None:
    with serving(crowd.urls, crowd.data_dir) as service:
        replies = taken_at_once(service, crowd, lambda n: f"plan-{n}", same=False)
    assert Counter(reply.status for reply in replies) == {200: 4}
    assert Counter(reply.body["closed"] for reply in replies) == {2: 1, 0: 3}
    assert LedgerLine.objects.filter(act="taken").count() == 2
    verified()


def test_one_plan_is_taken_once(crowd: Crowd, verified: Callable[[], None]) -> None:
    with serving(crowd.urls, crowd.data_dir) as service:
        replies = taken_at_once(service, crowd, lambda n: f"plan-{n}", same=True)
        assert Counter((reply.status, reply.body.get("code")) for reply in replies) == {
            (200, None): 1,
            (409, "wrong_state"): 3,
        }
        stuttered = taken_at_once(service, crowd, lambda n: "one-press", same=True)
    assert {reply.status for reply in stuttered} == {200}
    assert all(reply.body == stuttered[0].body for reply in stuttered)
    assert LedgerLine.objects.filter(act="taken").count() == 4
    verified()


def test_control_without_the_lock_on_plates(crowd: Crowd) -> None:
    """Only the revision in the one statement that writes is left, and it fails loudly: a fault of ours, 500."""
    with unlocked(crowd.urls, crowd.data_dir, "plans_unlocked") as service:
        replies = taken_at_once(service, crowd, lambda n: None, same=False)
    statuses = Counter(reply.status for reply in replies)
    assert statuses[200] >= 1 and statuses[500] >= 1, statuses
