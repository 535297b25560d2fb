"""The server outlives the reloads of what is in front of it."""

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from http.client import HTTPException
from pathlib import Path
from typing import NamedTuple

import pytest

from shop import database
from tests.database.processes import ROOT, attached, kill_all, wait_for

pytestmark = pytest.mark.processes


class Answer(NamedTuple):
    process: int
    user: str
    server: str


def free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


def ask(port: int) -> Answer | None:
    """What the site answers, or None while it does not."""
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=30) as response:
            process, user, server = response.read().decode().split()
    except (OSError, HTTPException, ValueError):  # ValueError: half an answer, of a process that is just replaced
        return None
    return Answer(int(process), user, server)


def answers(port: int, number: int = 12) -> list[Answer]:
    return [answer for answer in (ask(port) for _ in range(number)) if answer]


@contextmanager
def running(*command: str, ground: Path, data_dir: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A program in front of the database, in a session of its own and ended with all its children."""
    shutil.copy(Path(__file__).with_name("site.py"), ground / "counter_site.py")
    inherited = {name: value for name, value in os.environ.items() if not name.startswith("DATABASE_")}
    search = os.pathsep.join(filter(None, (str(ROOT), inherited.get("PYTHONPATH"))))
    with (ground / "output").open("wb") as output:
        process = subprocess.Popen(
            [sys.executable, *command],
            cwd=ground,
            env={**inherited, "PLATES_DATA_DIR": str(data_dir), "PYTHONPATH": search},
            stdout=output,
            stderr=output,
            start_new_session=True,
        )
        try:
            yield process
        finally:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()


def gunicorn(port: int) -> list[str]:
    return ["-m", "gunicorn", "--workers", "2", "--bind", f"127.0.0.1:{port}", "counter_site:application"]


def test_gunicorn_reload_and_killed_workers_leave_the_server_alone(ground: Path, used_dir: Path) -> None:
    server = database.ensure(used_dir)
    port = free_port()
    with running(*gunicorn(port), ground=ground, data_dir=used_dir) as master:
        first = wait_for(lambda: ask(port))
        assert first.user == "plates_app"
        os.kill(first.process, signal.SIGKILL)  # a worker dies while it holds a connection
        wait_for(lambda: len({answer.process for answer in answers(port)} - {first.process}) == 2)
        old = {answer.process for answer in answers(port)}
        os.kill(master.pid, signal.SIGHUP)
        wait_for(lambda: (new := {answer.process for answer in answers(port)}) and not new & old)
        assert {answer.server for answer in answers(port)} == {first.server}
        assert database.ensure(used_dir).pid == server.pid
    assert server.pid in attached(server.cluster)


def test_gunicorn_starts_no_server_and_finds_one_that_comes_back(ground: Path, used_dir: Path) -> None:
    port = free_port()
    with running(*gunicorn(port), ground=ground, data_dir=used_dir):
        wait_for(lambda: b"Booting worker" in (ground / "output").read_bytes())
        assert ask(port) is None and database.status(used_dir) is None
        server = database.ensure(used_dir)
        before = wait_for(lambda: ask(port))
        kill_all(attached(server.cluster))
        database.ensure(used_dir)
        after = answers(port)  # each worker's old connection is noticed to be dead, and replaced
        assert len(after) == 12
        assert {answer.server for answer in after} != {before.server}


def test_autoreload_keeps_the_server_that_the_command_started(ground: Path, used_dir: Path) -> None:
    port = free_port()
    command = ["counter_site.py", "runserver", f"127.0.0.1:{port}"]
    with running(*command, ground=ground, data_dir=used_dir):
        first = wait_for(lambda: ask(port))
        server = database.status(used_dir)
        assert server is not None
        notice = f"Started the embedded database (process {server.pid})".encode()
        assert (ground / "output").read_bytes().count(notice) == 1
        # More than one touch: the reloader takes its first look at the files only after it has begun to serve.
        touched = 0.0

        def reloaded() -> Answer | None:
            nonlocal touched
            if time.monotonic() - touched > 5:
                os.utime(ground / "counter_site.py")
                touched = time.monotonic()
            answer = ask(port)
            return answer if answer and answer.process != first.process else None

        second = wait_for(reloaded)
        assert second.server == first.server
        assert database.status(used_dir) == server
    assert server.pid in attached(server.cluster)
