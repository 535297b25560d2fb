"""Under whom the server runs and where its data stand: root, an ordinary user, paths that are out of reach."""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from shop import database
from shop.database import files, places
from shop.database.account import SYSTEM_USER, Account, server_account
from tests import servers
from tests.database.processes import attached, kill_all, python, store, stored, wait_for, words

pytestmark = pytest.mark.processes

ROOT = os.geteuid() == 0


def rights(directory: Path) -> tuple[int, int, int]:
    found = directory.stat()
    return found.st_mode, found.st_uid, found.st_gid


def place_cluster(used_dir: Path, data_dir: Path) -> None:
    if used_dir.exists():
        used_dir.rename(data_dir)


def test_long_path_moves_the_socket_to_a_private_directory(ground: Path, used_dir: Path) -> None:
    data_dir = ground / ("long" * 25)
    place_cluster(used_dir, data_dir)
    server = database.ensure(data_dir)
    try:
        assert server.socket_dir.parent == Path(tempfile.gettempdir())
        assert len(os.fsencode(server.socket_dir / places.SOCKET_NAME)) <= 100
        assert rights(server.socket_dir)[0] & 0o777 == 0o700
        store(server.owner_url, 1)
        assert database.ensure(data_dir).pid == server.pid
    finally:
        database.stop(data_dir)
        servers.forget(data_dir)


def test_long_path_refuses_a_socket_directory_that_somebody_else_laid_there(ground: Path) -> None:
    data_dir = ground / ("long" * 25)
    trap = places.socket_dir(data_dir)
    trap.mkdir(mode=0o777)
    trap.chmod(0o777)
    try:
        with pytest.raises(database.ServerError, match="mode 0700"):
            database.ensure(data_dir)
        assert rights(trap)[0] & 0o777 == 0o777
    finally:
        trap.rmdir()
        servers.forget(data_dir)


def test_path_with_blank_comma_and_quote(ground: Path, used_dir: Path) -> None:
    data_dir = ground / "a shop's, second floor"
    place_cluster(used_dir, data_dir)
    server = database.ensure(data_dir)
    try:
        with psycopg.connect(server.app_url) as connection:
            assert connection.execute("SELECT current_user").fetchone() == ("plates_app",)
    finally:
        database.stop(data_dir)
        servers.forget(data_dir)


@pytest.mark.parametrize("sign", ['"', "$", "`", "\\"])
def test_path_that_the_tools_cannot_take_is_refused_before_anything_is_made(ground: Path, sign: str) -> None:
    data_dir = ground / f"a{sign}b"
    with pytest.raises(database.ServerError, match="character"):
        database.ensure(data_dir)
    assert not data_dir.exists()


def test_user_without_a_name_is_told_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 3_999_999)
    with pytest.raises(database.ServerError, match=r"3999999 has no name.*DATABASE_URL"):
        server_account()


def test_missing_wheel_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "WHEEL", "no-such-wheel")
    with pytest.raises(database.ServerError, match=r"not installed.*DATABASE_URL"):
        files.carried()


