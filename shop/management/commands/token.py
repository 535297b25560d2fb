"""An API token for a person."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from shop.people.models import Person, Token


class Command(BaseCommand):
    help = "Print a new API token of a person, alone on a line. It is shown this once; only its hash is kept."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username", metavar="USERNAME")

    def handle(self, *args: Any, **options: Any) -> None:
        person = Person.objects.filter(username=options["username"]).first()
        if person is None:
            raise CommandError(f"There is no {options['username']!r}. open_shop makes a shop with its owner.")
        if not person.is_active:
            raise CommandError(f"{person.username} no longer works here, so a token would not be let in.")
        self.stdout.write(Token.make(person))
