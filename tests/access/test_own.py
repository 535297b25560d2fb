"""The own password, PIN and codes by each role: of oneself alone, by what oneself knows, whatever the form says."""

from typing import Any

import pytest

from shop.people.models import Person
from tests.access.api_calls import ROLES
from tests.access.conftest import Two, contents, undone
from tests.access.windows import Window
from tests.telephone import Telephone

pytestmark = pytest.mark.django_db
FORMS = {
    "password": {"act": "password", "password_now": "{now}", "password": "another good one"},
    "pin": {"act": "pin", "now": "{now}", "pin": "5183"},
}
BEGIN = {"act": "begin", "password_now": "{now}"}


def secret_of(person: Person) -> str:
    return f"known to {person.username} alone"


@pytest.fixture
def people(two: Two) -> list[Person]:
    """Everybody of both shops, each with a password."""
    found = list(Person.objects.all())
    for person in found:
        person.set_password(secret_of(person))
        person.save()
    return found


def kept(act: str) -> dict[Any, tuple[str, ...]]:
    """What is known of everybody but what this form is for, and apart from it that."""
    names = ("username", "role", "shop_id", "is_active", "badge_sha256", "sessions_ended")
    names += ("password", "pin", "totp_secret")
    return {row["pk"]: tuple(row[name] for name in names if name != act) for row in Person.objects.values("pk", *names)}


@pytest.mark.parametrize("act", FORMS)
@pytest.mark.parametrize("role", ROLES)
def test_each_changes_the_own_and_nobody_elses(two: Two, people: list[Person], role: str, act: str) -> None:
    me = Person.objects.get(pk=two.of_role(role).pk)
    others = [person for person in people if person != me]
    for other in others:
        for now, may in ((secret_of(me), True), (secret_of(other), False), ("", False)):
            more = {"username": other.username, "person": str(other.pk), "role": "owner", "shop": str(other.shop_id)}
            fields = {name: text.format(now=now) for name, text in FORMS[act].items()}
            before, rest = dict(Person.objects.values_list("pk", act)), kept(act)
            with undone():
                Window(me).send("/me/", {**more, **fields})
                after = dict(Person.objects.values_list("pk", act))
                assert {pk for pk in after if after[pk] != before[pk]} == ({me.pk} if may else set()), other
                assert kept(act) == rest


@pytest.mark.parametrize("role", ROLES)
def test_each_turns_the_own_codes_off_and_nobody_elses(two: Two, people: list[Person], role: str) -> None:
    me = Person.objects.get(pk=two.of_role(role).pk)
    mine, held = Telephone(me), {}
    for other in (person for person in people if person != me and not person.totp_secret):
        held[other] = Telephone(other)
    now = secret_of(me)
    ways = [(now, mine.code(), {me.pk}), (now, mine.recovery[0], {me.pk}), ("", mine.recovery[0], set())]
    for other, theirs in held.items():
        ways += [(now, theirs.recovery[0], set()), (secret_of(other), theirs.recovery[0], set())]
        ways += [(secret_of(other), mine.recovery[0], set())]
    for password, code, off in ways:
        before = set(Person.objects.filter(totp_secret="").values_list("pk", flat=True))
        with undone():
            more = {"username": two.owner.username, "person": str(two.owner.pk)}
            Window(me).send("/me/code/", {"act": "off", "password_now": password, "otp": code, **more})
            assert set(Person.objects.filter(totp_secret="").values_list("pk", flat=True)) - before == off


def test_nobody_opens_it_without_signing_in(two: Two, people: list[Person]) -> None:
    window = Window(Person.objects.get(pk=two.owner.pk))
    window.client.logout()
    before = contents()
    for path, form in [("/me/", form) for form in FORMS.values()] + [("/me/code/", BEGIN)]:
        answer = window.send(path, {name: text.format(now=secret_of(two.owner)) for name, text in form.items()})
        assert (answer.status, answer.to) == (302, "/sign-in/")
        assert secret_of(two.owner) not in str(dict(window.client.session))
    assert contents() == before
