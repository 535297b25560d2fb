"""The service that looks how many wrong PINs or codes there were, and writes one more a moment later."""
# ruff: noqa: I001

from shop.wsgi import application  # first, since it sets Django up

from shop.people.models import Person
from tests.races.gate import stand

__all__ = ["application"]


def _try_count(person: Person, column: str, most: int) -> bool:
    wrong = Person.objects.values_list(column, flat=True).get(pk=person.pk)
    if wrong >= most:
        return False
    stand()
    Person.objects.filter(pk=person.pk).update(**{column: wrong + 1})
    return True


assert callable(Person.try_count)
Person.try_count = _try_count
