"""The whole database to one file and back."""

import json
import os
import resource
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import connections

from shop.backup import BackupError, acts, backup_drill, backup_make, backup_restore, manifest, tools
from shop.backup.contents import tables_read
from tests.conftest import Urls, pointed_at
from tests.database.processes import ROOT

LEDGER = "SELECT * FROM plates_ledgerline ORDER BY plate_id, seq"


def rows_of(urls: Urls) -> dict[str, int]:
    """The number of rows of every table."""
    with psycopg.connect(urls.owner) as connection:
        names = [name for (name,) in connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")]
        return {name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in names}


def asked(url: str, question: str) -> list[tuple]:
    with psycopg.connect(url) as connection:
        return connection.execute(question).fetchall()


def databases_of(urls: Urls) -> set[str]:
    found = asked(urls.owner, "SELECT datname FROM pg_database WHERE datname LIKE 'plates_drill_%'")
    return {name for (name,) in found}


@pytest.fixture(scope="session")
def backed_up(loaded: Urls, tmp_path_factory, django_db_blocker) -> Path:
    """A backup of the demo shop. Not to be changed: it is copied."""
    file = tmp_path_factory.mktemp("backup") / "demo.backup"
    with pointed_at(loaded), django_db_blocker.unblock():
        backup_make(file)
    return file


def test_every_row_comes_back_and_the_ledger_with_it(loaded: Urls, backed_up: Path, empty: Urls) -> None:
    call_command("restore", backed_up)
    there, here = rows_of(loaded), rows_of(empty)
    assert here == there and sum(there.values()) > 1000
    assert asked(empty.owner, LEDGER) == asked(loaded.owner, LEDGER) != []
    call_command("ledger_verify")
    call_command("migrate", check_unapplied=True, verbosity=0)


def test_both_roles_get_their_rights_again(backed_up: Path, empty: Urls) -> None:
    backup_restore(backed_up)
    owner, role = (connections[alias].settings_dict["USER"] for alias in ("owner", "default"))
    assert asked(empty.owner, "SELECT DISTINCT tableowner FROM pg_tables WHERE schemaname = 'public'") == [(owner,)]
    if owner == role:
        return
    allowed = "SELECT has_table_privilege('{}', '{}', '{}')".format
    assert asked(empty.owner, allowed(role, "plates_plate", "UPDATE")) == [(True,)]
    assert asked(empty.owner, allowed(role, "plates_ledgerline", "INSERT")) == [(True,)]
    for right in ("UPDATE", "DELETE", "TRUNCATE"):
        assert asked(empty.owner, allowed(role, "plates_ledgerline", right)) == [(False,)]


def test_the_guards_of_the_ledger_come_back(backed_up: Path, empty: Urls) -> None:
    backup_restore(backed_up)
    with psycopg.connect(empty.owner) as connection, pytest.raises(psycopg.Error, match="only grows"):
        connection.execute("DELETE FROM plates_ledgerline")


def test_a_backup_is_for_its_owner_alone_and_never_overwrites(loaded: Urls, tmp_path: Path, django_db_blocker) -> None:
    file = tmp_path / "shop.backup"
    with pointed_at(loaded), django_db_blocker.unblock():
        backup_make(file)
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
        before = file.read_bytes()
        with pytest.raises(CommandError, match="is there already and was left as it is"):
            call_command("backup", file)
    assert file.read_bytes() == before
    assert list(tmp_path.iterdir()) == [file]


def test_a_broken_backup_leaves_no_file(loaded: Urls, tmp_path: Path, django_db_blocker, monkeypatch) -> None:
    def broken(connection, name: str, *arguments: str | Path, left: str) -> None:
        Path(next(a for a in map(str, arguments) if a.startswith("--file="))[7:]).write_bytes(b"PGDMP half")
        raise BackupError("pg_dump failed: no space left")

    monkeypatch.setattr(acts, "tool_run", broken)
    with pointed_at(loaded), django_db_blocker.unblock(), pytest.raises(CommandError, match="no space left"):
        call_command("backup", tmp_path / "shop.backup")
    assert list(tmp_path.iterdir()) == []


def test_the_words_of_the_servers_program_are_told(empty: Urls) -> None:
    with pytest.raises(BackupError, match=r"pg_restore failed: .*no/such"):
        acts.tool_run(connections["owner"], "pg_restore", "no/such", left="")


def test_nothing_to_back_up(empty: Urls, tmp_path: Path) -> None:
    with pytest.raises(BackupError, match="never migrated"):
        backup_make(tmp_path / "shop.backup")
    assert list(tmp_path.iterdir()) == []


def test_a_database_that_holds_something_is_not_restored_into(backed_up: Path, demo: Urls) -> None:
    before = rows_of(demo)
    with pytest.raises(CommandError, match=r"is not empty.*PLATES_DATA_DIR to a new directory.*restore_drill"):
        call_command("restore", backed_up)
    assert rows_of(demo) == before


@pytest.mark.parametrize("content", [b"", b"PGDMP", b"a letter\n", b'PGDMP\n{"kind": "another"}\n', b"PGDMP\n[]\n"])
def test_a_file_that_is_no_backup(empty: Urls, tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "letter"
    file.write_bytes(content)
    with pytest.raises(BackupError, match="is no backup"):
        backup_restore(file)
    assert rows_of(empty) == {}


def test_a_file_that_is_not_there(empty: Urls, tmp_path: Path) -> None:
    with pytest.raises(BackupError, match="cannot be read: No such file"):
        backup_restore(tmp_path / "nothing")


@pytest.mark.parametrize("place", [0.01, 0.3, 0.6, 0.97])
def test_one_flipped_bit_is_found_before_anything_is_changed(
    backed_up: Path, empty: Urls, tmp_path: Path, place: float
) -> None:
    content = bytearray(backed_up.read_bytes())
    archive_bytes = json.loads(content.splitlines()[-1])["archive_bytes"]
    content[int(place * archive_bytes)] ^= 1
    file = tmp_path / "flipped"
    file.write_bytes(content)
    for restore in (backup_restore, backup_drill):
        with pytest.raises(BackupError, match="is damaged"):
            restore(file)
    assert rows_of(empty) == {}


def test_a_file_cut_short(backed_up: Path, empty: Urls, tmp_path: Path) -> None:
    file = tmp_path / "short"
    file.write_bytes(backed_up.read_bytes()[:-100])
    with pytest.raises(BackupError, match="its end is missing"):
        backup_restore(file)


@pytest.mark.parametrize("line", [b"[" * 100_000, b'{"kind": 1}', b'["kind"]', b"\xff"])
def test_a_last_line_that_is_none_of_ours(backed_up: Path, empty: Urls, tmp_path: Path, line: bytes) -> None:
    file = tmp_path / "tampered"
    file.write_bytes(backed_up.read_bytes().removesuffix(b"\n").rpartition(b"\n")[0] + b"\n" + line + b"\n")
    with pytest.raises(BackupError, match="is no backup of"):
        backup_restore(file)


@pytest.mark.parametrize(
    ("was", "now"),
    [(b'plates_bin": [', b'plates_bin": [1'), (b'"archive_bytes": ', b'"archive_bytes": -'), (b'"made_at', b'"x')],
)
def test_a_changed_last_line_is_found_before_anything_is_changed(
    backed_up: Path, empty: Urls, tmp_path: Path, was: bytes, now: bytes
) -> None:
    file = tmp_path / "tampered"
    content = backed_up.read_bytes()
    assert content.count(was) == 1
    file.write_bytes(content.replace(was, now))
    with pytest.raises(BackupError, match=r"is damaged.*Nothing was changed"):
        backup_restore(file)
    assert rows_of(empty) == {}


def test_what_is_no_file_to_read_or_to_write(loaded: Urls, tmp_path: Path, django_db_blocker) -> None:
    with pointed_at(loaded), django_db_blocker.unblock():
        for name in (tmp_path, tmp_path / "none", Path("~/none")):
            with pytest.raises(CommandError, match=r"cannot be read: .*that this user may read"):
                call_command("restore", name)
        for name in (Path("~/none"), tmp_path / "none" / "shop.backup"):
            with pytest.raises(CommandError, match=r"cannot be written to: No such file.*a directory that is there"):
                call_command("backup", name)
        with pytest.raises(CommandError, match="is there already"):
            call_command("backup", tmp_path)


def test_a_file_of_somebody_else(backed_up: Path, tmp_path: Path) -> None:
    file = tmp_path / "theirs"
    file.write_bytes(backed_up.read_bytes())
    file.chmod(0)
    me = os.geteuid()
    try:
        if me == 0:  # may read everything
            os.seteuid(65534)
        with pytest.raises(CommandError, match=r"cannot be read: Permission denied\..*that this user may read"):
            call_command("restore", file)
    finally:
        os.seteuid(me)


@pytest.mark.parametrize("room", [50_000, 0.99999])
def test_a_full_disk_leaves_no_file(
    loaded: Urls, backed_up: Path, tmp_path: Path, django_db_blocker, room: float
) -> None:
    """In the middle of the archive, or at the line behind it."""
    limit = int(room if room > 1 else room * backed_up.stat().st_size)
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    with pointed_at(loaded), django_db_blocker.unblock():
        try:
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, before[1]))
            with pytest.raises(CommandError, match=r"(?s)(SIGXFSZ|File too large)\..No file was left behind\. M"):
                call_command("backup", tmp_path / "shop.backup")
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert list(tmp_path.iterdir()) == []


