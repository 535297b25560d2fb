"""Is the shelf what the ledger says?"""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from plates.stock.verify import differences


class Command(BaseCommand):
    help = "Rebuild state, bin, thickness and holder of every plate from the ledger alone; exits 1 on a difference."

    def handle(self, *args: Any, **options: Any) -> None:
        found = 0
        for plate, what, is_now, should_be in differences():
            found += 1
            self.stdout.write(f"plate {plate}: {what} is {is_now}, the ledger says {should_be}")
        if found:
            raise CommandError(f"{found} differences between shelf and ledger.")
        self.stdout.write(
            f"{Plate.objects.count()} plates and {LedgerLine.objects.count()} ledger lines: shelf and ledger agree."
        )
