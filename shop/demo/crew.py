"""The demo people at work."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from django.db import transaction

from shop.errors import refusals
from shop.people.models import Person, Shop

T = TypeVar("T")


@dataclass(frozen=True)
class Crew:
    """Who does what in the demo shop."""

    bench: Person
    counter: Person
    buyer: Person
    owner: Person

    @classmethod
    def of(cls, shop: Shop) -> "Crew":
        people = {person.role: person for person in Person.objects.filter(shop=shop).select_related("shop")}
        return cls(**{role: people[role] for role in ("bench", "counter", "buyer", "owner")})


def committed(effect: Callable[[], T]) -> T:
    """Carry out one act of the bench in a transaction; what the bench's services ask for as ``run``."""
    with refusals(), transaction.atomic():
        return effect()
