"""Migrations after the first release: none is long in the way of a working shop, and each can be taken back."""

import io
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
import sqlparse
from django.core.management import CommandError, call_command
from django.db import connections, transaction
from django.db.migrations import Migration
from django.db.migrations.loader import MigrationLoader

from shop.backup import backup_restore
from shop.backup.contents import migrations_read, tables_read
from shop.backup.manifest import manifest_read
from shop.management.commands import migrate
from tests.conftest import Urls, pointed_at
from tests.releases import releases

#: What was there when the first release was made.
FIRST = manifest_read(releases()[0])
#: Written by Django itself at each migration.
FRAMEWORKS = ("django_migrations", "django_content_type", "auth_permission")

#: A migration that does what the linter refuses: its name, the rule, and why that does no harm.
#: `"plates.0099_name": {"require-concurrent-index-creation": "A shop has some hundred packs a year."}`
KNOWINGLY: dict[str, dict[str, str]] = {
    "shop.0006_token_ends": {
        "adding-field-with-default": "The time of a statement is stable: PostgreSQL takes it once, rewrites no row."
    },
}

#: How we write columns is our own affair; migrate limits the wait for a lock, and whoever runs it the rest.
OTHERS_AFFAIR = ("prefer-", "require-lock-timeout", "require-statement-timeout")
SQUAWK = Path(sys.executable).with_name("squawk")


def later() -> Iterator[Migration]:
    """Our migrations that the first release did not have."""
    for (app, _), migration in sorted(MigrationLoader(None).disk_migrations.items()):
        if app in ("plates", "shop") and str(migration) not in FIRST.migrations:
            yield migration


def refused(sql: str, *, atomic: bool = True) -> dict[str, str]:
    """The rules that this SQL breaks, each with a statement that does. A table made by it locks out nobody.

    The rule `outside-transaction` is our own: there migrate sets no limit for the wait for a lock.
    """
    command = [SQUAWK, "--pg-version", "15", "--reporter", "json", "--stdin-filepath", "migration.sql"]
    done = subprocess.run(command, input=sql, capture_output=True, text=True)
    found, lines = {}, sql.splitlines()
    assert done.returncode in (0, 1), done.stderr
    new = set(re.findall(r'CREATE TABLE "?(\w+)', sql))
    for finding in json.loads(done.stdout):
        rule, line = finding["rule_name"], lines[finding["line"]]
        table = re.search(r'(?:TABLE|INDEX .* ON) "?(\w+)', line)
        if not rule.startswith(OTHERS_AFFAIR) and not (table and table[1] in new):
            found[rule] = line.strip()
    if not atomic:
        for statement in sqlparse.split(sqlparse.format(sql, strip_comments=True)):
            if "CONCURRENTLY" not in statement:
                found["outside-transaction"] = statement
    return found


BAD = {
    'ALTER TABLE "plates_plate" ADD COLUMN "a" integer NOT NULL;': "adding-required-field",
    'ALTER TABLE "plates_plate" ALTER COLUMN "a" DROP DEFAULT;': "ban-drop-default",
    'ALTER TABLE "plates_plate" ALTER COLUMN "a" TYPE bigint USING "a"::bigint;': "changing-column-type",
    'ALTER TABLE "plates_plate" ALTER COLUMN "a" SET NOT NULL;': "adding-not-nullable-field",
    'ALTER TABLE "plates_plate" DROP COLUMN "a" CASCADE;': "ban-drop-column",
    'ALTER TABLE "plates_plate" RENAME COLUMN "a" TO "b";': "renaming-column",
    'ALTER TABLE "plates_plate" RENAME TO "plates_piece";': "renaming-table",
    'DROP TABLE "plates_plate" CASCADE;': "ban-drop-table",
    'CREATE INDEX "i" ON "plates_plate" ("shop_id", "a") WHERE "a" IS NOT NULL;': "require-concurrent-index-creation",
    'CREATE UNIQUE INDEX "i" ON "plates_plate" ("shop_id");': "require-concurrent-index-creation",
    'ALTER TABLE "plates_plate" ADD CONSTRAINT "i" UNIQUE ("shop_id", "a");': "disallowed-unique-constraint",
    'ALTER TABLE "plates_plate" ADD CONSTRAINT "i" CHECK ("a" > 0);': "constraint-missing-not-valid",
    'ALTER TABLE "plates_plate" ADD FOREIGN KEY ("shop_id") REFERENCES "b" ("id");': "adding-foreign-key-constraint",
}


@pytest.mark.parametrize(("statement", "rule"), BAD.items(), ids=BAD.values())
def test_what_locks_for_long_or_breaks_the_release_before_is_found(statement: str, rule: str) -> None:
    assert rule in refused(f"BEGIN;\n{statement}\nCOMMIT;\n")