if ROOT:  # what follows is about dropping root's rights, and an ordinary user has none to drop
    ORDINARY = "nobody"

    AS_ORDINARY = """
import os, pwd, sys
from pathlib import Path
import psycopg
from shop import database
from shop.database import files
if len(sys.argv) > 3:
    files.carried = lambda: Path(sys.argv[3])
entry = pwd.getpwnam(sys.argv[2])
os.setgroups([]); os.setgid(entry.pw_gid); os.setuid(entry.pw_uid)
try:
    server = database.ensure(Path(sys.argv[1]))
except database.ServerError as error:
    sys.exit(str(error))
with psycopg.connect(server.app_url) as connection:
    (user,) = connection.execute("SELECT current_user").fetchone()
print(server.pid, server.started_here, user, flush=True)
"""

    AS_STRANGER = """
import os, pwd, sys, psycopg
entry = pwd.getpwnam(sys.argv[2])
os.setgroups([]); os.setgid(entry.pw_gid); os.setuid(entry.pw_uid)
psycopg.connect(sys.argv[1])
"""

    def ordinary() -> Account:
        entry = pwd.getpwnam(ORDINARY)
        return Account(entry.pw_name, entry.pw_uid, entry.pw_gid, dropped=True)

    @pytest.fixture
    def reachable_tree(ground: Path) -> list[Path]:
        """Nothing where an ordinary user reaches the wheel, else a copy that it reaches, to be used instead."""
        tree = files.carried()
        return [] if files.usable(tree, ordinary()) else [files._copied(tree, ground / "copy")]

    def test_ordinary_user_runs_its_own_server(ground: Path, reachable_tree: list[Path]) -> None:
        account = ordinary()
        home = ground / "home"
        home.mkdir(mode=0o700)
        os.chown(home, account.uid, account.gid)
        data_dir = home / "var"
        pid, started, user = words(python(AS_ORDINARY, data_dir, ORDINARY, *reachable_tree))
        try:
            assert (started, user) == ("True", "plates_app")
            assert Path(f"/proc/{pid}").stat().st_uid == account.uid
            assert rights(data_dir)[:2] == (0o40700, account.uid)
            again = words(python(AS_ORDINARY, data_dir, ORDINARY, *reachable_tree))
            assert again == [pid, "False", "plates_app"]
            for refused in (database.ensure, database.stop, database.status):  # root is not that user
                with pytest.raises(database.ServerError, match=f"belongs to {ORDINARY}"):
                    refused(data_dir)
            assert attached(data_dir / "pg")
        finally:
            wait_for(lambda: kill_all(attached(data_dir / "pg")))

    def test_root_runs_the_server_as_a_system_user_and_touches_only_its_own(data_dir: Path) -> None:
        above = rights(data_dir.parent)
        server = database.ensure(data_dir)
        account = pwd.getpwnam(SYSTEM_USER)
        for pid in attached(server.cluster):
            assert Path(f"/proc/{pid}").stat().st_uid == account.pw_uid
        assert rights(data_dir.parent) == above
        assert rights(data_dir)[:2] == (0o40711, 0)
        assert rights(data_dir / "launcher")[:2] == (0o40700, 0)
        for private in (server.cluster, server.socket_dir):
            assert rights(private)[:2] == (0o40700, account.pw_uid)

    def test_other_users_find_two_shut_doors(used_dir: Path) -> None:
        """The directory of the socket; and peer authentication, even when that directory stands open."""
        server = database.ensure(used_dir)
        for reason in ("Permission denied", "Peer authentication failed"):
            attempt = python(AS_STRANGER, server.app_url, ORDINARY)
            _, errors = attempt.communicate(timeout=60)
            assert attempt.returncode != 0 and reason in errors
            server.socket_dir.chmod(0o711)
            (server.socket_dir / places.SOCKET_NAME).chmod(0o777)

    @pytest.fixture
    def shelter(ground: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
        """A directory in place of /var/lib/plates."""
        monkeypatch.setattr(places, "SHELTER", ground / "shelter")
        return ground / "shelter"

    @pytest.fixture
    def shut(ground: Path) -> Iterator[Path]:
        """A directory of root's that nobody else passes through, as a home of root is."""
        directory = ground / "shut"
        directory.mkdir(mode=0o700)
        yield directory
        for var in directory.iterdir():
            home = places.known(var)
            if home is not None:
                wait_for(lambda cluster=home.cluster: kill_all(attached(cluster)))
        assert rights(directory)[:2] == (0o40700, 0)

    def test_unreachable_data_directories_get_a_place_each(shut: Path, shelter: Path) -> None:
        first, second = database.ensure(shut / "one"), database.ensure(shut / "two")
        for server in (first, second):
            assert server.cluster.parent.parent == shelter
            assert (server.data_dir / "server").read_text() == f"{server.cluster.parent}\n"
            assert server.socket_dir == server.data_dir / "run"
        assert first.cluster != second.cluster
        store(first.owner_url, 1)
        store(second.owner_url, 2)
        database.stop(shut / "one")
        again = database.ensure(shut / "one")
        assert again.cluster == first.cluster and stored(again.owner_url) == [1]
        database.stop(shut / "one")
        shutil.rmtree(shut / "one")  # a data directory that was deleted does not come back with its old data
        assert places.settle(places.prepare(shut / "one")).cluster not in (first.cluster, second.cluster)
        assert first.cluster.is_dir()

    def test_copied_data_directory_is_refused_and_a_moved_one_is_served(shut: Path, shelter: Path) -> None:
        server = database.ensure(shut / "var")
        store(server.owner_url, 5)
        subprocess.run(["cp", "-a", shut / "var", shut / "copy"], check=True)
        with pytest.raises(database.ServerError, match="a copied data directory"):
            database.ensure(shut / "copy")
        database.stop(shut / "var")
        shutil.rmtree(shut / "copy")
        (shut / "var").rename(shut / "moved")
        moved = database.ensure(shut / "moved")
        assert moved.cluster == server.cluster and stored(moved.owner_url) == [5]

    def test_unreachable_files_of_the_server_are_copied_once(
        data_dir: Path, shut: Path, shelter: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        hidden = shut / "site-packages"
        package = files.carried().parent
        hidden.mkdir()
        shutil.copytree(files.carried(), hidden / package.name / files.TREE, symlinks=True)
        libraries = package.with_name(f"{package.name}.libs")
        shutil.copytree(libraries, hidden / libraries.name)
        monkeypatch.setattr(files, "carried", lambda: hidden / package.name / files.TREE)
        server = database.ensure(data_dir)
        program = Path(f"/proc/{server.pid}/exe").readlink()
        assert program.is_relative_to(shelter) and server.cluster.is_relative_to(shelter)
        (copy,) = shelter.glob("server-*")
        made = rights(copy), copy.stat().st_mtime_ns
        assert database.stop(data_dir)
        assert database.ensure(data_dir).started_here
        assert (rights(copy), copy.stat().st_mtime_ns) == made
        database.stop(data_dir)
        shutil.rmtree(hidden)  # the fixture looks at data directories only

    def test_data_given_to_another_account_are_refused_with_the_way_back(used_dir: Path) -> None:
        server = database.ensure(used_dir)
        database.stop(used_dir)
        os.chown(server.cluster, 0, 0)
        with pytest.raises(database.ServerError, match=f"chown -R {SYSTEM_USER}"):
            database.ensure(used_dir)
        owner = pwd.getpwnam(SYSTEM_USER)
        os.chown(server.cluster, owner.pw_uid, owner.pw_gid)
        assert database.ensure(used_dir).started_here
