"""Start, stop and look at the embedded server.

Two locks stand in PLATES_DATA_DIR/launcher. `lock` lets one launcher at a time work. `held` is inherited by
the server and all its processes: whoever can take it knows that no server is attached, after a crash, after
a restart of the machine, and when the number in a pid file has long been somebody else's.
"""

from __future__ import annotations

import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from psycopg.pq import Ping

from . import cluster, places
from .account import ServerError
from .places import Home

PATIENCE = 600.0  # seconds; replaying gigabytes of log takes minutes
SILENCE = 20.0  # seconds that a server which calls itself ready may leave its socket unanswered


@dataclass(frozen=True)
class Server:
    """A running embedded server. `started_here` when this very call started it."""

    data_dir: Path
    cluster: Path
    socket_dir: Path
    pid: int
    started_here: bool

    @property
    def owner_url(self) -> str:
        return _url(cluster.OWNER, self.socket_dir)

    @property
    def app_url(self) -> str:
        return _url(cluster.APPLICATION, self.socket_dir)


def ensure(data_dir: Path) -> Server:
    """Start the server of this data directory unless it runs, and wait until it answers.

    Makes the cluster, the roles and the database when they are missing; never empties or overwrites
    anything. Safe to call from any number of processes at once. Raises ServerError with what to do.
    """
    data_dir = places.prepare(Path(data_dir))
    with _locked(data_dir):
        home = places.settle(data_dir)
        cluster.check(home)
        starts: list[Home] = []
        try:
            _bring_up(home, starts)
            cluster.complete(home.socket_dir)
            return _server(home, started_here=bool(starts))
        except (KeyboardInterrupt, SystemExit):
            if starts:  # nobody else knows of it yet
                _bring_down(home)
            raise


def stop(data_dir: Path) -> bool:
    """End the server and all its processes; True when one was running. Nothing is made."""
    home = places.known(Path(data_dir))
    if home is None:
        return False
    places.prepare(home.data_dir)
    with _locked(home.data_dir):
        return _bring_down(home)


def status(data_dir: Path) -> Server | None:
    """The server when it takes connections now, else None. Makes and starts nothing."""
    home = places.known(Path(data_dir))
    if home is None or cluster.answers(home.socket_dir) is not Ping.OK:
        return None
    return _server(home, started_here=False)


def _bring_up(home: Home, starts: list[Home]) -> None:
    """Start the server unless it is there, and wait for it; a start is noted in `starts` before it is tried."""
    begun = time.monotonic()
    while (answer := cluster.answers(home.socket_dir)) is not Ping.OK:
        held = _take_held(home) if answer is Ping.NO_RESPONSE else None
        if held is not None:
            starts.append(home)
            try:
                cluster.start(home, held)
            finally:
                os.close(held)
            continue
        waited = time.monotonic() - begun
        ready = "ready" in cluster.pid_file(home.cluster)[7:]
        if waited > PATIENCE or (ready and answer is Ping.NO_RESPONSE and waited > SILENCE):
            raise ServerError(
                f"A server is attached to {home.cluster} but does not answer at {home.socket_dir} "
                f"after {waited:.0f} s. See the log in {home.cluster / 'log'}; `manage.py db stop` ends it."
            )
        time.sleep(0.1)


def _bring_down(home: Home) -> bool:
    """Ask until no process of the server is left."""
    was_running = False
    begun = time.monotonic()
    while True:
        held = _take_held(home)
        if held is not None:
            os.close(held)
            if cluster.answers(home.socket_dir) is Ping.NO_RESPONSE:
                return was_running
        was_running = True
        if time.monotonic() - begun > PATIENCE:
            log = home.cluster / "log"
            raise ServerError(f"The server of {home.cluster} does not end; see the log in {log}.")
        cluster.request_stop(home)
        time.sleep(0.1)


@contextmanager
def _locked(data_dir: Path) -> Iterator[None]:
    descriptor = os.open(places.locks_dir(data_dir) / "lock", os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield
    finally:
        os.close(descriptor)


def _take_held(home: Home) -> int | None:
    """The server's lock as an open descriptor, or None while a process of a server has it."""
    descriptor = os.open(places.locks_dir(home.data_dir) / "held", os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(descriptor)
        return None
    return descriptor


def _server(home: Home, *, started_here: bool) -> Server:
    lines = cluster.pid_file(home.cluster)
    if not lines:
        raise ServerError(f"The server of {home.cluster} ended while it was being looked at.")
    return Server(home.data_dir, home.cluster, home.socket_dir, int(lines[0]), started_here)


def _url(role: str, socket_dir: Path) -> str:
    host = quote(str(socket_dir), safe="")
    return f"postgresql://{role}@/{cluster.DATABASE}?host={host}&port={cluster.PORT}"
