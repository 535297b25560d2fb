"""The service that looks how many wrong codes there were, and writes one more a moment later."""
# ruff: noqa: I001

from shop.wsgi import application  # first, since it sets Django up

from shop.people import one_time
from shop.people.models import MOST_CODE_TRIES, Person
from tests.races.gate import stand

__all__ = ["application"]


def _try_count(person: Person) -> bool:
    wrong = Person.objects.values_list("code_wrong", flat=True).get(pk=person.pk)
    if wrong >= MOST_CODE_TRIES:
        return False
    stand()
    Person.objects.filter(pk=person.pk).update(code_wrong=wrong + 1)
    return True


assert callable(one_time._try_count)
one_time._try_count = _try_count
