"""Back up, restore, and prove a backup by restoring it beside the shop."""

import io
import os
import secrets
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from django.core.management import CommandError, call_command
from django.db import DatabaseError, connections, transaction
from django.db.migrations.executor import MigrationExecutor

from shop.backup.before import refuse_elsewhere, refuse_existing, refuse_newer, refuse_unfit
from shop.backup.contents import migrations_read, tables_read
from shop.backup.errors import BackupError
from shop.backup.manifest import Manifest, manifest_read
from shop.backup.tools import server_major, tool_run
from shop.database import grant


@dataclass(frozen=True)
class Proof:
    """What a restored database was set against. ``steps``: what was done, with its seconds."""

    manifest: Manifest
    migrated: int
    ledger: str
    steps: list[tuple[str, float]]


def backup_make(target: Path) -> Manifest:
    """Write the whole database to a file that is not there yet; for its owner's eyes alone (0600).

    Raises BackupError; then there is no file, or the one that was there before as it was.
    """
    refuse_existing(target)
    owner = connections["owner"]
    try:
        descriptor, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    except OSError as error:
        raise BackupError(
            f"{target.parent} cannot be written to: {error.strerror}. Name a file in a directory that is there and in "
            "which this user may write."
        ) from error
    os.close(descriptor)
    part = Path(name)
    try:
        with transaction.atomic(using="owner"):
            with owner.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
                cursor.execute("SELECT pg_export_snapshot()")
                snapshot = cursor.fetchone()[0]
            migrations = migrations_read(owner)
            if not migrations:
                raise BackupError("There is no shop in this database: it was never migrated. Nothing was written.")
            made_at = datetime.now(UTC).isoformat(timespec="seconds")
            what = ("--format=custom", "--no-owner", "--no-privileges", f"--snapshot={snapshot}", f"--file={part}")
            tool_run(owner, "pg_dump", *what, left="No file was left behind. Mend that, and back up again.")
            tables = tables_read(owner)
        manifest = Manifest(made_at, server_major(owner), migrations, tables, part.stat().st_size)
        manifest.append(part)
        refuse_existing(target)
        part.rename(target)
        _settle_on_disk(target.parent)
    except OSError as error:
        raise BackupError(
            f"{target} could not be written: {error.strerror}. No file was left behind. Make room, or name a file on "
            "another disk."
        ) from error
    finally:
        part.unlink(missing_ok=True)
    return manifest


def backup_restore(source: Path) -> Proof:
    """Restore a backup into the database, which must be empty, and prove it.

    Raises BackupError: before anything is changed, or when pg_restore fails, which leaves the database empty, or when
    what was restored is not what was backed up, which leaves it to be looked at.
    """
    manifest = manifest_read(source)
    refuse_newer(source, manifest)
    refuse_elsewhere()
    refuse_unfit()
    return _restored(source, manifest)


def backup_drill(source: Path) -> Proof:
    """Restore a backup into a scratch database on the same server, prove it there, drop it. Raises BackupError."""
    manifest = manifest_read(source)
    refuse_newer(source, manifest)
    refuse_elsewhere()
    with _scratch():
        return _restored(source, manifest)


def _restored(source: Path, manifest: Manifest) -> Proof:
    owner = connections["owner"]
    steps = []
    begun = time.monotonic()

    def done(step: str) -> None:
        nonlocal begun
        steps.append((step, time.monotonic() - begun))
        begun = time.monotonic()

    how = ("--exit-on-error", "--single-transaction", "--no-owner", "--no-privileges", source)
    tool_run(owner, "pg_restore", *how, left="Nothing was changed. Mend that, and restore again.")
    done("restored")
    with transaction.atomic(using="owner"):
        found = tables_read(owner)
    if differing := sorted(n for n in found.keys() | manifest.tables if found.get(n) != manifest.tables.get(n)):
        raise BackupError(
            f"What was restored is not what was backed up; these tables differ: {', '.join(differing)}. Do not work "
            "with this database: keep it to be looked at, and restore another backup into another one."
        )
    done("compared")
    grant(owner)
    executor = MigrationExecutor(owner)
    missing = executor.migration_plan(executor.loader.graph.leaf_nodes())
    if missing:  # an older release wrote it
        call_command("migrate", database="owner", verbosity=0, interactive=False)
    with owner.cursor() as cursor:
        cursor.execute("ANALYZE")  # an archive brings no statistics, and without them the first plans are poor
    done("made ready")
    said = io.StringIO()
    try:
        call_command("ledger_verify", stdout=said)
    except CommandError as error:
        raise BackupError(f"{said.getvalue()}{error} The file holds them, too.") from error
    done("ledger verified")
    return Proof(manifest, len(missing), said.getvalue().strip(), steps)


@contextmanager
def _scratch() -> Iterator[None]:
    """A new database beside the shop's, to which both connections lead for the time being."""
    scratch = f"plates_drill_{secrets.token_hex(6)}"
    _of_server(f"CREATE DATABASE {scratch} TEMPLATE template0")  # the usual template may hold what is not ours
    kept = {alias: connections[alias].settings_dict["NAME"] for alias in ("default", "owner")}
    try:
        _lead_to(dict.fromkeys(kept, scratch))
        yield
    finally:
        _lead_to(kept)
        _of_server(f"DROP DATABASE {scratch}")


def _lead_to(names: dict[str, str]) -> None:
    connections.close_all()
    for alias, name in names.items():
        connections[alias].settings_dict["NAME"] = name


def _of_server(statement: str) -> None:
    try:
        with connections["owner"].cursor() as cursor:
            cursor.execute(statement)
    except DatabaseError as error:
        raise BackupError(
            f"{statement}: {str(error).strip()}. The owner of the tables must be allowed to make databases "
            "(ALTER ROLE … CREATEDB), and nobody else may be in the one of the drill."
        ) from error


def _settle_on_disk(directory: Path) -> None:
    """A new name is only safe from a power cut when its directory has been written."""
    descriptor = os.open(directory, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
