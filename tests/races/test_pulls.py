"""Two hands at one bin: a plate is read while another reads it too, or while another bench takes what really left."""

from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest

from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from tests.api import Api
from tests.races.conftest import ASK, Crowd
from tests.races.unlocked import unlocked
from tests.service import Call, Reply, Service, serving

pytestmark = pytest.mark.processes


def slip_of(crowd: Crowd) -> tuple[dict[str, Any], dict[str, Any]]:
    """A match that took the .0790 and the pull check that says the .0784 of its bin left instead."""
    crowd.stock("0.0790 in", "0.0784 in")
    match = Api(crowd.owner).post("matches/", {**ASK, "take": True}).body
    assert match["slip"][0]["thickness"]["in"] == "0.0790"
    return match, {"plate": match["slip"][0]["plate"], "readings": ["0.0784 in"]}


def checked_by_six(service: Service, crowd: Crowd, key: Callable[[int], str]) -> list[Reply]:
    match, body = slip_of(crowd)
    return service.at_once(crowd.token, [Call(f"matches/{match['id']}/pull-check/", body, key(n)) for n in range(6)])


def test_one_plate_is_read_by_six_at_once(crowd: Crowd, verified: Callable[[], None]) -> None:
    """The first finds the plate that left; for the others the one they name is no longer on the slip. Under one key all
    six are the same check, and without the locks they trip over each other, loudly.
    """
    with serving(crowd.urls, crowd.data_dir) as service:
        replies = checked_by_six(service, crowd, lambda n: f"hand-{n}")
        assert Counter(reply.status for reply in replies) == {200: 1, 400: 5}
        assert {reply.body["errors"][0]["pointer"] for reply in replies if reply.status == 400} == {"/plate"}
        assert Counter(LedgerLine.objects.values_list("act", flat=True)) == {
            "received": 2, "taken": 2, "put_back": 1, "pulled": 1,
        }  # fmt: skip
        lie = set(Plate.objects.values_list("thickness_nm", "state"))
        assert lie == {(1_991_360, "taken"), (2_006_600, "on_shelf")}

        stuttered = checked_by_six(service, crowd, lambda n: "one-press")
        assert {reply.status for reply in stuttered} == {200}
        assert all(reply.body == stuttered[0].body for reply in stuttered)
        assert LedgerLine.objects.filter(act="pulled").count() == 2
    with unlocked(crowd.urls, crowd.data_dir, "pull_unlocked") as service:
        loose = Counter(reply.status for reply in checked_by_six(service, crowd, lambda n: f"loose-{n}"))
    assert loose[200] >= 1 and loose[500] >= 1, loose
    verified()


def test_what_really_left_is_taken_by_another_bench(crowd: Crowd, verified: Callable[[], None]) -> None:
    """Either the check finds it gone, or the other bench is shown fresh options: it never leaves twice."""
    outcomes = []
    with serving(crowd.urls, crowd.data_dir) as service:
        for number in range(6):
            match, body = slip_of(crowd)
            other = Api(crowd.owner).post("matches/", ASK).body
            left = Plate.objects.get(state="on_shelf")
            calls = [
                Call(f"matches/{match['id']}/pull-check/", body, f"check-{number}"),
                Call(f"matches/{other['id']}/take/", {"option": other["options"][0]["number"]}, f"take-{number}"),
            ]
            check, take = service.at_once(crowd.token, calls if number % 2 else calls[::-1])[:: 1 if number % 2 else -1]
            outcomes.append((check.body.get("code"), take.body.get("code")))
            assert left.lines.filter(act="taken").count() == 1
            for plate in Plate.objects.filter(state="on_shelf"):
                Api(crowd.owner).post(f"plates/{plate.pk}/scrap/", {"reason": "the next round begins"})
    assert set(outcomes) <= {("pull_mismatch", None), (None, "stock_moved")}, outcomes
    verified()
