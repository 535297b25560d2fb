"""The service that looks at tries and at the last step taken, and writes a moment later."""
# ruff: noqa: I001

import time

from shop.wsgi import application  # first, since it sets Django up

from shop.people import one_time
from shop.people.models import MOST_CODE_TRIES, Person

__all__ = ["application"]


def _try_count(person: Person) -> bool:
    wrong = Person.objects.values_list("code_wrong", flat=True).get(pk=person.pk)
    if wrong >= MOST_CODE_TRIES:
        return False
    time.sleep(0.3)
    Person.objects.filter(pk=person.pk).update(code_wrong=wrong + 1)
    return True


def _step_take(person: Person, step: int) -> bool:
    taken = Person.objects.values_list("totp_step", flat=True).get(pk=person.pk)
    time.sleep(0.3)
    Person.objects.filter(pk=person.pk).update(totp_step=step, code_wrong=0)
    return step > taken


assert callable(one_time._try_count) and callable(one_time._step_take)
one_time._try_count, one_time._step_take = _try_count, _step_take
