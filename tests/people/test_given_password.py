"""A password that somebody else chose: changed before anything else is shown, never to the same, ended after a week."""

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.hashers import make_password
from django.core.management import call_command
from django.test import Client
from django.utils import timezone

from shop.people.audit import audit
from shop.people.models import Person
from shop.people.services import person_add, person_password
from tests.api import Api
from tests.pages.counter import Counter
from tests.people.conftest import PASSWORD, PIN, At, Badged

pytestmark = pytest.mark.django_db
OWN, GIVEN = "seven quiet mornings in May", "a mile of string 4"


@pytest.fixture
def nora(owner: Person) -> Person:
    return person_add(person=owner, username="nora", role="bench", password=GIVEN)


def came(to: str = "/bins/", password: str = GIVEN) -> Counter:
    """A window in which nora has signed in, on the way to a page."""
    counter = Counter()
    counter.open(to)
    counter.send("", {"username": "nora", "password": password})
    return counter


def test_whoever_gets_one_chooses_another_before_anything_else_is_shown(nora: Person, owner: Person) -> None:
    counter = came("/matches/?job=J-7")
    assert counter.path == "/me/password/?next=%2Fmatches%2F%3Fjob%3DJ-7"
    assert "Choose your own password" in counter.text and "Scan in" not in counter.text
    for path in ("/", "/me/", "/bins/", "/how-it-goes/", "/export/bins.csv"):
        counter.open(path)
        assert counter.path.startswith("/me/password/?next="), path
    counter.open("/bins/")
    assert "This is not your password" in counter.send("", {"password_now": "x", "password": OWN})
    assert "the password that you have now" in counter.send("", {"password_now": GIVEN, "password": GIVEN})
    assert "the password that you have now" in counter.send("", {"password_now": GIVEN, "password": f" {GIVEN} "})
    assert "too short" in counter.send("", {"password_now": GIVEN, "password": "short"})
    counter.send("", {"password_now": GIVEN, "password": OWN})
    assert counter.path == "/bins/" and "nora, bench" in counter.text  # the same window goes on
    assert Counter(Person.objects.get(pk=nora.pk)).open("/me/") and came(password=OWN).path == "/bins/"
    lines = audit(owner.shop_id).values_list("person__username", "subject", "what")
    assert list(lines)[::-1] == [(owner.username, "nora", "added"), ("nora", "nora", "password set")]
    counter.open("/me/password/")
    assert counter.path == "/me/"


def test_a_form_and_a_fragment_meet_that_page_too(nora: Person) -> None:
    counter = came()
    answer = counter.client.post("/add/bin/", {"code": "B-1", "key": "12345678"})
    assert (answer.status_code, answer.headers["Location"]) == (302, "/me/password/")
    answer = counter.client.post("/add/bin/", {"code": "B-1"}, HTTP_HX_REQUEST="true")
    assert answer.headers["HX-Redirect"].startswith("/me/password/?next=")
    counter.send("/sign-out/")
    assert counter.client.get("/bins/").headers["Location"].startswith("/sign-in/")


def test_one_that_the_owner_sets_later_is_such_a_one_and_the_own_is_not(ines: Badged, owner: Person) -> None:
    counter = Counter(ines.person)
    counter.open("/bins/")
    assert counter.path == "/bins/"
    person_password(person=owner, username="ines", password=GIVEN)
    counter.open("/bins/")
    counter.send("", {"username": "ines", "password": GIVEN})
    assert counter.path.startswith("/me/password/")
    assert audit(owner.shop_id)[0].what == "password set"
    said = Counter(owner).open("/shop/people/ines/")
    week = timezone.localtime() + timedelta(days=7)
    assert f"not yet chosen one of the own: the one set {timezone.localtime():%Y-%m-%d} ends {week:%Y-%m-%d}" in said


