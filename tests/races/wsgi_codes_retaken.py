"""The service that looks which step's code was the last one taken, and writes the next a moment later."""
# ruff: noqa: I001

from shop.wsgi import application  # first, since it sets Django up

from shop.people import one_time
from shop.people.models import Person
from tests.races.gate import stand

__all__ = ["application"]


def _step_take(person: Person, step: int) -> bool:
    taken = Person.objects.values_list("totp_step", flat=True).get(pk=person.pk)
    stand()
    Person.objects.filter(pk=person.pk).update(totp_step=step, code_wrong=0)
    return step > taken


assert callable(one_time._step_take)
one_time._step_take = _step_take
