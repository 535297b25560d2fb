"""The whole database to one file."""

import time
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError

from shop.backup import BackupError, backup_make


class Command(BaseCommand):
    help = "Write the whole database to one new file. restore reads it, restore_drill proves it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE", help="a file that is not there yet")

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        file, begun = file.absolute(), time.monotonic()
        try:
            made = backup_make(file)
        except (BackupError, DatabaseError) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"{file}: {file.stat().st_size} bytes, {len(made.tables)} tables with {made.rows} rows, in "
            f"{time.monotonic() - begun:.1f} s. manage.py restore_drill proves it."
        )