def test_a_badge_and_a_token_are_no_such_password(ines: Badged, at: At, owner: Person) -> None:
    person_password(person=owner, username="ines", password=GIVEN)
    window = at.counter()
    window.open("/bins/")
    window.send("", {"badge": ines.badge})
    window.send("", {"pin": PIN})
    assert window.path == "/bins/"
    assert Api(ines.person).get("bins/").status == 200


def test_it_ends_after_a_week_and_says_so_to_whoever_knows_it_alone(nora: Person, owner: Person) -> None:
    Person.objects.filter(pk=nora.pk).update(password_given_at=timezone.now() - timedelta(days=6, hours=23))
    assert came().path.startswith("/me/password/")
    Person.objects.filter(pk=nora.pk).update(password_given_at=timezone.now() - timedelta(days=7, seconds=1))
    counter = came()
    assert "ended after 7 days" in counter.text and "Ask the owner for a new one." in counter.text
    assert counter.client.get("/bins/").status_code == 302
    assert "ended" not in came(password="not it").text
    assert [line.what for line in audit(owner.shop_id, sign_ins=True)[:2]] == ["wrong password", "ended password"]
    assert "ended" in Counter(owner).open("/shop/people/nora/")
    person_password(person=owner, username="nora", password=PASSWORD)
    assert came(password=PASSWORD).path.startswith("/me/password/")


def test_ended_it_neither_unlocks_nor_proves_anything(ines: Badged, at: At, owner: Person) -> None:
    """Whoever has only ever come by the badge may have it lying about on paper."""
    person_password(person=owner, username="ines", password=GIVEN)
    Person.objects.filter(pk=ines.person.pk).update(password_given_at=timezone.now() - timedelta(days=7, seconds=1))
    window = at.counter()
    window.open("/bins/")
    window.send("", {"badge": ines.badge})
    window.send("", {"pin": PIN})
    before = Person.objects.values().get(pk=ines.person.pk)
    for path, form in (
        ("/me/", {"act": "pin", "now": GIVEN, "pin": "8260"}),
        ("/me/", {"act": "password", "password_now": GIVEN, "password": OWN}),
        ("/me/code/", {"act": "begin", "password_now": GIVEN}),
    ):
        assert "ended after 7 days" in window.post(path, form), path
    session = window.client.session
    session["seen"] -= 3600
    session.save()
    assert "ended after 7 days" in window.post("/unlock/", {"password": GIVEN})
    assert "not the password" in window.post("/unlock/", {"password": "not it"})
    window.open("/bins/")
    assert window.path.startswith("/unlock/")
    assert Person.objects.values().get(pk=ines.person.pk) == before
    window.post("/unlock/", {"pin": PIN})
    assert window.open("/bins/") and window.path == "/bins/"


def test_a_renewed_hash_is_the_same_password(nora: Person, settings: Any) -> None:
    settings.PASSWORD_HASHERS = [*settings.PASSWORD_HASHERS, "django.contrib.auth.hashers.PBKDF2PasswordHasher"]
    Person.objects.filter(pk=nora.pk).update(password=make_password(GIVEN, hasher="pbkdf2_sha256"))
    given_at = Person.objects.get(pk=nora.pk).password_given_at
    assert came().path.startswith("/me/password/")
    now = Person.objects.get(pk=nora.pk)
    assert not now.password.startswith("pbkdf2") and now.password_given_at == given_at


def test_what_is_typed_at_the_machine_counts_as_the_own(
    nora: Person, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    Person.objects.filter(pk=nora.pk).update(password_given_at=timezone.now() - timedelta(days=8))
    monkeypatch.setattr("getpass.getpass", lambda *_, **__: OWN)
    call_command("changepassword", "nora")
    assert came(password=OWN).path == "/bins/"
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("shop.management.commands.open_shop.getpass", lambda *_, **__: OWN)
    call_command("open_shop", "Shed No. 4", owner="wanda")
    assert Client().post("/sign-in/", {"username": "wanda", "password": OWN}).headers["Location"] == "/"
    assert Person.objects.get(username="wanda").password_given_at is None
