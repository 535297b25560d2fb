"""The service that books a count without locking its plates: what may then happen to them meanwhile."""
# ruff: noqa: I001

from shop.wsgi import application  # first, since it sets Django up

from plates.stock import count_book
from plates.stock.counts import plates_of
from plates.stock.models import Plate
from tests.races.gate import stand

__all__ = ["application"]


def read(count, backs):
    """The plates as they stand, for anybody at the same time."""
    plates = list(Plate.objects.filter(plates_of(count)).select_related("kind__fit", "match").order_by("pk"))
    stand()
    return plates


assert callable(count_book._plates_lock)
count_book._plates_lock = read
