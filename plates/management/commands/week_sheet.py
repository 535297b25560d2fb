"""The buyer's week, printed."""

from typing import Any

from django.core.management.base import BaseCommand

from plates.buying.week import week
from shop.people.models import Shop
from shop.texts import printable


class Command(BaseCommand):
    help = "Print for each shop what to buy, what was missed, what is late, which gauges are due and what is lent."

    def handle(self, *args: Any, **options: Any) -> None:
        for shop in Shop.objects.order_by("name", "id"):
            self.stdout.write(f"{shop.name}: the week")
            for part in week(shop):
                self.stdout.write(f"\n{part.title}")
                self.stdout.writelines(f"  {printable(line)}" for line in part.lines or [part.nothing])
            self.stdout.write("")
