"""The last line of a backup: what the archive before it must hold."""

import hashlib
import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path

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
    sha256: str

    @property
    def rows(self) -> int:
        return sum(table.rows for table in self.tables.values())

    def append(self, archive: Path) -> None:
        """Write the line behind the archive, and wait until all of it is on the disk."""
        line = json.dumps({"kind": KIND, "format": FORMAT, **asdict(self)})
        with archive.open("ab") as file:
            file.write(f"\n{line}\n".encode())
            file.flush()
            os.fsync(file.fileno())


def digest(archive: Path, size: int) -> str:
    """SHA-256 of the first ``size`` bytes."""
    found = hashlib.sha256()
    with archive.open("rb") as file:
        while size and (block := file.read(min(size, 1 << 20))):
            found.update(block)
            size -= len(block)
    return found.hexdigest()


def manifest_read(backup: Path) -> Manifest:
    """The manifest of a file, every byte of whose archive has been checked. Raises BackupError."""
    try:
        size = backup.stat().st_size
        with backup.open("rb") as file:
            head = file.read(5)
            file.seek(max(0, size - _LONGEST))
            line = file.read().removesuffix(b"\n").rpartition(b"\n")[2]
    except OSError as error:
        raise BackupError(f"{backup} cannot be read: {error.strerror}.") from error
    try:
        said = json.loads(line)
        known = said.pop("kind") == KIND
        written_by = said.pop("format")
    except (ValueError, KeyError, TypeError, AttributeError):
        known = False
    if not known or head != b"PGDMP":
        raise BackupError(
            f"{backup} is no backup of `manage.py backup`, or its end is missing. Nothing was changed. "
            "Take another file, or copy this one again and whole."
        )
    if written_by != FORMAT:
        raise BackupError(f"{backup} was written by a newer release of this program. Restore it with that release.")
    said["tables"] = {name: Table(*table) for name, table in said["tables"].items()}
    manifest = Manifest(**said)
    if size != manifest.archive_bytes + len(line) + 2 or digest(backup, manifest.archive_bytes) != manifest.sha256:
        raise BackupError(
            f"{backup} is damaged: it is not what was written on {manifest.made_at}. Nothing was changed. "
            "Take another file, or copy this one again."
        )
    return manifest
