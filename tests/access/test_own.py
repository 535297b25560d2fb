"""The own password and PIN by each role: of oneself alone, by what oneself knows, whatever else the form says."""

from typing import Any

import pytest

from shop.people.models import Person
from tests.access.api_calls import ROLES
from tests.access.conftest import Two, contents, undone
from tests.access.windows import Window

pytestmark = pytest.mark.django_db
FORMS = {
    "password": {"act": "password", "password_now": "{now}", "password": "another good one"},
    "pin": {"act": "pin", "now": "{now}", "pin": "5183"},
}


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
    names = ("username", "role", "shop_id", "is_active", "badge_sha256", "sessions_ended", "password", "pin")
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


def test_nobody_opens_it_without_signing_in(two: Two, people: list[Person]) -> None:
    window = Window(Person.objects.get(pk=two.owner.pk))
    window.client.logout()
    before = contents()
    for form in FORMS.values():
        answer = window.send("/me/", {name: text.format(now=secret_of(two.owner)) for name, text in form.items()})
        assert (answer.status, answer.to) == (302, "/sign-in/")
        assert secret_of(two.owner) not in str(dict(window.client.session))
    assert contents() == before
