"""The way out for an owner who lost the telephone and the recovery codes."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from shop.people.models import Person
from shop.people.one_time import code_turn_off


class Command(BaseCommand):
    help = "Take the one-time codes of a person off, and sign them out everywhere. The password is still asked."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username", metavar="USERNAME")

    def handle(self, *args: Any, **options: Any) -> None:
        person = Person.objects.filter(username=options["username"]).first()
        if person is None:
            raise CommandError(f"There is no {options['username']!r}.")
        if not person.totp_secret:
            raise CommandError(f"{person.username} has no one-time codes.")
        with transaction.atomic():
            code_turn_off(person=person, username=person.username, where="on the machine")
        self.stdout.write(f"The password of {person.username} signs in without a code.")
