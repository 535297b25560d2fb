"""Django's migrate, run by the owner of the tables unless another database is named."""

from django.core.management.base import CommandParser
from django.core.management.commands import migrate


class Command(migrate.Command):
    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.set_defaults(database="owner")
