"""Real processes for the tests of survival."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import psycopg

ROOT = Path(__file__).resolve().parents[2]

ENSURE = """
import sys
from pathlib import Path
from shop import database
server = database.ensure(Path(sys.argv[1]))
print(server.pid, server.started_here, flush=True)
"""


def python(code: str, *arguments: object, **options: Any) -> subprocess.Popen[str]:
    """A Python process of its own that runs the code in the checkout."""
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **options,
    )


def words(process: subprocess.Popen[str]) -> list[str]:
    """What a process that ends well has printed, in words."""
    output, errors = process.communicate(timeout=120)
    assert process.returncode == 0, errors
    return output.split()


def wait_for(what: Callable[[], Any], patience: float = 180.0) -> Any:
    """Wait until something is true and return it."""
    deadline = time.monotonic() + patience
    while not (found := what()):
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.02)
    return found


def attached(cluster: Path) -> list[int]:
    """The living processes that stand in the cluster's directory: the server's own, and nobody else's."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            if (entry / "cwd").samefile(cluster):
                found.append(int(entry.name))
        except OSError:  # ended meanwhile, or a zombie
            continue
    return found


def kill_all(pids: list[int]) -> bool:
    """Kill them; True when there was none left to kill."""
    for pid in pids:
        try:
            os.kill(pid, signal.SIGKILL)
        except ProcessLookupError:
            continue
    return not pids


def store(url: str, value: int) -> None:
    with psycopg.connect(url) as connection:
        connection.execute("CREATE TABLE IF NOT EXISTS kept (value int)")
        connection.execute("INSERT INTO kept VALUES (%s)", [value])


def stored(url: str) -> list[int]:
    with psycopg.connect(url) as connection:
        return [value for (value,) in connection.execute("SELECT value FROM kept ORDER BY value")]
