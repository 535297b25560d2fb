"""A PgBouncer of the test's own, between the service and the server of the test run.

It refuses every start-up parameter that it does not know, as it comes: what the service needs it has to get otherwise.
"""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

import psycopg
from psycopg.conninfo import conninfo_to_dict

from tests.conftest import Urls
from tests.database.processes import wait_for

PORT = 6543


def program() -> str | None:
    """Debian keeps it where a plain user does not look."""
    return shutil.which("pgbouncer", path=f"{os.environ.get('PATH', os.defpath)}:/usr/sbin")


class Pooler:
    """``urls``: those of the server, the application's by way of the pooler; it starts and ends."""

    def __init__(self, urls: Urls, directory: Path, mode: str, size: int) -> None:
        there = conninfo_to_dict(urls.app)
        (directory / "users").write_text(f'"{there["user"]}" "{there.get("password", "")}"\n')
        server = " ".join(f"{name}={there[name]}" for name in ("host", "port") if there.get(name))
        (directory / "pgbouncer.ini").write_text(
            f"[databases]\n* = {server}\n[pgbouncer]\nlisten_addr =\nlisten_port = {PORT}\n"
            f"unix_socket_dir = {directory}\nauth_type = trust\nauth_file = {directory}/users\n"
            f"pool_mode = {mode}\ndefault_pool_size = {size}\nserver_idle_timeout = 1\n"
            "log_connections = 0\nlog_disconnections = 0\n"
        )
        self.directory, self.account = directory, _account(str(there.get("host", "")))
        for path in (directory, *directory.iterdir()):
            os.chown(path, self.account.get("user", -1), self.account.get("group", -1))
        where = f"host={quote(str(directory), safe='')}&port={PORT}"
        self.urls = Urls(urls.owner, f"postgresql://{there['user']}@/{quote(str(there['dbname']))}?{where}")

    def start(self) -> None:
        command = [str(program()), "-q", str(self.directory / "pgbouncer.ini")]
        self.process = subprocess.Popen(command, cwd="/", stderr=subprocess.DEVNULL, **self.account)
        socket = self.directory / f".s.PGSQL.{PORT}"
        wait_for(lambda: self.process.poll() is not None or socket.exists(), patience=20)
        assert self.process.poll() is None, "pgbouncer ended at its start"

    def end(self) -> None:
        self.process.terminate()
        self.process.wait(20)


@contextmanager
def pooler(urls: Urls, mode: str, size: int = 4) -> Iterator[Pooler]:
    """A pooler that runs; ``size``: as many connections to the server as it has at most. It runs as whom the server
    lets in, and is shut to everybody else by its directory.
    """
    directory = Path(tempfile.mkdtemp(prefix="plates-"))
    try:
        there = Pooler(urls, directory, mode, size)
        there.start()
        try:
            yield there
        finally:
            there.end()
    finally:
        shutil.rmtree(directory)


def _account(host: str) -> dict[str, Any]:
    """As root: whom the server's socket belongs to, else nobody; else ourselves."""
    if os.geteuid() != 0:
        return {}
    entry = pwd.getpwuid(Path(host).stat().st_uid) if host.startswith("/") else pwd.getpwnam("nobody")
    if entry.pw_uid == 0:
        entry = pwd.getpwnam("nobody")
    return {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}


def limit_set(urls: Urls, limit: str = "2s") -> None:
    """What the README has the operator do: the application's role gets its limit for locks, in this database."""
    with psycopg.connect(urls.app, autocommit=True) as connection:
        connection.execute(
            f"ALTER ROLE CURRENT_USER IN DATABASE {connection.info.dbname} "  # type: ignore[call-overload]
            f"SET lock_timeout = '{limit}'"
        )
