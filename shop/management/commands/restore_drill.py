"""A backup proved by restoring it beside the shop."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError

from shop.backup import BackupError, backup_drill
from shop.management.commands.restore import told


class Command(BaseCommand):
    help = "Prove a backup: restore it into a scratch database, verify it there, drop it; exits 1 on a difference."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE", help="a file of manage.py backup")

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        try:
            proof = backup_drill(file.absolute())
        except (BackupError, DatabaseError) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{told(proof)}\nThe scratch database is gone; the shop was not touched.")
