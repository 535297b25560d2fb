"""An embedded server and gunicorn workers to be killed. Only processes that a run has started itself, by their ids."""

import os
import random
import shutil
import signal
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
from django.core.management import call_command

from shop import database
from shop.database import cluster
from tests import servers
from tests.conftest import Urls, pointed_at
from tests.database import processes
from tests.service import Service


@contextmanager
def own_server() -> Iterator[database.Server]:
    """The embedded server as a shop has it, waiting for the disk, in a data directory of its own."""
    base = Path(tempfile.mkdtemp(prefix="plates-"))
    base.chmod(0o711)  # the server's account passes through where the tests run as root
    try:
        yield database.ensure(base / "var")
    finally:
        database.stop(base / "var")
        servers.forget(base / "var")
        shutil.rmtree(base)


def urls_of(server: database.Server) -> Urls:
    return Urls(server.owner_url, server.app_url)


@contextmanager
def migrated(server: database.Server) -> Iterator[None]:
    """Its tables are made, and Django's connections lead to it for the time being."""
    with pointed_at(urls_of(server)):
        call_command("migrate", verbosity=0)
        yield


_BACKEND = """
SELECT pg_terminate_backend(pid) FROM (
  SELECT pid FROM pg_stat_activity WHERE usename = %s ORDER BY state = 'active' DESC, random() LIMIT 1) one
"""


class Killer:
    """Kills a worker, a backend, then the whole server, again and again."""

    def __init__(self, service: Service, server: database.Server, seed: int) -> None:
        self.service, self.server, self.chance = service, server, random.Random(seed)
        self.killed: Counter[str] = Counter()

    def run(self, kills: int, seconds: float) -> None:
        """So many kills, spread over the time; the server is up again at the end."""
        begun, turns = time.monotonic(), (self.worker, self.backend, self.whole_server)
        for number in range(kills):
            time.sleep(max(0.0, begun + seconds * (number + 1) / (kills + 1) - time.monotonic()))
            turns[number % len(turns)]()

    def worker(self) -> None:
        """One of gunicorn's workers, which its master replaces."""
        master = self.service.process.pid
        children = Path(f"/proc/{master}/task/{master}/children").read_text().split()
        if children:
            os.kill(int(self.chance.choice(children)), signal.SIGKILL)
            self.killed["worker"] += 1

    def backend(self) -> None:
        """The connection of one request, at work if any is."""
        with psycopg.connect(cluster.conninfo(self.server.socket_dir), autocommit=True) as connection:
            found = connection.execute(_BACKEND, [cluster.APPLICATION]).fetchall()
        self.killed["backend"] += len(found)

    def whole_server(self) -> None:
        """Every process of the server at once, or its first one alone; then it is started again."""
        alone = self.chance.random() < 0.5
        processes.kill_all([self.server.pid] if alone else processes.attached(self.server.cluster))
        self.server = database.ensure(self.server.data_dir)
        self.killed["server"] += self.server.started_here
