"""What one shop of ours sent to another, set against what came."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from plates.stock.transfers import Transfer, transfers
from shop.texts import printable


class Command(BaseCommand):
    help = (
        "Print the transfers between the shops of this database that are not whole yet: sent, came, still under way. "
        "Exits 1 where more came than is away: then a plate stands on two shelves."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--all", action="store_true", help="those that came whole, too")

    def handle(self, *args: Any, **options: Any) -> None:
        doubled = 0
        for one in transfers():
            doubled += one.at is not None and one.under_way < 0
            if options["all"] or one.under_way:
                self.stdout.write(_told(one))
        if doubled:
            raise CommandError(
                f"Of {doubled} transfers more came than is away: look for a plate that was scanned in twice, or put "
                "back where it was sent from although the other shop had booked it."
            )


def _told(one: Transfer) -> str:
    came = ", ".join(f"{count} came to {printable(shop)}" for shop, count in one.came.items()) or "none came yet"
    if one.at is None:
        return f"{one.key}: {came}; sent from no shop of this database"
    back = f", {one.sent - one.gone} back or scrapped there" if one.sent != one.gone else ""
    rest = "whole" if not one.under_way else (
        f"{one.under_way} under way" if one.under_way > 0 else f"{-one.under_way} more than is away"
    )
    day = timezone.localtime(one.at).date().isoformat()
    return f"{one.key}: {printable(one.shop)} to {printable(one.to)}, {day}: {one.sent} sent{back}, {came}: {rest}"
