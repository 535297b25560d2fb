"""The cluster itself: made whole or not at all, started with the settings that keep it private."""

from __future__ import annotations

import os
import shlex
import shutil
import tempfile
from pathlib import Path

import psycopg
from psycopg import sql
from psycopg.conninfo import make_conninfo
from psycopg.pq import PGconn, Ping

from . import files, places
from .account import ServerError, own_name
from .places import SOCKET_NAME, Home

SUPERUSER = "postgres"
OWNER = "plates_owner"
APPLICATION = "plates_app"
DATABASE = "plates"
PORT = "5432"

# Written into postgresql.conf once, when the cluster is made: a shop may change them there.
SETTINGS = {
    "max_connections": "100",
    "shared_buffers": "128MB",
    "max_wal_size": "512MB",
    "fsync": "on",
    "synchronous_commit": "on",
    "full_page_writes": "on",
    "client_connection_check_interval": "5s",  # locks of a killed application are not kept for long
    "log_destination": "stderr",
    "logging_collector": "on",
    "log_directory": "log",
    "log_filename": "plates-%a.log",  # one a weekday, so a week is kept
    "log_truncate_on_rotation": "on",
    "log_rotation_age": "1d",
    "log_rotation_size": "0",
    "log_line_prefix": "%m [%p] %q%u %a ",
    "log_lock_waits": "on",
    "timezone": "UTC",
    "log_timezone": "UTC",
}


def conninfo(socket_dir: Path, *, role: str = SUPERUSER, database: str = "postgres") -> str:
    return make_conninfo(host=str(socket_dir), port=PORT, user=role, dbname=database, connect_timeout=10)


def answers(socket_dir: Path) -> Ping:
    """OK when connections are taken, REJECT while starting or stopping, NO_RESPONSE when nothing is there."""
    return Ping(PGconn.ping(conninfo(socket_dir).encode()))


def check(home: Home) -> bool:
    """Whether a cluster of our version is there. False when nothing is; ServerError for anything else."""
    cluster = home.cluster
    version = cluster / "PG_VERSION"
    if not version.is_file():
        if cluster.exists() and (not cluster.is_dir() or any(cluster.iterdir())):
            raise ServerError(
                f"{cluster} is not empty and holds no PostgreSQL data; nothing was touched. "
                "Move it away, or set PLATES_DATA_DIR to another directory."
            )
        return False
    found = version.read_text().strip()
    if found != files.MAJOR:
        raise ServerError(
            f"{cluster} holds data of PostgreSQL {found}, and this program brings {files.MAJOR}; nothing was "
            "touched. With the release that wrote it run `manage.py backup FILE`, move the directory away, "
            "and run `manage.py restore FILE` with this one."
        )
    if cluster.stat().st_uid != home.account.uid:
        raise ServerError(
            f"{cluster} does not belong to {home.account.name}, under whom the server runs; nothing was "
            f"touched. If these are your data, give them over: chown -R {home.account.name} {cluster}"
        )
    return True


def create(home: Home, tree: Path) -> None:
    """Make the cluster beside its place and move it there when it is whole.

    A start that dies half-way leaves a `pg-making-…` directory behind and nothing under the final name.
    """
    making = Path(tempfile.mkdtemp(prefix="pg-making-", dir=home.place))
    try:
        if home.account.dropped:
            os.chown(making, home.account.uid, home.account.gid)
        settings = [f"--set={name}={value}" for name, value in SETTINGS.items()]
        home.account.must(
            tree / "bin" / "initdb", f"--pgdata={making}", f"--username={SUPERUSER}", "--encoding=UTF8",
            "--locale=C", "--locale-provider=builtin", "--builtin-locale=C.UTF-8",
            "--auth-local=peer", "--auth-host=reject", *settings,
        )  # fmt: skip
        making.rename(home.cluster)
        _settle_on_disk(home.place)
    except BaseException:
        shutil.rmtree(making, ignore_errors=True)
        raise


