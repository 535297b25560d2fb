"""Two benches ask for one job at once, and the shelf answers neither: one miss, and both have their answer."""

from collections import Counter
from typing import Any

import pytest

from plates.bench.models import Match, Missed
from tests.api import Api
from tests.races.conftest import ASK, Crowd
from tests.service import Call, Reply, serving

pytestmark = pytest.mark.processes


def asked_at_once(crowd: Crowd, *module: str) -> list[Reply]:
    calls: list[Any] = [Call("matches/", {**ASK, "job": "J-1"}, f"key-{n}") for n in range(6)]
    with serving(crowd.urls, crowd.data_dir, *module) as service:
        return service.at_once(crowd.token, calls)


def test_one_job_is_missed_once(crowd: Crowd) -> None:
    replies = asked_at_once(crowd)
    assert {reply.status for reply in replies} == {201}
    (row,) = Missed.objects.select_related("match", "job")
    last = max(reply.body["number"] for reply in replies)
    assert (row.match.number, row.job.code, Match.objects.count()) == (last, "J-1", 6)
    assert Api(crowd.owner).get("missed/").body["count"] == 1


def test_control_without_the_clause_all_but_one_get_no_answer(crowd: Crowd) -> None:
    """The unique key alone keeps one row, at the price of the questions of all the others."""
    replies = asked_at_once(crowd, "tests.races.wsgi_missed_plain:application")
    assert Counter(reply.status for reply in replies) == {201: 1, 500: 5}
    assert (Missed.objects.count(), Match.objects.count()) == (1, 1)
