"""PostgreSQL servers for the tests: the embedded one through its launcher, or Debian's in a directory of its own.

Both stand in temporary directories, listen on a private socket only, and are gone after `stop`.
"""

import os
import pwd
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

import psycopg

from shop import database
from shop.database import cluster, places
from shop.database.account import Account, server_account

#: Test servers hold nothing worth a wait for the disk. The tests of survival start servers without this.
FAST = ("fsync", "full_page_writes", "synchronous_commit")

#: The owner's URL, the application's, and what ends the server.
Started = tuple[str, str, Callable[[], None]]


def start(kind: str) -> Started:
    """Start a server of the kind `embedded` or `debian`."""
    return {"embedded": start_embedded, "debian": start_debian}[kind]()


def start_embedded(fast: bool = True) -> Started:
    """The embedded server, as an application starts it, in a data directory of its own; ``fast``: it does not wait for
    the disk.
    """
    base = Path(tempfile.mkdtemp(prefix="plates-"))
    base.chmod(0o711)  # the server's account passes through where the tests run as root
    data_dir = base / "var"

    def stop() -> None:
        database.stop(data_dir)
        forget(data_dir)
        shutil.rmtree(base)

    try:
        server = database.ensure(data_dir)
        with psycopg.connect(cluster.conninfo(server.socket_dir), autocommit=True) as connection:
            for setting in FAST if fast else ():
                connection.execute(f"ALTER SYSTEM SET {setting} = off")
            connection.execute("SELECT pg_reload_conf()")
    except BaseException:
        stop()
        raise
    return server.owner_url, server.app_url, stop


def forget(data_dir: Path) -> None:
    """Remove what a data directory keeps outside itself: its place under the shelter, its moved socket."""
    named = data_dir / "server"
    if named.is_file():
        shutil.rmtree(named.read_text().strip())
    moved = places.socket_dir(data_dir)
    if moved.parent != data_dir.resolve() and moved.exists():
        shutil.rmtree(moved)


def debian_tools() -> Path | None:
    """The programs of the newest PostgreSQL that Debian's packages have installed, or None."""
    found = [path.parent for path in Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    return max(found, key=lambda path: int(path.parent.name), default=None)


def start_debian() -> Started:
    """Debian's server in a temporary directory; trust is safe there, only its account and root come in."""
    tools = debian_tools()
    if tools is None:
        raise RuntimeError("PLATES_TEST_SERVER=debian needs Debian's package postgresql; it is not installed.")
    account = _account()
    base = Path(tempfile.mkdtemp(prefix="plates-"))
    data = base / "data"
    pg_ctl = (tools / "pg_ctl", "-D", data, "-w", "-t", "60")

    def stop() -> None:
        if (data / "postmaster.pid").exists():
            account.must(*pg_ctl, "stop", "-m", "fast")
        shutil.rmtree(base)

    try:
        if account.dropped:
            os.chown(base, account.uid, account.gid)
        account.must(
            tools / "initdb", "-D", data, "-U", cluster.SUPERUSER, "-E", "UTF8", "--locale=C.UTF-8",
            "--auth=trust", "--no-sync",
        )  # fmt: skip
        options = f"-c listen_addresses= -c unix_socket_directories={base} "
        options += " ".join(f"-c {setting}=off" for setting in FAST)
        account.must(*pg_ctl, "-l", data / "start.log", "-o", options, "start")
        cluster.complete(base)
    except BaseException:
        stop()
        raise
    host = quote(str(base), safe="")
    owner, application = (
        f"postgresql://{role}@/{cluster.DATABASE}?host={host}&port={cluster.PORT}"
        for role in (cluster.OWNER, cluster.APPLICATION)
    )
    return owner, application, stop


def _account() -> Account:
    """Ourselves, or as root the user that Debian's package makes, else the one that our launcher makes."""
    if os.geteuid() == 0:
        try:
            entry = pwd.getpwnam("postgres")
        except KeyError:
            return server_account()
        return Account(entry.pw_name, entry.pw_uid, entry.pw_gid, dropped=True)
    return server_account()