def manifest_changed(backed_up: Path, file: Path, **members: object) -> Path:
    """A copy whose last line says something else, and has the right checksum."""
    archive, _, line = backed_up.read_bytes().removesuffix(b"\n").rpartition(b"\n")
    said = {**json.loads(line), **members}
    del said["sha256"]
    said["sha256"] = manifest._seal(backed_up, said)
    file.write_bytes(archive + b"\n" + json.dumps(said).encode() + b"\n")
    return file


@pytest.mark.parametrize(
    ("members", "said"),
    [
        ({"server": 99}, "comes from PostgreSQL 99.*Restore on PostgreSQL 99 or later"),
        ({"migrations": ["plates.0001_initial", "plates.9999_later"]}, "a newer release.*plates.9999_later"),
        ({"format": 2}, "a newer release"),
    ],
)
def test_a_newer_backup_is_refused(backed_up: Path, empty: Urls, tmp_path: Path, members: dict, said: str) -> None:
    with pytest.raises(BackupError, match=said):
        backup_restore(manifest_changed(backed_up, tmp_path / "newer", **members))
    assert rows_of(empty) == {}


def test_a_row_too_few_is_a_difference(backed_up: Path, demo: Urls, tmp_path: Path) -> None:
    tables = json.loads(backed_up.read_bytes().splitlines()[-1])["tables"]
    tables["public.plates_bin"][0] += 1
    before = rows_of(demo)
    with pytest.raises(CommandError, match=r"these tables differ: public.plates_bin"):
        call_command("restore_drill", manifest_changed(backed_up, tmp_path / "more", tables=tables))
    assert (databases_of(demo), rows_of(demo)) == (set(), before)


