"""One question is taken once, under however many keys, and one key acts once, however often it is sent."""

import os
import signal
import threading
from collections import Counter
from collections.abc import Callable
from http.client import RemoteDisconnected
from pathlib import Path

import pytest

from plates.stock.ledger_models import LedgerLine
from tests.api import Api
from tests.database.processes import wait_for
from tests.races.conftest import ASK, Crowd
from tests.races.unlocked import unlocked
from tests.service import Call, serving

pytestmark = pytest.mark.processes

IN_WINDOW = {**ASK, "readings": ["0.0100 in", "0.0100 in"]}


def test_six_keys_take_one_question_once(crowd: Crowd, verified: Callable[[], None]) -> None:
    crowd.stock("0.0790 in", "0.0790 in")
    match = Api(crowd.owner).post("matches/", ASK).body
    with serving(crowd.urls, crowd.data_dir) as service:
        path = f"matches/{match['id']}/take/"
        replies = service.at_once(crowd.token, [Call(path, {"option": 1}, f"key-{n}") for n in range(6)])
    assert Counter(reply.status for reply in replies) == {200: 1, 409: 5}
    assert {reply.body["code"] for reply in replies if reply.status == 409} == {"wrong_state"}
    assert LedgerLine.objects.filter(act="taken").count() == 1
    verified()


def test_control_without_the_lock_on_the_match(crowd: Crowd) -> None:
    """A pack that needs no plate has only the match's own lock against a second take."""
    match = Api(crowd.owner).post("matches/", IN_WINDOW).body
    path = f"matches/{match['id']}/take/"
    calls = [Call(path, {"option": 1}, f"key-{n}") for n in range(6)]
    with unlocked(crowd.urls, crowd.data_dir, "match_unlocked") as service:
        loose = Counter(reply.status for reply in service.at_once(crowd.token, calls))
    assert loose[200] > 1, loose

    again = Api(crowd.owner).post("matches/", IN_WINDOW).body
    calls = [Call(f"matches/{again['id']}/take/", {"option": 1}, f"again-{n}") for n in range(6)]
    with serving(crowd.urls, crowd.data_dir) as service:
        locked = Counter(reply.status for reply in service.at_once(crowd.token, calls))
    assert locked == {200: 1, 409: 5}


def test_one_key_sent_six_times_at_once_acts_once(crowd: Crowd, verified: Callable[[], None]) -> None:
    crowd.stock("0.0790 in", "0.0790 in")
    with serving(crowd.urls, crowd.data_dir) as service:
        replies = service.at_once(crowd.token, [Call("matches/", {**ASK, "take": True}, '"stutter"') for _ in range(6)])
    assert {reply.status for reply in replies} == {201}
    assert len({reply.body["id"] for reply in replies}) == 1
    assert all(reply.body == replies[0].body for reply in replies)
    assert LedgerLine.objects.filter(act="taken").count() == 1
    verified()


def test_a_worker_dies_between_effect_and_answer(crowd: Crowd, tmp_path: Path, verified: Callable[[], None]) -> None:
    """The client never hears of the first take, sends it again under its key, and gets that take's slip."""
    crowd.stock("0.0790 in", "0.0790 in")
    match = Api(crowd.owner).post("matches/", ASK).body
    call = Call(f"matches/{match['id']}/take/", {"option": 1}, "the-one-take")
    stalled = tmp_path / "stalled"
    lost: list[BaseException] = []

    def first() -> None:
        try:
            service.post(crowd.token, call._replace(headers=(("X-Stall", "1"),)))
        except (RemoteDisconnected, ConnectionError) as error:
            lost.append(error)

    module = "tests.races.wsgi_stall:application"
    with serving(crowd.urls, crowd.data_dir, module, STALL_FILE=str(stalled)) as service:
        client = threading.Thread(target=first)
        client.start()
        wait_for(stalled.exists)
        worker = int(stalled.read_text())
        assert worker != service.process.pid
        os.kill(worker, signal.SIGKILL)
        client.join()
        assert lost, "the first answer should never have arrived"
        assert LedgerLine.objects.filter(act="taken").count() == 1
        again = service.post(crowd.token, call)
    assert (again.status, again.body["state"], len(again.body["slip"])) == (200, "taken", 1)
    assert LedgerLine.objects.filter(act="taken").count() == 1
    verified()
