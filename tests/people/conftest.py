"""An enrolled terminal, and people with a badge and a PIN."""

from typing import NamedTuple

import pytest

from shop.entry import COOKIE
from shop.people.badges import badge_make, pin_set
from shop.people.models import Person, Role, Terminal
from shop.people.terminals import terminal_enrol
from tests.factories import PersonFactory
from tests.pages.counter import Counter

PIN = "7391"
PASSWORD = "a drawer of feeler blades"


class At(NamedTuple):
    """A terminal as its browser knows it."""

    terminal: Terminal
    token: str

    def counter(self, person: Person | None = None) -> Counter:
        """A window on it."""
        counter = Counter(person)
        counter.client.cookies[COOKIE] = self.token
        return counter


@pytest.fixture
def at(owner: Person) -> At:
    token = terminal_enrol(person=owner, code="bench-2")
    return At(Terminal.objects.get(shop=owner.shop), token)


class Badged(NamedTuple):
    person: Person
    badge: str


def badged(owner: Person, username: str, role: str = Role.BENCH) -> Badged:
    """Somebody of the owner's shop with a password, a PIN and a badge."""
    person = PersonFactory.create(shop=owner.shop, username=username, role=role)
    person.set_password(PASSWORD)
    person.save()
    pin_set(person=owner, username=username, pin=PIN)
    badge = badge_make(person=owner, username=username)
    person.refresh_from_db()
    return Badged(person, badge)


@pytest.fixture
def ines(owner: Person) -> Badged:
    return badged(owner, "ines")
