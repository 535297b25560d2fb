"""The last line of a backup: what the archive before it must hold."""

import hashlib
import json
import os
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from shop.backup.contents import Table
from shop.backup.errors import BackupError

KIND = "backup of a clutch plate shelf"
FORMAT = 1
_LONGEST = 1_000_000  # bytes of the line; a hundred tables and as many migrations take a hundredth of it


@dataclass(frozen=True)
class Manifest:
    """What was in the database when it was backed up. ``server``: major version of PostgreSQL."""

    made_at: str
    server: int
    migrations: list[str]
    tables: dict[str, Table]
    archive_bytes: int

    @property
    def rows(self) -> int:
        return sum(table.rows for table in self.tables.values())

    def append(self, archive: Path) -> None:
        """Write the line behind the archive, and wait until all of it is on the disk."""
        said = {"kind": KIND, "format": FORMAT, **asdict(self)}
        line = json.dumps({**said, "sha256": _seal(archive, said)})
        with archive.open("ab") as file:
            file.write(f"\n{line}\n".encode())
            file.flush()
            os.fsync(file.fileno())


def _seal(archive: Path, said: dict[str, Any]) -> str:
    """SHA-256 of the archive's bytes and of what the line says of them."""
    left, found = said["archive_bytes"], hashlib.sha256()
    with archive.open("rb") as file:
        while left and (block := file.read(min(left, 1 << 20))):
            found.update(block)
            left -= len(block)
    found.update(json.dumps(said).encode())
    return found.hexdigest()


def manifest_read(backup: Path) -> Manifest:
    """The manifest of a file, every byte of which has been checked. Raises BackupError."""
    try:
        size = backup.stat().st_size
        with backup.open("rb") as file:
            head = file.read(5)
            file.seek(max(0, size - _LONGEST))
            line = file.read().removesuffix(b"\n").rpartition(b"\n")[2]
    except OSError as error:
        raise BackupError(
            f"{backup} cannot be read: {error.strerror}. Nothing was changed. Name a file of `manage.py backup` that "
            "this user may read."
        ) from error
    try:
        said = json.loads(line)
        known = said["kind"] == KIND
        written_by, sha256 = said["format"], said.pop("sha256")
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        known = False
    if not known or head != b"PGDMP":
        raise BackupError(
            f"{backup} is no backup of `manage.py backup`, or its end is missing. Nothing was changed. "
            "Take another file, or copy this one again and whole."
        )
    if written_by != FORMAT:
        raise BackupError(f"{backup} was written by a newer release. Nothing was changed. Restore it with that one.")
    if said.get("archive_bytes") != size - len(line) - 2 or _seal(backup, said) != sha256:
        raise BackupError(
            f"{backup} is damaged: it is not what was written. Nothing was changed. "
            "Take another file, or copy this one again."
        )
    members = {field.name: said[field.name] for field in fields(Manifest)}
    return Manifest(**{**members, "tables": {name: Table(*table) for name, table in said["tables"].items()}})
