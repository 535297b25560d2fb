"""Somebody has learnt a password and tries many codes at once: five are judged, and a right one is good once."""

import threading
from collections.abc import Callable
from http.client import HTTPConnection
from http.cookies import SimpleCookie
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlencode

import pytest

from shop.people.models import Person
from tests.conftest import Urls
from tests.factories import PersonFactory
from tests.races.unlocked import unlocked
from tests.service import ANSWER_SECONDS, Service, serving
from tests.telephone import Telephone

pytestmark = pytest.mark.processes

PASSWORD = "a drawer of feeler blades"
TRIES = 12
#: Fewer than the wrong ones that are judged, so that no lock decides.
SAME = 4


class Answer(NamedTuple):
    status: int
    to: str
    text: str
    session: str


def post(service: Service, path: str, session: str, **fields: str) -> Answer:
    cookies = f"sessionid={session}; csrftoken={'a' * 32}"
    headers = {"Cookie": cookies, "Content-Type": "application/x-www-form-urlencoded"}
    connection = HTTPConnection("127.0.0.1", service.port, timeout=ANSWER_SECONDS)
    try:
        connection.request("POST", path, urlencode({**fields, "csrfmiddlewaretoken": "a" * 32}), headers)
        response = connection.getresponse()
        set_now = SimpleCookie("; ".join(response.headers.get_all("Set-Cookie", [])))
        key = set_now["sessionid"].value if "sessionid" in set_now else ""
        return Answer(response.status, response.headers.get("Location", ""), response.read().decode(), key)
    finally:
        connection.close()


class Thief:
    """Browsers that know the password of somebody."""

    def __init__(self, service: Service, person: Person) -> None:
        self.service, self.person = service, person

    def half_in(self) -> str:
        """A session of a browser of its own in which the password was right."""
        answer = post(self.service, "/sign-in/", "", username=self.person.username, password=PASSWORD)
        assert answer.to.startswith("/sign-in/code/"), answer
        return answer.session

    def at_once(self, count: int, codes: Callable[[], list[str]]) -> list[Answer]:
        """What so many codes are answered, each sent by another browser, all at the same time."""
        sessions, barrier, said = [self.half_in() for _ in range(count)], threading.Barrier(count), []

        def once(session: str, code: str) -> None:
            barrier.wait()
            said.append(post(self.service, "/sign-in/code/", session, otp=code))

        # A code does not last: it is made when all of them are ready.
        threads = [threading.Thread(target=once, args=each) for each in zip(sessions, codes(), strict=True)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len(said) == count
        return said

    def judged(self, telephone: Telephone) -> int:
        """So many of a dozen wrong codes were compared with the right one."""
        said = self.at_once(TRIES, lambda: telephone.wrong(TRIES))
        assert {answer.status for answer in said} == {200}
        return sum("This is not the code" in answer.text for answer in said)

    def let_in(self, code: Callable[[], str]) -> int:
        """So many of several browsers the same code let in."""
        return sum((answer.status, answer.to) == (302, "/") for answer in self.at_once(SAME, lambda: [code()] * SAME))


@pytest.fixture(autouse=True)
def fast_passwords() -> None:
    """Not here: the service in its own process knows only the hashers of its settings."""


@pytest.fixture
def person(fresh_db: Urls) -> Person:
    person = PersonFactory.create()
    person.set_password(PASSWORD)
    person.save()
    return person


@pytest.fixture
def telephone(person: Person) -> Telephone:
    return Telephone(person)


def test_five_wrong_ones_at_most_are_judged(
    person: Person, telephone: Telephone, patient_db: Urls, tmp_path: Path
) -> None:
    with serving(patient_db, tmp_path / "data") as service:
        thief = Thief(service, person)
        assert thief.judged(telephone) <= 4  # the fifth says that it was the last
        assert "no more are looked at" in post(service, "/sign-in/code/", thief.half_in(), otp=telephone.code()).text


def test_control_uncounted_more_are_judged(
    person: Person, telephone: Telephone, patient_db: Urls, tmp_path: Path
) -> None:
    with unlocked(patient_db, tmp_path / "data", "tries_uncounted", standing=6) as service:
        assert Thief(service, person).judged(telephone) > 5


def test_the_same_good_code_lets_one_in(person: Person, telephone: Telephone, patient_db: Urls, tmp_path: Path) -> None:
    with serving(patient_db, tmp_path / "data") as service:
        assert Thief(service, person).let_in(telephone.code) == 1


def test_control_looked_at_first_it_lets_several_in(
    person: Person, telephone: Telephone, patient_db: Urls, tmp_path: Path
) -> None:
    with unlocked(patient_db, tmp_path / "data", "codes_retaken") as service:
        assert Thief(service, person).let_in(telephone.code) > 1


def test_the_same_recovery_code_lets_one_in(
    person: Person, telephone: Telephone, patient_db: Urls, tmp_path: Path
) -> None:
    """Typed into the field for the code, as may happen."""
    with serving(patient_db, tmp_path / "data") as service:
        assert Thief(service, person).let_in(lambda: telephone.recovery[0]) == 1
