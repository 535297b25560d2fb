"""An API token for a person."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from shop.people.models import TOKEN_DAYS, Person
from shop.people.services import token_make

#: Ten years: what is meant to last longer is not looked after.
MOST_DAYS = 3650


class Command(BaseCommand):
    help = "Print a new API token of a person, alone on a line. It is shown this once; only its hash is kept."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username", metavar="USERNAME")
        parser.add_argument("--days", type=int, default=TOKEN_DAYS, metavar="N", help="how long it is good")

    def handle(self, *args: Any, **options: Any) -> None:
        person = Person.objects.filter(username=options["username"]).first()
        if person is None:
            raise CommandError(f"There is no {options['username']!r}. open_shop makes a shop with its owner.")
        if not person.is_active:
            raise CommandError(f"{person.username} no longer works here, so a token would not be let in.")
        if not 1 <= options["days"] <= MOST_DAYS:
            raise CommandError(f"A token is good for 1 to {MOST_DAYS} days.")
        self.stdout.write(token_make(person=person, days=options["days"]))
