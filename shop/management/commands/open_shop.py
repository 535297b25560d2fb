"""The first step of a real shop."""

import sys
from getpass import getpass
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from shop.errors import Refusal
from shop.people.models import Person, Shop
from shop.people.services import BadPassword, password_check, shop_name_refused, shop_open, username_check


class Command(BaseCommand):
    help = "Open a shop: the shop, its owner and nothing else. Asks for a password at a terminal."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", metavar="NAME", help="the shop's name")
        parser.add_argument("--owner", required=True, metavar="USERNAME", help="who signs in as its owner")
        parser.add_argument("--unit", choices=["in", "mm"], default="in", help="the unit shown first")

    def handle(self, *args: Any, **options: Any) -> None:
        name = options["name"]
        if why := shop_name_refused(name):
            raise CommandError(why)
        try:
            username = username_check(options["owner"])
        except Refusal as refusal:
            raise CommandError(refusal.detail) from None
        if Person.objects.filter(username=username).exists():
            raise CommandError(f"There is a {username!r} already: choose another name for the owner.")
        if Shop.objects.filter(is_demo=True).exists():
            raise CommandError(
                "This database holds the invented demo shop, and a real shop never lies beside it. Set PLATES_DATA_DIR "
                "to another directory, or DATABASE_URL to another database, and migrate there."
            )
        password = self._password(Person(shop=Shop(name=name), username=username))
        shop_open(name=name, owner=username, password=password, unit_first=options["unit"])
        self.stdout.write(f"{name} is open. {username} is its owner.")
        if password is None:
            self.stdout.write(
                f"Without a terminal no password was set: manage.py changepassword {username} sets one, "
                f"manage.py token {username} makes an API token."
            )

    def _password(self, owner: Person) -> str | None:
        if not sys.stdin.isatty():
            return None
        while True:
            password = getpass(f"Password for {owner.username}: ")
            try:
                password_check(password, owner)
            except BadPassword as refusal:
                self.stderr.write(refusal.detail)
                continue
            if getpass("Once more: ") == password:
                return password
            self.stderr.write("These were two different ones.")
