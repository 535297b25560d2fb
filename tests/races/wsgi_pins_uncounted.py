"""The service that looks how many wrong PINs there were, and writes one more a moment later."""
# ruff: noqa: I001

from shop.wsgi import application  # first, since it sets Django up

from shop.people import badges
from shop.people.models import MOST_PIN_TRIES, Person
from tests.races.gate import stand

__all__ = ["application"]


def _try_count(person: Person) -> bool:
    wrong = Person.objects.values_list("pin_wrong", flat=True).get(pk=person.pk)
    if wrong >= MOST_PIN_TRIES:
        return False
    stand()
    Person.objects.filter(pk=person.pk).update(pin_wrong=wrong + 1)
    return True


assert callable(badges._try_count)
badges._try_count = _try_count
