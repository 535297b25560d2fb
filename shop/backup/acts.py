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

from shop.backup.contents import migrations_read, relations, tables_read
from shop.backup.errors import BackupError
from shop.backup.manifest import Manifest, digest, manifest_read
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
    _refuse_existing(target)
    owner = connections["owner"]
    try:
        descriptor, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    except OSError as error:
        raise BackupError(f"{target.parent} cannot be written to: {error.strerror}.") from error
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
            tool_run(owner, "pg_dump", *what)
            tables = tables_read(owner)
        size = part.stat().st_size
        manifest = Manifest(made_at, server_major(owner), migrations, tables, size, digest(part, size))
        manifest.append(part)
        _refuse_existing(target)
        part.rename(target)
        _settle_on_disk(target.parent)
    except OSError as error:
        raise BackupError(f"{target} could not be written: {error.strerror}.") from error
    finally:
        part.unlink(missing_ok=True)
    return manifest


def backup_restore(source: Path) -> Proof:
    """Restore a backup into the database, which must be empty, and prove it.

    Raises BackupError: before anything is changed, or when pg_restore fails, which leaves the database empty, or when
    what was restored is not what was backed up, which leaves it to be looked at.
    """
    manifest = manifest_read(source)
    _refuse_newer(source, manifest)
    if found := relations(connections["owner"]):
        raise BackupError(
            f"The database is not empty: it holds {', '.join(found)} and perhaps more. Nothing was changed. Restore "
            "into an empty one: set PLATES_DATA_DIR to a new directory, or DATABASE_URL and DATABASE_OWNER_URL to a "
            "new database, and do not migrate it. To prove the file beside this shop run manage.py restore_drill."
        )
    return _restored(source, manifest)


def backup_drill(source: Path) -> Proof:
    """Restore a backup into a scratch database on the same server, prove it there, drop it. Raises BackupError."""
    manifest = manifest_read(source)
    _refuse_newer(source, manifest)
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

    tool_run(owner, "pg_restore", "--exit-on-error", "--single-transaction", "--no-owner", "--no-privileges", source)
    done("restored")
    with transaction.atomic(using="owner"):
        found = tables_read(owner)
    if differing := sorted(n for n in found.keys() | manifest.tables if found.get(n) != manifest.tables.get(n)):
        raise BackupError(
            f"What was restored is not what was backed up; these tables differ: {', '.join(differing)}. Do not work "
            "with this database."
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


def _refuse_existing(target: Path) -> None:
    if os.path.lexists(target):
        raise BackupError(f"{target} is there already and was left as it is. Name a file that is not.")


def _refuse_newer(source: Path, manifest: Manifest) -> None:
    owner = connections["owner"]
    major = server_major(owner)
    if manifest.server > major:
        raise BackupError(
            f"{source} comes from PostgreSQL {manifest.server}, and this server is {major}, which does not read it. "
            f"Nothing was changed. Restore on PostgreSQL {manifest.server} or later."
        )
    known = {f"{app}.{name}" for app, name in MigrationExecutor(owner).loader.disk_migrations}
    if unknown := [name for name in manifest.migrations if name not in known]:
        raise BackupError(
            f"{source} was written by a newer release: this one does not know {', '.join(unknown[:3])}. Nothing was "
            "changed. Install the release that wrote it, or a later one."
        )


@contextmanager
def _scratch() -> Iterator[None]:
    """A new database beside the shop's, to which both connections lead for the time being."""
    scratch = f"plates_drill_{secrets.token_hex(6)}"
    _of_server(f"CREATE DATABASE {scratch}")
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
