"""The embedded server survives what happens in a shop: reloads, crashes, a cut-off start, two at once."""

import os
import signal
import subprocess
from pathlib import Path

import psycopg
import pytest

from shop import database
from shop.database import cluster, launcher, places
from tests.database.processes import (
    ENSURE,
    attached,
    kill_all,
    python,
    store,
    stored,
    wait_for,
    words,
)

pytestmark = pytest.mark.processes


def test_eight_cold_starts_at_once_give_one_server(data_dir: Path) -> None:
    starts = [python(ENSURE, data_dir) for _ in range(8)]
    answers = [words(start) for start in starts]
    assert len({pid for pid, _ in answers}) == 1
    assert sorted(started for _, started in answers) == ["False"] * 7 + ["True"]
    server = database.status(data_dir)
    assert server is not None and str(server.pid) == answers[0][0]
    assert not list(server.cluster.parent.glob("pg-making-*"))


def test_second_process_shares_the_server_and_the_first_may_go(used_dir: Path) -> None:
    assert words(python(ENSURE, used_dir))[1] == "True"
    server = database.ensure(used_dir)
    assert not server.started_here
    store(server.owner_url, 1)
    assert words(python(ENSURE, used_dir)) == [str(server.pid), "False"]
    assert stored(server.owner_url) == [1]


def test_roles_are_plain_and_apart(used_dir: Path) -> None:
    server = database.ensure(used_dir)
    with psycopg.connect(server.owner_url) as owner, psycopg.connect(server.app_url) as application:
        rights = "SELECT current_user, rolsuper, rolcreaterole FROM pg_roles WHERE rolname = current_user"
        assert owner.execute(rights).fetchone() == ("plates_owner", False, False)
        assert application.execute(rights).fetchone() == ("plates_app", False, False)
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            application.execute("CREATE TABLE made (value int)")
        shown = {name: owner.execute(f"SHOW {name}").fetchone() for name in ("listen_addresses", "fsync")}
    assert shown == {"listen_addresses": ("",), "fsync": ("on",)}


@pytest.mark.parametrize("victims", ["the first process", "every process"])
def test_killed_server_comes_back_with_what_was_committed(used_dir: Path, victims: str) -> None:
    server = database.ensure(used_dir)
    store(server.owner_url, 7)
    with psycopg.connect(server.owner_url) as open_transaction:
        open_transaction.execute("INSERT INTO kept VALUES (8)")
        kill_all([server.pid] if victims == "the first process" else attached(server.cluster))
        again = database.ensure(used_dir)
        open_transaction.close()
    assert again.started_here and again.pid != server.pid
    assert stored(again.owner_url) == [7]


def test_killed_application_leaves_server_and_locks_in_order(used_dir: Path) -> None:
    server = database.ensure(used_dir)
    store(server.owner_url, 1)
    holder = python(
        "import sys, time, psycopg\n"
        "c = psycopg.connect(sys.argv[1]); c.execute('SELECT * FROM kept FOR UPDATE')\n"
        "print('locked', flush=True); time.sleep(600)",
        server.owner_url,
    )
    assert holder.stdout is not None and holder.stdout.readline() == "locked\n"
    with psycopg.connect(server.owner_url, options="-c lock_timeout=30s") as connection:
        with pytest.raises(psycopg.errors.LockNotAvailable), connection.transaction():
            connection.execute("SELECT * FROM kept FOR UPDATE NOWAIT")
        holder.kill()
        holder.communicate()
        assert connection.execute("SELECT * FROM kept FOR UPDATE").fetchall() == [(1,)]
    assert database.ensure(used_dir) == database.status(used_dir)
    assert database.ensure(used_dir).pid == server.pid


