"""A new key of the session whenever somebody proves who it is, and what was open or waits is still there."""

from collections.abc import Callable

import pytest
from django.contrib.sessions.models import Session

from shop.people.models import Person
from tests.pages.counter import Counter
from tests.people.conftest import PASSWORD, PIN, At, Badged, badged
from tests.people.conftest import at as at
from tests.people.conftest import ines as ines
from tests.people.test_second_step import by_password
from tests.telephone import Telephone

pytestmark = pytest.mark.django_db


def key(counter: Counter) -> str:
    return counter.client.cookies["sessionid"].value


def renewed(counter: Counter, act: Callable[[], object]) -> bool:
    """Whether this gave the session another key, and the old one opens nothing."""
    before = key(counter)
    act()
    return key(counter) != before and not Session.objects.filter(pk=before).exists()


def locked(counter: Counter) -> None:
    session = counter.client.session
    session["seen"] -= 3600
    session.save()


def test_at_both_steps_of_signing_in(ines: Badged) -> None:
    telephone, counter = Telephone(ines.person), Counter()
    counter.client.post("/bins/A-1/hand-out/", {"note": "so that there is a session"})
    assert renewed(counter, lambda: by_password(counter))
    assert renewed(counter, lambda: counter.send("/sign-in/code/", {"otp": telephone.code()}))
    assert "so that there is a session" in counter.text


@pytest.mark.parametrize("by", ["pin", "password"])
def test_when_the_lock_is_opened(ines: Badged, at: At, by: str) -> None:
    counter = at.counter()
    counter.open("/sign-in/")
    counter.send("", {"badge": ines.badge})
    counter.send("", {"pin": PIN})
    locked(counter)
    counter.post("/bins/A-1/hand-out/", {"note": "half typed"})
    assert "Locked" in counter.text
    wrong, right = ("0000", PIN) if by == "pin" else ("not it", PASSWORD)
    assert not renewed(counter, lambda: counter.post("/unlock/", {by: wrong}))
    assert renewed(counter, lambda: counter.post("/unlock/", {by: right}))
    assert "Your form waited" in counter.text and "half typed" in counter.text
    assert "ines, bench, at bench-2" in counter.open("/matches/")


@pytest.mark.parametrize("who", ["ines", "omar"])
def test_who_signs_in_over_an_open_session(owner: Person, ines: Badged, who: str) -> None:
    badged(owner, "omar", "counter")
    counter = Counter(ines.person)
    counter.open("/matches/")
    again = {"username": who, "password": PASSWORD}
    assert renewed(counter, lambda: counter.post("/sign-in/", again))
    assert f"{who}, " in counter.open("/matches/")


def test_over_a_session_of_the_own_badge_the_badge_is_forgotten(owner: Person, ines: Badged, at: At) -> None:
    """Who has proven the password is not put out by the end of the badge."""
    counter = at.counter()
    counter.open("/sign-in/")
    counter.send("", {"badge": ines.badge})
    counter.send("", {"pin": PIN})
    counter.post("/sign-in/", {"username": "ines", "password": PASSWORD})
    Person.objects.filter(pk=ines.person.pk).update(badge_sha256=None)
    assert "ines, bench" in counter.open("/matches/")