def test_what_does_neither_passes() -> None:
    columns = 'ALTER TABLE "plates_plate" ADD COLUMN "a" integer NULL;\n'
    columns += 'ALTER TABLE "plates_plate" ADD COLUMN "b" integer DEFAULT 0 NOT NULL;\n'
    table = 'CREATE TABLE "plates_new" ("id" uuid NOT NULL PRIMARY KEY);\nCREATE INDEX "i" ON "plates_new" ("id");\n'
    table += 'ALTER TABLE "plates_new" ADD COLUMN "shop_id" uuid NOT NULL;\n'
    assert refused(f"BEGIN;\n{columns}{table}COMMIT;\n") == {}
    assert refused('CREATE INDEX CONCURRENTLY "i" ON "plates_plate" ("a");\n', atomic=False) == {}
    assert refused(columns, atomic=False).keys() == {"outside-transaction"}


def test_no_later_migration_locks_for_long_or_breaks_the_release_before(template: Urls, django_db_blocker) -> None:
    found = {}
    with pointed_at(template), django_db_blocker.unblock():
        for migration in later():
            sql = io.StringIO()
            call_command("sqlmigrate", migration.app_label, migration.name, stdout=sql, no_color=True)
            broken = refused(sql.getvalue(), atomic=migration.atomic)
            allowed = KNOWINGLY.get(str(migration), {})
            assert not (idle := allowed.keys() - broken.keys()), f"{migration} no longer needs {idle} to be allowed"
            if left := {rule: line for rule, line in broken.items() if rule not in allowed}:
                found[str(migration)] = left
    assert found == {}, "Do it in steps that lock shortly, or write into KNOWINGLY why it does no harm."


def test_every_later_migration_can_be_taken_back() -> None:
    final = [f"{m}: {op.describe()}" for m in later() for op in m.operations if not op.reversible]
    assert final == []


def back() -> None:
    """To what the first release had."""
    for app in ("shop", "plates"):
        last = max(name for name in FIRST.migrations if name.startswith(f"{app}."))
        call_command("migrate", app, last.removeprefix(f"{app}."), verbosity=0)


def rows(urls: Urls) -> dict[tuple[str, str], dict[str, object]]:
    """Every row that has an id, by its table and id."""
    found = {}
    with psycopg.connect(urls.owner) as connection:
        named = "SELECT table_name FROM information_schema.columns WHERE table_schema = 'public' AND column_name = 'id'"
        for (table,) in connection.execute(named).fetchall():
            if table not in FRAMEWORKS:
                for (row,) in connection.execute(f'SELECT to_jsonb(t) FROM "{table}" t').fetchall():
                    found[table, str(row["id"])] = row
    return found


def test_a_working_shop_goes_back_and_forward_again(demo: Urls) -> None:
    now = rows(demo)
    back()
    then = rows(demo)
    assert not {str(migration) for migration in later()} & set(migrations_read(connections["owner"]))
    tables = {table for table, _ in then}
    assert then.keys() == {key for key in now if key[0] in tables} and len(then) > 1000
    changed = [key for key, row in then.items() if any(now[key].get(column) != row[column] for column in row)]
    assert changed == []
    call_command("migrate", verbosity=0)
    call_command("migrate", check_unapplied=True, verbosity=0)
    call_command("ledger_verify")


def test_the_first_release_is_after_a_way_back_what_it_was(empty: Urls) -> None:
    backup_restore(releases()[0])
    back()
    with transaction.atomic(using="owner"):
        found = tables_read(connections["owner"])
    ours = found.keys() - {f"public.{table}" for table in FRAMEWORKS}
    assert {name: found[name] for name in ours} == {name: FIRST.tables[name] for name in ours}
    call_command("migrate", verbosity=0)
    call_command("ledger_verify")


def test_a_migration_does_not_wait_long_for_a_table_and_is_undone_whole(fresh_db: Urls, monkeypatch) -> None:
    monkeypatch.setattr(migrate, "LOCK_TIMEOUT", "50ms")
    in_the_end = "-c statement_timeout=60s"  # else this test would wait for ever where migrate does
    monkeypatch.setitem(connections["owner"].settings_dict["OPTIONS"], "options", in_the_end)
    call_command("migrate", "shop", "0005", verbosity=0)
    with psycopg.connect(fresh_db.owner) as other:
        other.execute("SELECT count(*) FROM shop_person")  # and stays in its transaction
        with pytest.raises(CommandError, match=r"shop\.0005_sessions_ended waited 50ms for a table.*Migrate again"):
            call_command("migrate", "shop", "0004", verbosity=0)
        assert "shop.0005_sessions_ended" in migrations_read(connections["owner"])
        assert other.execute("SELECT count(sessions_ended) FROM shop_person").fetchone() == (0,)
    call_command("migrate", "shop", "0004", verbosity=0)
    call_command("migrate", verbosity=0)
    with connections["owner"].cursor() as cursor:
        cursor.execute("SHOW lock_timeout")
        assert cursor.fetchone() == ("0",)


@pytest.mark.parametrize(("atomic", "limit"), [(True, migrate.LOCK_TIMEOUT), (False, "0")])
def test_what_is_made_concurrently_waits_as_long_as_it_takes(db: None, atomic: bool, limit: str) -> None:
    command, migration = migrate.Command(), Migration("0099_trial", "plates")
    command.locking, command.verbosity, migration.atomic = connections["default"], 0, atomic
    command.migration_progress_callback("apply_start", migration)
    with connections["default"].cursor() as cursor:
        cursor.execute("SHOW lock_timeout")
        assert cursor.fetchone() == (limit,)