def test_a_changed_figure_changes_the_digest_of_its_table(demo: Urls) -> None:
    before = tables_read(connections["owner"])
    with psycopg.connect(demo.owner) as connection:
        connection.execute("UPDATE plates_bin SET code = code || 'x' WHERE id = (SELECT id FROM plates_bin LIMIT 1)")
    after = tables_read(connections["owner"])
    assert [name for name in before if before[name] != after[name]] == ["public.plates_bin"]
    assert before["public.plates_bin"].rows == after["public.plates_bin"].rows


def test_a_shelf_that_is_not_what_the_ledger_says_fails_the_drill(demo: Urls, tmp_path: Path) -> None:
    with psycopg.connect(demo.owner) as connection:
        connection.execute(
            "UPDATE plates_plate SET thickness_nm = thickness_nm + 1 WHERE id = (SELECT id FROM plates_plate LIMIT 1)"
        )
    backup_make(tmp_path / "wrong")
    with pytest.raises(CommandError, match=r"(?s)thickness is .*1 differences between shelf and ledger"):
        call_command("restore_drill", tmp_path / "wrong")
    assert databases_of(demo) == set()


def test_a_drill_leaves_the_shop_alone_and_says_what_was_compared(demo: Urls, tmp_path: Path, capsys) -> None:
    call_command("backup", tmp_path / "shop.backup")
    with psycopg.connect(demo.owner) as connection:  # the shop goes on meanwhile
        connection.execute("DELETE FROM django_session")
    before = rows_of(demo)
    call_command("restore_drill", tmp_path / "shop.backup")
    said = capsys.readouterr().out
    assert f"{len(before)} tables with" in said and "shelf and ledger agree" in said and "compared in" in said
    assert (databases_of(demo), rows_of(demo)) == (set(), before)
    assert connections["default"].settings_dict["NAME"].startswith("backed_up_")


def test_what_is_written_while_the_backup_runs_is_not_in_it(demo: Urls, tmp_path: Path, monkeypatch) -> None:
    run = acts.tool_run

    def busy(*arguments: object, **options: object) -> None:
        run(*arguments, **options)
        with psycopg.connect(demo.owner) as connection:
            connection.execute("UPDATE plates_bin SET code = code || 'x'")

    with monkeypatch.context() as patched:
        patched.setattr(acts, "tool_run", busy)
        backup_make(tmp_path / "shop.backup")
    backup_drill(tmp_path / "shop.backup")


