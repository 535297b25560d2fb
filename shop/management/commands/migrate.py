"""Django's migrate, run by the owner of the tables unless another database is named, and never long in the way."""

from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.core.management.commands import migrate
from django.db import OperationalError, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations import Migration
from psycopg.errors import LockNotAvailable

#: For so long a migration waits for a lock, and everybody who comes to that table meanwhile waits behind it.
LOCK_TIMEOUT = "4s"


class Command(migrate.Command):
    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.set_defaults(database="owner")

    def handle(self, *args: Any, **options: Any) -> None:
        self.locking: BaseDatabaseWrapper = connections[options["database"]]
        self.at: Migration | None = None
        try:
            super().handle(*args, **options)
        except OperationalError as error:
            if self.at is None or not isinstance(error.__cause__, LockNotAvailable):
                raise
            self._wait_for("DEFAULT")
            raise CommandError(
                f"{self.at} waited {LOCK_TIMEOUT} for a table that somebody else keeps locked. It was undone whole, so "
                "that nobody waits behind it; what came before it stands. Migrate again. If that does not help, end "
                "what keeps the table, as a backup that still runs or a psql left open; pg_stat_activity shows it by "
                "its xact_start."
            ) from error

    def migration_progress_callback(self, action: str, migration: Migration | None = None, fake: bool = False) -> None:
        if migration and action in ("apply_start", "unapply_start"):
            self.at = migration
            # Outside a transaction stands what is made CONCURRENTLY: it keeps nobody waiting, and waits for everybody.
            self._wait_for(f"'{LOCK_TIMEOUT}'" if migration.atomic else "0")
        elif action in ("apply_success", "unapply_success"):
            self.at = None
            self._wait_for("DEFAULT")
        super().migration_progress_callback(action, migration, fake)

    def _wait_for(self, limit: str) -> None:
        with self.locking.cursor() as cursor:
            cursor.execute(f"SET lock_timeout TO {limit}")
