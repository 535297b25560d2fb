"""What the two roles may do, on the server of the test run and through the real commands."""

import os
import subprocess
import sys
from pathlib import Path

import psycopg
import pytest
from django.db import connections

from shop import database
from tests import servers
from tests.database.processes import ROOT, attached

LEDGER = "plates_ledgerline"


def privileges(url: str, role: str, table: str) -> set[str]:
    wanted = ("SELECT", "INSERT", "UPDATE", "DELETE", "TRUNCATE", "REFERENCES", "TRIGGER")
    with psycopg.connect(url) as connection:
        question = "SELECT has_table_privilege(%s, %s, %s)"
        rows = {right: connection.execute(question, [role, table, right]).fetchone() for right in wanted}
    return {right for right, row in rows.items() if row == (True,)}


def make_tables(url: str) -> None:
    with psycopg.connect(url) as connection:
        connection.execute("CREATE TABLE trial (id bigserial PRIMARY KEY, value int)")


def test_application_reads_and_writes_rows_and_only_adds_to_the_ledger(fresh_db) -> None:
    make_tables(fresh_db.owner)
    owner, role = (connections[alias].settings_dict["USER"] for alias in ("owner", "default"))
    database.grant(connections["owner"])
    if owner == role:  # one role does both: everything is the owner's, and stays so
        assert "TRUNCATE" in privileges(fresh_db.app, role, LEDGER)
        return
    assert privileges(fresh_db.owner, role, "trial") == {"SELECT", "INSERT", "UPDATE", "DELETE"}
    assert privileges(fresh_db.owner, role, LEDGER) == {"SELECT", "INSERT"}
    with psycopg.connect(fresh_db.app, autocommit=True) as application:
        application.execute("INSERT INTO trial (value) VALUES (1)")  # with its sequence
        application.execute("UPDATE trial SET value = 2")
        for forbidden in (
            f"UPDATE {LEDGER} SET delta = 0",
            f"DELETE FROM {LEDGER}",
            f"TRUNCATE {LEDGER}",
            "ALTER TABLE trial ADD more int",
            "DROP TABLE trial",
        ):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                application.execute(forbidden)


def test_grants_follow_a_right_that_was_given_too_far(fresh_db) -> None:
    owner, role = (connections[alias].settings_dict["USER"] for alias in ("owner", "default"))
    if owner != role:
        with psycopg.connect(fresh_db.owner) as connection:
            connection.execute(f"GRANT UPDATE, DELETE, TRUNCATE ON {LEDGER} TO {role}")
    database.grant_after_migrate(using="owner")
    assert ("UPDATE" in privileges(fresh_db.owner, role, LEDGER)) is (owner == role)


def test_lock_is_not_waited_for_longer_than_the_limit(fresh_db) -> None:
    for alias, limit in (("default", "2s"), ("owner", "0")):
        with connections[alias].cursor() as cursor:
            cursor.execute("SHOW lock_timeout")
            assert cursor.fetchone() == (limit,)


KINDS = ["embedded", *(["debian"] if servers.debian_tools() else [])]


@pytest.mark.processes
@pytest.mark.parametrize("kind", KINDS)
def test_servers_for_tests_have_both_roles_and_go_away(kind: str) -> None:
    owner_url, app_url, stop = servers.start(kind)
    try:
        with psycopg.connect(owner_url) as owner, psycopg.connect(app_url) as application:
            assert owner.info.server_version >= 150000
            assert [c.execute("SELECT current_user").fetchone() for c in (owner, application)] == [
                ("plates_owner",),
                ("plates_app",),
            ]
            directory = Path(owner.info.host)
    finally:
        stop()
    assert not directory.exists()


def manage(data_dir: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    inherited = {name: value for name, value in os.environ.items() if not name.startswith("DATABASE_")}
    return subprocess.run(
        [sys.executable, ROOT / "manage.py", *arguments],
        cwd="/",
        env={**inherited, "PLATES_DATA_DIR": str(data_dir)},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.processes
def test_commands_start_migrate_show_and_stop(used_dir: Path) -> None:
    none = manage(used_dir, "db", "status")
    assert none.returncode == 3 and "Not running" in none.stderr
    migrated = manage(used_dir, "migrate", "contenttypes", "--verbosity", "0")  # one app's, to be quick
    assert migrated.returncode == 0, migrated.stderr
    assert migrated.stderr.startswith("Started the embedded database")
    server = database.status(used_dir)
    assert server is not None
    with psycopg.connect(server.owner_url) as connection:
        owners = connection.execute("SELECT DISTINCT tableowner FROM pg_tables WHERE schemaname = 'public'")
        assert owners.fetchall() == [("plates_owner",)]
    granted = privileges(server.owner_url, "plates_app", "django_content_type")
    assert granted == {"SELECT", "INSERT", "UPDATE", "DELETE"}
    again = manage(used_dir, "migrate", "contenttypes", "--check")
    assert (again.returncode, again.stderr) == (0, "")
    assert f"process {server.pid}" in manage(used_dir, "db", "start").stdout
    assert manage(used_dir, "db", "stop").stdout == "Stopped.\n"
    assert attached(server.cluster) == []
    assert manage(used_dir, "db", "stop").stdout == "It was not running.\n"


@pytest.mark.processes
def test_command_with_a_foreign_directory_ends_with_the_reason_alone(data_dir: Path) -> None:
    (data_dir / "pg").mkdir(parents=True)
    (data_dir / "pg" / "notes.txt").write_text("somebody's")
    refused = manage(data_dir, "migrate")
    assert refused.returncode == 1
    assert "not empty" in refused.stderr and "Traceback" not in refused.stderr