def _settle_on_disk(directory: Path) -> None:
    """A new name is only safe from a power cut when its directory has been written."""
    descriptor = os.open(directory, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def start(home: Home, held: int) -> None:
    """Start the server and wait until it is ready. `held` is the lock that the server's processes inherit:
    as long as one of them lives, the lock is taken, whatever a pid file says."""
    tree = files.tree_for(home.account, places.SHELTER)
    if not check(home):
        create(home, tree)
    _drop_stale_files(home)
    users = dict.fromkeys((own_name(), home.account.name))
    roles = (SUPERUSER, OWNER, APPLICATION)
    quoted = {user: '"' + user.replace('"', '""') + '"' for user in users}
    identities = "".join(f"plates {quoted[user]} {role}\n" for user in users for role in roles)
    home.account.must("tee", home.cluster / "pg_ident.conf", text_in=identities)
    home.account.must("tee", home.cluster / "pg_hba.conf", text_in="local all all peer map=plates\n")
    directory = f'"{home.server_socket_dir}"'  # in quotes, since the server reads a list
    private = {
        "listen_addresses": "",
        "port": PORT,
        "unix_socket_directories": directory,
        "unix_socket_permissions": "0700",
    }
    options = " ".join(f"-c {name}={shlex.quote(value)}" for name, value in private.items())
    log = home.cluster / "start.log"
    done = home.account.run(
        tree / "bin" / "pg_ctl", "start", "-w", "-t", "600", "-D", home.cluster, "-l", log, "-o", options,
        keep_open=(held,),
    )  # fmt: skip
    if done.returncode:
        raise ServerError(
            f"The embedded server did not start: {done.stderr.strip() or done.stdout.strip()}\n"
            f"{_last_words(home.cluster)}"
        )


def request_stop(home: Home) -> None:
    """Ask the server to end: open transactions are rolled back, everything committed is kept."""
    tree = files.tree_for(home.account, places.SHELTER)
    home.account.run(tree / "bin" / "pg_ctl", "stop", "-m", "fast", "-w", "-t", "120", "-D", home.cluster)


def complete(socket_dir: Path) -> None:
    """Make the roles and the database where they are missing."""
    with psycopg.connect(conninfo(socket_dir), autocommit=True) as connection:
        roles = {name for (name,) in connection.execute("SELECT rolname FROM pg_roles")}
        # The owner may create databases: a restore is proved in one of its own.
        for role, ability in ((OWNER, "CREATEDB"), (APPLICATION, "NOCREATEDB")):
            if role not in roles:
                making = sql.SQL("CREATE ROLE {} LOGIN NOSUPERUSER {}")
                connection.execute(making.format(sql.Identifier(role), sql.SQL(ability)))
        if not connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE]).fetchone():
            making = sql.SQL("CREATE DATABASE {} OWNER {}")
            connection.execute(making.format(sql.Identifier(DATABASE), sql.Identifier(OWNER)))


def pid_file(cluster: Path) -> list[str]:
    """The lines of postmaster.pid, empty when there is none: pid, data directory, start, port, socket
    directory, address, shared memory, status."""
    try:
        return [line.strip() for line in (cluster / "postmaster.pid").read_text().splitlines()]
    except FileNotFoundError:
        return []


def _drop_stale_files(home: Home) -> None:
    """Remove what a dead server left and a new one would take for signs of life.

    That is a pid file which is cut short, or whose process id is a stranger's now, and the file beside the
    socket that holds the same number.

    Called with the server's lock in our hands, so none of our servers is alive here. One that somebody
    started by hand is looked for at the socket that its pid file names. When the process is dead the server
    deals with the file itself, and checks the shared memory besides.
    """
    (home.server_socket_dir / f"{SOCKET_NAME}.lock").unlink(missing_ok=True)
    lines = pid_file(home.cluster)
    whole = len(lines) >= 5 and lines[0].isdigit()
    if whole and not _alive(int(lines[0])):
        return
    if whole and _same(Path(lines[1]), home.cluster) and answers(Path(lines[4])) is not Ping.NO_RESPONSE:
        raise ServerError(
            f"A server that was started by hand (process {lines[0]}) uses {home.cluster}. Stop it first."
        )
    (home.cluster / "postmaster.pid").unlink(missing_ok=True)


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _same(one: Path, other: Path) -> bool:
    return one.exists() and one.samefile(other)


def _last_words(cluster: Path) -> str:
    """The end of the log that was written last: start.log until the server opens its own."""
    logs = [path for path in (cluster / "start.log", *cluster.glob("log/*.log")) if path.is_file()]
    if not logs:
        return "It left no log."
    log = max(logs, key=lambda path: path.stat().st_mtime_ns)
    return "\n".join([f"The end of {log}:", *log.read_text(errors="replace").splitlines()[-8:]])
