"""``manage.py demo`` as it runs: beside another one, ended in every way, and with nothing left behind."""

import json
import os
import shutil
import signal
import socket
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from shop.people.services import shop_open
from tests import servers
from tests.conftest import Urls
from tests.database.processes import kill_all, wait_for
from tests.demo.running import Demo, demos, manage, server_processes, told

pytestmark = pytest.mark.processes


@pytest.fixture(scope="module")
def ground() -> Iterator[Path]:
    """A directory that the server's account may pass through."""
    directory = Path(tempfile.mkdtemp(prefix="plates-"))
    directory.chmod(0o711)
    yield directory
    shutil.rmtree(directory)


@pytest.fixture(scope="module")
def data_dir(ground: Path) -> Iterator[Path]:
    """One data directory for all of these tests, empty at first: the shop is filled once."""
    directory = ground / "var"
    yield directory
    wait_for(lambda: kill_all(demos(directory) + server_processes(directory)))
    servers.forget(directory)


@pytest.fixture
def start(data_dir: Path) -> Iterator[Callable[..., Demo]]:
    """Starts demos; whatever a failed test leaves is killed."""
    started: list[Demo] = []

    def one(**environ: str) -> Demo:
        started.append(Demo(data_dir, **environ))
        return started[-1]

    yield one
    for demo in started:
        demo.process.kill()
        demo.process.communicate()


def nothing_left(data_dir: Path) -> bool:
    return not demos(data_dir) and not server_processes(data_dir)


def test_cut_short_while_filling_and_then_checked_twice(data_dir: Path, start: Callable[..., Demo]) -> None:
    demo = start()
    demo.line_with("Filling the demo shop")
    code, _, complained = demo.end(signal.SIGTERM)
    assert (code, complained) == (128 + signal.SIGTERM, "")
    assert nothing_left(data_dir)

    for _ in range(2):
        code, said, complained = told(manage(data_dir, "demo", "--check"))
        assert (code, complained) == (0, "")
        assert "Slip" in said and "Ledger" in said and "shelf and ledger agree" in said
        assert nothing_left(data_dir)


def test_two_demos_on_one_shop_and_a_check_beside_them(data_dir: Path, start: Callable[..., Demo]) -> None:
    starter, guest = start().opened(), start(PLATES_DEMO_PASSWORD="between-the-plates")
    assert "between-the-plates" in guest.opened().line_with("Password")
    assert starter.url != guest.url

    code, said, _ = told(manage(data_dir, "token", "rosa"))
    assert code == 0
    pack = {
        "spec": "QUERN-DIRECT",
        "readings": ["0.074 in"] * 3,
        "method": "feeler",
        "installed": {"steels": {"nominal": True}},
    }
    headers = {"Authorization": f"Token {said.strip()}", "Content-Type": "application/json"}
    with starter.call("api/v1/matches/", json.dumps(pack).encode(), **headers) as answer:
        assert answer.status == 201 and json.load(answer)["options"]
    assert told(manage(data_dir, "demo", "--check"))[0] == 0

    assert starter.end(signal.SIGTERM)[0] == 0
    assert server_processes(data_dir), "the guest keeps the database that the starter began"
    with guest.call("healthz") as answer:
        assert answer.status == 200
    assert guest.end(signal.SIGINT, group=True)[0] == 0
    assert nothing_left(data_dir)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGHUP])
def test_every_ending_leaves_no_process(data_dir: Path, start: Callable[..., Demo], number: int) -> None:
    """A closing terminal hangs up on the whole group; INT reaches the demo alone here."""
    demo = start().opened()
    with demo.call("healthz") as answer:
        assert answer.status == 200
    assert len(demos(data_dir)) == 3, "the demo and its two workers"
    assert demo.end(number, group=number == signal.SIGHUP)[0] == 0
    assert nothing_left(data_dir)


def test_killed_outright_it_leaves_the_server_to_the_next(data_dir: Path, start: Callable[..., Demo]) -> None:
    demo = start().opened()
    with demo.call("healthz"):
        pass
    demo.end(signal.SIGKILL)
    wait_for(lambda: not demos(data_dir))
    assert server_processes(data_dir), "nobody could end it"
    assert start().opened().end(signal.SIGTERM)[0] == 0
    assert nothing_left(data_dir)


def test_a_server_that_was_there_before_stays(data_dir: Path, start: Callable[..., Demo]) -> None:
    assert told(manage(data_dir, "db", "start"))[0] == 0
    assert start().opened().end(signal.SIGTERM)[0] == 0
    assert server_processes(data_dir)
    assert told(manage(data_dir, "db", "stop"))[0] == 0
    assert nothing_left(data_dir)


def test_a_port_in_use_is_told_before_anything_starts(ground: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        code, said, complained = told(manage(ground / "unused", "demo", "--port", str(port)))
    assert (code, said) == (1, "")
    assert f"Port {port} of 127.0.0.1 cannot be had" in complained and "--port" in complained
    assert not (ground / "unused" / "pg").exists()


@pytest.mark.parametrize("port", ["-1", "65536", "eight", ""])
def test_a_port_that_is_none_is_refused(ground: Path, port: str) -> None:
    code, _, complained = told(manage(ground / "unused", "demo", f"--port={port}"))
    assert code != 0 and "is not a port" in complained


def test_production_is_refused(ground: Path) -> None:
    environ = {"PLATES_ENV": "production", "PLATES_HOSTS": "shop.example", "PLATES_EMBEDDED": "1"}
    code, _, complained = told(manage(ground / "unused", "demo", "--check", **environ))
    assert code == 1 and "PLATES_ENV is production" in complained
    assert not (ground / "unused" / "pg").exists()


def test_a_real_shop_is_refused(ground: Path, fresh_db: Urls) -> None:
    shop_open(name="Corner bench", owner="mara", password=None)
    code, said, complained = told(manage(ground / "unused", "demo", "--check", **fresh_db.environ))
    assert (code, said) == (1, "")
    assert "holds a real shop, 'Corner bench'" in complained and "PLATES_DATA_DIR" in complained


def test_a_server_named_by_its_address(ground: Path, own_demo: Urls) -> None:
    code, said, complained = told(manage(ground / "unused", "demo", "--check", **own_demo.environ))
    assert (code, complained) == (0, "")
    assert "shelf and ledger agree" in said
    assert not (ground / "unused" / "pg").exists()
    assert os.path.exists(ground / "unused" / "secret_key")
