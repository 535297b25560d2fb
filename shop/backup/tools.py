"""pg_dump and pg_restore of the server's own version, run as ourselves with the owner's connection."""

import contextlib
import os
import re
import signal
import subprocess
from pathlib import Path

from django.db.backends.base.base import BaseDatabaseWrapper
from psycopg.conninfo import make_conninfo

from shop.backup.errors import BackupError
from shop.database import ServerError, files


def tool_run(connection: BaseDatabaseWrapper, name: str, *arguments: str | Path, left: str) -> None:
    """Run a program of the server on the database of this connection. Raises BackupError with its words, and with
    what it has ``left`` when it fails.

    It gets our environment, as our own connection did. The password goes by the environment, too: other people of
    the machine see the arguments of a program.
    """
    given = {k: v for k, v in connection.get_connection_params().items() if isinstance(v, str)}
    password = given.pop("password", "")
    command = [_tool(name, server_major(connection)), f"--dbname={make_conninfo(**given)}", "--no-password", *arguments]
    environ = {**os.environ, **({"PGPASSWORD": password} if password else {})}
    done = subprocess.run(  # noqa: S603
        command, env=environ, stdin=subprocess.DEVNULL, capture_output=True, text=True, errors="replace", check=False
    )
    if done.returncode:
        words = (done.stderr or done.stdout).strip()[-2000:]
        if done.returncode < 0:  # as by a system without memory
            words = f"{words} It was ended by {signal.Signals(-done.returncode).name}.".strip()
        raise BackupError(f"{name} failed: {words}\n{left}")


def server_major(connection: BaseDatabaseWrapper) -> int:
    with connection.cursor() as cursor:
        cursor.execute("SHOW server_version_num")
        return int(cursor.fetchone()[0]) // 10_000


def _tool(name: str, major: int) -> Path:
    """The program of exactly this version: a newer one writes and sends what an older server does not read."""
    for directory in _directories(major):
        program = directory / name
        if os.access(program, os.X_OK) and _major_of(program) == major:
            return program
    raise BackupError(
        f"The server is PostgreSQL {major}, and no {name} of that version is here. Install its client programs (on "
        f"Debian the package postgresql-client-{major}), or put their directory into PATH."
    )


def _directories(major: int) -> list[Path]:
    found = [Path(f"/usr/lib/postgresql/{major}/bin"), Path(f"/usr/pgsql-{major}/bin")]
    if str(major) == files.MAJOR:
        with contextlib.suppress(ServerError):  # a server named by DATABASE_URL does without the wheel
            found.insert(0, files.carried() / "bin")
    return [*found, *(Path(entry) for entry in os.get_exec_path())]


def _major_of(program: Path) -> int | None:
    said = subprocess.run([program, "--version"], capture_output=True, text=True, check=False).stdout  # noqa: S603
    version = re.search(r"\(PostgreSQL\) ([0-9]+)", said)
    return int(version[1]) if version else None