def test_a_backup_of_an_older_release_gets_the_migrations_of_this_one(empty: Urls, tmp_path: Path) -> None:
    call_command("migrate", "plates", "0016", verbosity=0)
    call_command("migrate", "shop", verbosity=0)
    backup_make(tmp_path / "old")
    proof = backup_drill(tmp_path / "old")
    assert proof.migrated >= 1 and "agree" in proof.ledger


def test_a_password_stands_in_no_argument(empty: Urls, monkeypatch) -> None:
    ran = []

    def run(command: list, **options: object) -> subprocess.CompletedProcess[str]:
        ran.append((command, options["env"]))
        return subprocess.CompletedProcess(command, 0, "", "")

    monkeypatch.setattr(tools, "_tool", lambda name, major: Path(name))
    connections["owner"].ensure_connection()
    monkeypatch.setattr(subprocess, "run", run)
    with monkeypatch.context() as patched:
        patched.setitem(connections["owner"].settings_dict, "PASSWORD", "under the anvil")
        tools.tool_run(connections["owner"], "pg_dump", "--file=x", left="")
    ((command, environ),) = ran
    assert not [part for part in command if "anvil" in str(part)]
    assert environ["PGPASSWORD"] == "under the anvil"


def test_programs_of_another_version_are_not_taken(monkeypatch) -> None:
    monkeypatch.setattr(tools.files, "MAJOR", "99")
    with pytest.raises(BackupError, match=r"PostgreSQL 99, and no pg_dump of that version.*postgresql-client-99"):
        tools._tool("pg_dump", 99)


def two_roles() -> tuple[str, str]:
    owner, role = (connections[alias].settings_dict["USER"] for alias in ("owner", "default"))
    if owner == role:
        pytest.skip("one role does both here")
    return owner, role


def test_a_role_that_may_not_make_tables(backed_up: Path, empty: Urls) -> None:
    two_roles()
    with pointed_at(Urls(empty.app, empty.app)), pytest.raises(BackupError, match=r"may not make tables.*OWNER TO"):
        backup_restore(backed_up)
    assert rows_of(empty) == {}


def test_a_role_that_may_not_make_databases(backed_up: Path, demo: Urls) -> None:
    two_roles()
    with pointed_at(Urls(demo.app, demo.app)), pytest.raises(BackupError, match=r"ALTER ROLE … CREATEDB"):
        backup_drill(backed_up)
    assert databases_of(demo) == set()


@pytest.mark.parametrize("act", [backup_restore, backup_drill])
def test_two_addresses_that_lead_apart(backed_up: Path, loaded: Urls, empty: Urls, act: Callable) -> None:
    with pointed_at(Urls(empty.owner, loaded.app)), pytest.raises(BackupError, match="Both have to name the one"):
        act(backed_up)
    assert rows_of(empty) == {}


def test_an_application_that_is_not_let_in(backed_up: Path, empty: Urls) -> None:
    _, role = two_roles()
    away = Urls(empty.owner, empty.app.replace(f"//{role}", "//nobody_here", 1))
    with pointed_at(away), pytest.raises(BackupError, match=r"(?s)leads nowhere:.*Make its role and let it in"):
        backup_restore(backed_up)
    assert rows_of(empty) == {}


@pytest.mark.processes
def test_the_commands_by_themselves(loaded: Urls, empty: Urls, tmp_path: Path) -> None:
    def manage(urls: Urls, *arguments: str) -> subprocess.CompletedProcess[str]:
        environ = {**os.environ, **urls.environ, "PLATES_DATA_DIR": str(tmp_path / "data")}
        command = [sys.executable, str(ROOT / "manage.py"), *arguments]
        return subprocess.run(command, cwd=tmp_path, env=environ, capture_output=True, text=True)

    made = manage(loaded, "backup", "shop.backup")
    assert (made.returncode, made.stderr) == (0, "")
    assert manage(loaded, "backup", "shop.backup").returncode == 1
    drilled = manage(loaded, "restore_drill", "shop.backup")
    assert drilled.returncode == 0 and "The scratch database is gone" in drilled.stdout, drilled.stderr
    refused = manage(loaded, "restore", "shop.backup")
    assert refused.returncode == 1 and "not empty" in refused.stderr and "Traceback" not in refused.stderr
    restored = manage(empty, "restore", "shop.backup")
    assert restored.returncode == 0 and "shelf and ledger agree" in restored.stdout, restored.stderr
    assert rows_of(empty) == rows_of(loaded)
