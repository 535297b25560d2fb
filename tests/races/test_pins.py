"""Somebody found a badge and tries many PINs at once: five are judged, and many more where nobody counts first."""

import threading
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlencode

import pytest

from shop.entry import COOKIE
from shop.people.badges import badge_make, pin_set
from shop.people.models import Person
from shop.people.terminals import terminal_enrol
from tests.conftest import Urls
from tests.factories import PersonFactory
from tests.races.unlocked import unlocked
from tests.service import ANSWER_SECONDS, Service, serving

pytestmark = pytest.mark.processes

PIN = "7391"
TRIES = 12


class Thief:
    """A browser at an enrolled terminal with somebody's badge, and what the page says to a PIN."""

    def __init__(self, owner: Person) -> None:
        pin_set(person=owner, username=owner.username, pin=PIN)
        self.badge = badge_make(person=owner, username=owner.username)
        self.cookies = f"{COOKIE}={terminal_enrol(person=owner, code='bench-2')}; csrftoken={'a' * 32}"

    def say(self, service: Service, pin: str) -> tuple[int, str]:
        fields = {"badge": self.badge, "pin": pin, "csrfmiddlewaretoken": "a" * 32}
        headers = {"Cookie": self.cookies, "Content-Type": "application/x-www-form-urlencoded"}
        connection = HTTPConnection("127.0.0.1", service.port, timeout=ANSWER_SECONDS)
        try:
            connection.request("POST", "/sign-in/", urlencode(fields), headers)
            response = connection.getresponse()
            return response.status, response.read().decode()
        finally:
            connection.close()

    def tries_judged(self, service: Service) -> int:
        """So many of the wrong PINs, all sent at once, were compared with the right one."""
        barrier = threading.Barrier(TRIES)
        said: list[tuple[int, str]] = []

        def once(pin: str) -> None:
            barrier.wait()
            said.append(self.say(service, pin))

        threads = [threading.Thread(target=once, args=(f"{n:04}",)) for n in range(TRIES)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert [status for status, _ in said] == [200] * TRIES
        return sum("This is not the PIN" in text for _, text in said)


@pytest.fixture
def owner(fresh_db: Urls) -> Person:
    return PersonFactory.create()


def test_five_at_most_are_judged_and_the_badge_is_locked(owner: Person, patient_db: Urls, tmp_path: Path) -> None:
    thief = Thief(owner)
    with serving(patient_db, tmp_path / "data") as service:
        assert thief.tries_judged(service) <= 4  # the fifth says that it has locked the badge
        assert "locked the badge" in thief.say(service, PIN)[1]


def test_control_uncounted_more_are_judged(owner: Person, patient_db: Urls, tmp_path: Path) -> None:
    thief = Thief(owner)
    with unlocked(patient_db, tmp_path / "data", "tries_uncounted", standing=6) as service:
        assert thief.tries_judged(service) > 5
