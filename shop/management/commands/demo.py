"""The invented shop: served at a counter, or one pack answered in the terminal."""

import contextlib
import os
import secrets
import signal
import socket
from argparse import ArgumentTypeError
from collections.abc import Iterator
from typing import Any, NoReturn

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connections
from django.utils import timezone

from shop import database
from shop.demo import PEOPLE, counter, demo_load, demo_server, demo_shop, passwords_set, real_shop_refuse
from shop.demo.check import CheckFailed, demo_check
from shop.errors import Refusal
from shop.people.models import Shop

#: Any number will do that nobody else asks PostgreSQL to lock; two demos on one database make one shop between them.
LOADING = 5_630_014


def _port(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) <= 65535):
        raise ArgumentTypeError(f"{text!r} is not a port: a number from 0 (any free one) to 65535")
    return int(text)


class Command(BaseCommand):
    help = "Serve the invented demo shop on 127.0.0.1; with --check, answer one of its packs in the terminal."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=_port, default=8000, metavar="N", help="default 8000; 0 takes a free one")
        parser.add_argument("--check", action="store_true", help="answer one pack here, take its plates and leave")

    def handle(self, *args: Any, port: int, check: bool, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError("PLATES_ENV is production: the demo's invented shop has no place there. Unset it.")
        listener = None if check else self._listen(port)
        _end_on_signals()
        try:
            with _database():
                shop = self._shop()
                if check:
                    demo_check(shop, self.stdout)
                    return
                assert listener is not None
                port = listener.getsockname()[1]
                password = os.environ.get("PLATES_DEMO_PASSWORD") or secrets.token_urlsafe(9)
                passwords_set(shop, password)
                connections.close_all()
                counter.serve(listener, ready=lambda: self._welcome(port, password))
        except (database.ServerError, Refusal, CheckFailed) as error:
            raise CommandError(str(error)) from error

    def _listen(self, port: int) -> socket.socket:
        try:
            return counter.listen(port)
        except OSError as error:
            raise CommandError(
                f"Port {port} of 127.0.0.1 cannot be had: {error.strerror}. Nothing was started. "
                "End what uses it, or choose another with --port N (--port 0 takes a free one)."
            ) from error

    def _shop(self) -> Shop:
        """The demo shop, made when it is missing; migrations first, by one demo at a time."""
        with connections["owner"].cursor() as cursor:
            cursor.execute("SELECT pg_advisory_lock(%s)", [LOADING])
            real_shop_refuse()
            call_command("migrate", database="owner", verbosity=0, interactive=False)
            shop = demo_shop()
            if shop is None:
                self._say("Filling the demo shop.")
                shop = demo_load(timezone.now())
                cursor.execute("ANALYZE")  # before its first page: by itself the server does so within minutes
            cursor.execute("SELECT pg_advisory_unlock(%s)", [LOADING])
        return shop

    def _welcome(self, port: int, password: str) -> None:
        people = ", ".join(f"{username} ({role.label})" for username, role in PEOPLE.items())
        self._say(
            f"The demo shop is open at http://127.0.0.1:{port}/\n"
            f"Sign in as {people}\n"
            f"Password of all four: {password}\n"
            "Each start makes a new password, unless PLATES_DEMO_PASSWORD fixes it. For scripts, in another terminal: "
            "manage.py token rosa\n"
            "Ctrl-C ends the demo; its data stays for the next time."
        )

    def _say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()  # whoever reads it through a pipe waits for it


@contextlib.contextmanager
def _database() -> Iterator[None]:
    """The embedded server where it is the choice; a server named by DATABASE_URL is there already."""
    if not database.uses_embedded(os.environ):
        yield
        return
    with demo_server(settings.DATA_DIR):
        yield


def _end_on_signals() -> None:
    """Until gunicorn listens to signals itself, the first of them unwinds what was begun, and no further one disturbs
    that. After nohup a closing terminal stays ignored."""
    ending = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP]
    if signal.getsignal(signal.SIGHUP) is signal.SIG_IGN:
        ending.remove(signal.SIGHUP)

    def end(number: int, frame: object) -> NoReturn:
        for one in ending:
            signal.signal(one, signal.SIG_IGN)
        raise SystemExit(128 + number)

    for one in ending:
        signal.signal(one, end)
