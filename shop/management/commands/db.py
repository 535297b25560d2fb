"""`manage.py db start`, `stop`, `status`: the embedded database server."""

import os
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from shop import database


class Command(BaseCommand):
    help = "Starts, stops or shows the embedded database server."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("action", choices=("start", "stop", "status"))

    def handle(self, *args: Any, action: str, **options: Any) -> None:
        if not database.uses_embedded(os.environ):
            raise CommandError(
                "The embedded server is not used here: DATABASE_URL names a server, or PLATES_ENV is "
                "production without PLATES_EMBEDDED=1."
            )
        data_dir = database.data_dir(os.environ, settings.BASE_DIR)
        try:
            if action == "stop":
                ended = database.stop(data_dir)
                self.stdout.write("Stopped." if ended else "It was not running.")
                return
            server = database.ensure(data_dir) if action == "start" else database.status(data_dir)
        except database.ServerError as error:
            raise CommandError(str(error)) from error
        if server is None:
            raise CommandError(f"Not running. Its data directory is {data_dir}.", returncode=3)
        word = "Started" if server.started_here else "Running"
        self.stdout.write(
            f"{word}: process {server.pid}, data in {server.cluster}, socket in {server.socket_dir}"
        )
