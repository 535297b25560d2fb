"""Plates that were read with a wrong gauge are corrected once, whoever else is at them."""

from collections import Counter
from collections.abc import Callable

import pytest

from plates.bench.models import Match
from plates.lengths import length_parse
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from tests.api import Api
from tests.gauges.test_api import HIGH
from tests.races.conftest import ASK, Crowd
from tests.races.unlocked import unlocked
from tests.service import Call, serving

pytestmark = pytest.mark.processes

CORRECT = "gauges/MIC-1/correct/"


@pytest.fixture
def api(crowd: Crowd) -> Api:
    """Four plates of 0.0790 in, read with a gauge that is then found 0.0003 in high."""
    api = Api(crowd.owner)
    api.post("gauges/", {"code": "MIC-1", "type": "micrometer"})
    for _ in range(4):
        body = {"kind": crowd.kind.code, "readings": ["0.0790 in"], "gauge": "MIC-1", "confirm": True}
        assert api.post("plates/", body).status == 201
    return api


def test_six_hands_correct_each_plate_once(crowd: Crowd, api: Api, verified: Callable[[], None]) -> None:
    typed = {**ASK, "plates_gauge": "MIC-1"}
    match = api.post("matches/", typed).body
    before = Match.objects.get(pk=match["id"]).question["installed"]["steels"][0]["thickness_nm"]
    check = api.post("gauges/MIC-1/checks/", HIGH).body["id"]
    with serving(crowd.urls, crowd.data_dir) as service:
        replies = service.at_once(crowd.token, [Call(CORRECT, {"check": check}, f"key-{n}") for n in range(6)])
    after = Match.objects.get(pk=match["id"]).question["installed"]["steels"][0]["thickness_nm"]
    assert before - after == 7620, "what was typed is put right once, too"
    assert Counter(reply.status for reply in replies) == {200: 6}
    assert sum(len(reply.body["corrected"]) for reply in replies) == 4
    assert LedgerLine.objects.filter(act="corrected").count() == 4
    assert set(Plate.objects.values_list("thickness_nm", flat=True)) == {length_parse("0.0790 in") - 7620}
    verified()


def test_control_without_the_lock(crowd: Crowd, api: Api, verified: Callable[[], None]) -> None:
    """Only the revision in the one statement that writes is left, and it fails loudly: a fault of ours, 500."""
    check = api.post("gauges/MIC-1/checks/", HIGH).body["id"]
    with unlocked(crowd.urls, crowd.data_dir, "corrections_unlocked") as service:
        replies = service.at_once(crowd.token, [Call(CORRECT, {"check": check}, f"key-{n}") for n in range(6)])
    statuses = Counter(reply.status for reply in replies)
    assert statuses[200] >= 1 and statuses[500] >= 1, statuses
    verified()


def test_a_take_and_a_correction_at_once_agree_in_the_end(crowd: Crowd, api: Api, verified: Callable[[], None]) -> None:
    """Whichever comes first: a pack that was taken is predicted from the thicknesses as they are now."""
    matches = [api.post("matches/", ASK).body for _ in range(3)]
    check = api.post("gauges/MIC-1/checks/", HIGH).body["id"]
    takes = [Call(f"matches/{match['id']}/take/", {"option": 1}, f"take-{match['id']}") for match in matches]
    with serving(crowd.urls, crowd.data_dir) as service:
        *taken, corrected = service.at_once(crowd.token, [*takes, Call(CORRECT, {"check": check}, "correct")])
    assert corrected.status == 200 and len(corrected.body["corrected"]) == 4
    assert {reply.status for reply in taken} <= {200, 409}
    for match in Match.objects.filter(state="taken"):
        assert match.built is not None
        into = match.built["in"]
        now = dict(Plate.objects.filter(match=match).values_list("pk", "thickness_nm"))
        assert {row["plate"]: row["thickness_nm"] for row in into} == {str(pk): nm for pk, nm in now.items()}
        gone_nm = sum(row["thickness_nm"] for row in match.built["out"])
        assert match.built["predicted_nm"] == match.clearance_nm + gone_nm - sum(now.values())
    verified()
