"""Two packs of one job want the one plate that lies on its bench, which no ledger guards."""

from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest

from plates.bench.models import Match
from tests.api import Api
from tests.races.conftest import ASK, Crowd
from tests.races.unlocked import unlocked
from tests.service import Call, Reply, Service, serving

pytestmark = pytest.mark.processes

#: The .0790 that comes out for the one from the shelf closes every pack of the crowd.
GIVES = {"readings": ["0.0100 in"] * 3, "installed": {"steels": [{"thickness": "0.0790 in", "must_go": True}]}}


def wanted_by(crowd: Crowd, count: int) -> tuple[str, list[Any]]:
    """The match on whose bench it lies, and so many others of its job that are offered it."""
    crowd.stock("0.0791 in")
    api = Api(crowd.owner)
    giver = api.post("matches/", {**ASK, **GIVES, "job": "J-1", "take": True}).body
    out = {"slot": "steels", "thickness": "0.0790 in", "fate": "pack"}
    assert api.post(f"matches/{giver['id']}/outs/", {"outs": [out]}).status == 200
    asked = [api.post("matches/", {**ASK, "job": "J-1"}).body for _ in range(count)]
    assert {match["options"][0]["in"][0]["out_of"]["match"] for match in asked} == {giver["id"]}
    return giver["id"], asked


def taken_at_once(service: Service, crowd: Crowd) -> tuple[str, list[Reply]]:
    giver, asked = wanted_by(crowd, 6)
    calls = [Call(f"matches/{match['id']}/take/", {"option": 1}, f"take-{match['id']}") for match in asked]
    return giver, service.at_once(crowd.token, calls)


def test_one_of_them_has_it(crowd: Crowd, verified: Callable[[], None]) -> None:
    with serving(crowd.urls, crowd.data_dir) as service:
        giver, replies = taken_at_once(service, crowd)
    assert Counter((reply.status, reply.body.get("code")) for reply in replies) == {
        (200, None): 1,
        (409, "stock_moved"): 5,
    }
    (number,) = [reply.body["number"] for reply in replies if reply.status == 200]
    assert Match.objects.get(pk=giver).outs[0]["used_by"] == number
    verified()


def test_control_without_the_lock_on_the_match_that_gave_it(crowd: Crowd) -> None:
    with unlocked(crowd.urls, crowd.data_dir, "givers_unlocked") as service:
        _, replies = taken_at_once(service, crowd)
    assert Counter(reply.status for reply in replies)[200] > 1


def test_two_that_give_to_each_other_do_not_wait_for_each_other(crowd: Crowd, verified: Callable[[], None]) -> None:
    """On the bench of each lies the .0790 that the other one takes: locked in the order of their ids, no deadlock."""
    api, calls = Api(crowd.owner), []
    for round_ in range(6):
        pair = []
        for _ in range(2):
            crowd.stock("0.0700 in")
            ask = {**ASK, **GIVES, "readings": ["0.0010 in"] * 3, "job": f"J-{round_}", "take": True}
            pair.append(api.post("matches/", ask).body["id"])
            out = {"slot": "steels", "thickness": "0.0790 in", "fate": "pack"}
            assert api.post(f"matches/{pair[-1]}/outs/", {"outs": [out]}).status == 200
        for taker, giver in (pair, pair[::-1]):
            final = api.post(f"matches/{taker}/final/", {"readings": ["0.0190 in"] * 3, "method": "indicator"}).body
            option = next(one for one in final["options"] if one["changes"] == 1)
            assert [row["out_of"]["match"] for row in option["in"]] == [giver]
            calls.append(Call(f"matches/{taker}/take/", {"option": option["number"]}))
    with serving(crowd.urls, crowd.data_dir) as service:
        replies = service.at_once(crowd.token, calls)
    assert Counter(reply.status for reply in replies) == {200: 12}
    verified()