def with_recycled_pid(server: database.Server) -> subprocess.Popen[bytes]:
    """Kill the server and let a stranger of the same account have the number that its pid file names."""
    kill_all(attached(server.cluster))
    owner = server.cluster.stat()
    account = {"user": owner.st_uid, "group": owner.st_gid, "extra_groups": []} if os.geteuid() == 0 else {}
    stranger = subprocess.Popen(["sleep", "600"], **account)
    file = server.cluster / "postmaster.pid"
    lines = file.read_text().splitlines(keepends=True)
    file.write_text("".join([f"{stranger.pid}\n", *lines[1:]]))
    return stranger


def test_pid_file_with_a_recycled_number_does_not_stop_a_start(used_dir: Path) -> None:
    server = database.ensure(used_dir)
    store(server.owner_url, 3)
    stranger = with_recycled_pid(server)
    try:
        again = database.ensure(used_dir)
        assert again.started_here and stored(again.owner_url) == [3]
        assert stranger.poll() is None
    finally:
        stranger.kill()
        stranger.wait()


def test_recycled_number_does_stop_a_server_that_is_left_to_itself(
    used_dir: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The control for the test above: without our look at the pid file PostgreSQL refuses."""
    stranger = with_recycled_pid(database.ensure(used_dir))
    try:
        with monkeypatch.context() as patched:
            patched.setattr(cluster, "_drop_stale_files", lambda home: None)
            with pytest.raises(database.ServerError, match=r"lock file .*postmaster\.pid.* already exists"):
                database.ensure(used_dir)
    finally:
        stranger.kill()
        stranger.wait()


def test_pid_file_cut_short_does_not_stop_a_start(used_dir: Path) -> None:
    server = database.ensure(used_dir)
    kill_all(attached(server.cluster))
    (server.cluster / "postmaster.pid").write_text("")
    assert database.ensure(used_dir).started_here


def by_hand(home: places.Home, directory: Path, action: str) -> None:
    tree = cluster.files.tree_for(home.account, places.SHELTER)
    directory.mkdir(exist_ok=True)
    os.chown(directory, home.account.uid, home.account.gid)
    home.account.must(
        tree / "bin" / "pg_ctl", action, "-w", "-D", home.cluster,
        *(["-l", directory / "log", "-o", f"-k {directory} -c listen_addresses="] if action == "start" else []),
    )  # fmt: skip


def test_server_started_by_hand_is_not_joined_by_a_second(used_dir: Path, ground: Path) -> None:
    server = database.ensure(used_dir)
    database.stop(used_dir)
    home = places.known(used_dir)
    assert home is not None
    by_hand(home, ground / "hand", "start")
    try:
        before = attached(server.cluster)
        with pytest.raises(database.ServerError, match="started by hand"):
            database.ensure(used_dir)
        assert set(before) <= set(attached(server.cluster))
    finally:
        by_hand(home, ground / "hand", "stop")
    assert database.ensure(used_dir).started_here


def test_server_started_by_hand_without_its_pid_file_is_not_joined_either(used_dir: Path, ground: Path) -> None:
    """PostgreSQL's own guard stands behind ours: the shared memory is still in use."""
    server = database.ensure(used_dir)
    database.stop(used_dir)
    home = places.known(used_dir)
    assert home is not None
    by_hand(home, ground / "hand", "start")
    (server.cluster / "postmaster.pid").unlink()
    with pytest.raises(database.ServerError, match=r"shared memory block .* still in use"):
        database.ensure(used_dir)


def test_lost_socket_is_named_and_stop_still_ends_the_server(
    used_dir: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    server = database.ensure(used_dir)
    (server.socket_dir / places.SOCKET_NAME).unlink()
    monkeypatch.setattr(launcher, "SILENCE", 0.2)
    with pytest.raises(database.ServerError, match="does not answer"):
        database.ensure(used_dir)
    assert database.stop(used_dir)
    assert attached(server.cluster) == []
    assert database.ensure(used_dir).started_here


def test_stop_leaves_no_process_and_says_when_there_was_none(used_dir: Path) -> None:
    assert database.stop(used_dir) is False
    assert database.stop(used_dir / "other") is False and not (used_dir / "other").exists()
    server = database.ensure(used_dir)
    assert server.pid in attached(server.cluster)
    with psycopg.connect(server.app_url):  # an open connection does not hold it up
        assert database.stop(used_dir) is True
    assert attached(server.cluster) == [] and database.status(used_dir) is None
    assert database.stop(used_dir) is False


SERVE_UNTIL_TOLD = """
import signal, sys
from pathlib import Path
from shop import database
signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
data_dir = Path(sys.argv[1])
server = database.ensure(data_dir)
try:
    print("ready", flush=True)
    signal.pause()
finally:
    if server.started_here:
        database.stop(data_dir)
"""


@pytest.mark.parametrize(
    ("told", "moment"),
    [
        (signal.SIGINT, "making the cluster"),
        (signal.SIGINT, "starting"),
        (signal.SIGTERM, "starting"),
        (signal.SIGTERM, "serving"),
    ],
)
def test_signal_leaves_no_process_behind(data_dir: Path, told: signal.Signals, moment: str) -> None:
    program = python(SERVE_UNTIL_TOLD, data_dir, start_new_session=True)
    place = wait_for(lambda: launcher_place(data_dir))
    if moment == "making the cluster":
        wait_for(lambda: list(place.glob("pg-making-*/PG_VERSION")))
    elif moment == "starting":
        wait_for((place / "pg" / "postmaster.pid").exists)
    else:
        assert program.stdout is not None and program.stdout.readline() == "ready\n"
    if told is signal.SIGINT:
        os.killpg(program.pid, told)  # as a terminal does: the whole group hears Ctrl-C
    else:
        program.terminate()
    _, errors = program.communicate(timeout=60)
    assert attached(place / "pg") == [], errors
    assert not list(place.glob("pg-making-*"))
    assert database.ensure(data_dir).started_here


def launcher_place(data_dir: Path) -> Path | None:
    """Where the data will stand, once the launcher has decided."""
    named = data_dir / "server"
    if named.is_file() and named.read_text().endswith("\n"):
        return Path(named.read_text().strip())
    return data_dir if (data_dir / "run").is_dir() else None


def test_start_killed_half_way_leaves_nothing_under_the_final_name(data_dir: Path) -> None:
    program = python(ENSURE, data_dir)
    place = wait_for(lambda: launcher_place(data_dir))
    wait_for(lambda: list(place.glob("pg-making-*/PG_VERSION")))
    program.kill()
    program.communicate()
    assert not (place / "pg").exists()
    server = database.ensure(data_dir)
    assert server.started_here
    store(server.owner_url, 1)


def snapshot(directory: Path) -> dict[str, tuple[int, int, int]]:
    found = {}
    for path in [directory, *directory.rglob("*")]:
        seen = path.lstat()
        found[str(path)] = (seen.st_mtime_ns, seen.st_mode, seen.st_uid)
    return found


def test_data_of_another_major_version_are_refused_untouched(used_dir: Path) -> None:
    server = database.ensure(used_dir)
    database.stop(used_dir)
    (server.cluster / "PG_VERSION").write_text("17\n")
    before = snapshot(server.cluster)
    with pytest.raises(database.ServerError, match=r"PostgreSQL 17.*backup.*restore"):
        database.ensure(used_dir)
    assert snapshot(server.cluster) == before


@pytest.mark.parametrize("content", ["notes.txt", "base/1/1259"])
def test_directory_that_is_no_cluster_is_refused_untouched(data_dir: Path, content: str) -> None:
    file = data_dir / "pg" / content
    file.parent.mkdir(parents=True)
    file.write_text("somebody's")
    before = snapshot(data_dir / "pg")
    with pytest.raises(database.ServerError, match=r"not empty.*nothing was touched.*Move it away"):
        database.ensure(data_dir)
    assert snapshot(data_dir / "pg") == before
    assert file.read_text() == "somebody's"
