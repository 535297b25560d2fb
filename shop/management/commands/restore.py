"""A backup into an empty database."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError

from shop.backup import BackupError, Proof, backup_restore


def told(proof: Proof) -> str:
    """What was compared, and how long each step took."""
    manifest = proof.manifest
    migrated = f"{proof.migrated} migrations of this release were added.\n" if proof.migrated else ""
    steps = ", ".join(f"{step} in {seconds:.1f} s" for step, seconds in proof.steps)
    return (
        f"Backup of {manifest.made_at}: {len(manifest.tables)} tables with {manifest.rows} rows, each table with the "
        f"count and the digest that it had.\n{migrated}{proof.ledger}\n{steps}."
    )


class Command(BaseCommand):
    help = "Restore a backup into an empty database and verify it; exits 1 on a difference."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE", help="a file of manage.py backup")

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        try:
            proof = backup_restore(file.absolute())
        except (BackupError, DatabaseError) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(told(proof))
