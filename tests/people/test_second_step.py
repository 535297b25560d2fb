"""The one-time code on the pages: behind the password at sign-in, set up and turned off under Me."""

import re
import time

import pytest
from axes.models import AccessAttempt
from django.contrib.sessions.models import Session
from django.test import Client
from pyotp import TOTP

from shop.people.audit import audit
from shop.people.models import Person
from shop.people.one_time import secret_make
from shop.people.services import person_password, sessions_end
from shop.people.settings import settings_change
from tests.access.page_calls import OPENED
from tests.pages.counter import Counter
from tests.people.conftest import PASSWORD, PIN, At, Badged
from tests.people.conftest import at as at
from tests.people.conftest import ines as ines
from tests.people.test_log import log as log
from tests.telephone import Telephone

pytestmark = pytest.mark.django_db


@pytest.fixture
def telephone(ines: Badged) -> Telephone:
    return Telephone(ines.person)


def by_password(counter: Counter, path: str = "/sign-in/", **query: str) -> str:
    counter.open(path, **query)
    return counter.send("/sign-in/", {"username": "ines", "password": PASSWORD})


def test_the_password_leads_to_the_code_and_the_code_where_one_was(ines: Badged, telephone: Telephone) -> None:
    counter = Counter()
    counter.open("/matches/?job=J-7")
    assert "One-time code" in counter.send("/sign-in/", {"username": "ines", "password": PASSWORD})
    assert "The password of ines is right" in counter.text
    for field in ('inputmode="numeric"', 'autocomplete="one-time-code"', "autofocus"):
        assert field in counter.html
    code = telephone.code()
    counter.send("/sign-in/code/", {"otp": f"{code[:3]} {code[3:]}"})
    assert counter.path == "/matches/?job=J-7" and "ines, bench" in counter.text
    line = audit(ines.person.shop_id, sign_ins=True).first()
    assert line and (line.what, line.after) == ("signed in", "password and code")


def test_between_the_two_nothing_is_open(ines: Badged, telephone: Telephone) -> None:
    counter = Counter()
    by_password(counter)
    for path in [path for path in OPENED if "{" not in path] + ["/me/code/", "/go-on/"]:
        answer = counter.client.get(path)
        assert answer.status_code == 302 and answer["Location"].startswith("/sign-in/"), path
    before = Person.objects.values().get(pk=ines.person.pk)
    for form in ({"act": "pin", "now": PASSWORD, "pin": "8260"}, {"act": "off", "password_now": PASSWORD}):
        for path in ("/me/", "/me/code/"):
            assert counter.client.post(path, form)["Location"] == "/sign-in/"
    assert counter.client.get("/api/v1/bins/").status_code == 401
    assert Person.objects.values().get(pk=ines.person.pk) == before
    told = audit(ines.person.shop_id, sign_ins=True).values_list("what", flat=True)
    assert "password, without its code" in told and "signed in" not in told


def test_without_a_password_there_is_no_page_for_the_code(ines: Badged, telephone: Telephone) -> None:
    for method in ("get", "post"):
        answer = getattr(Client(), method)("/sign-in/code/", {"otp": telephone.code(), "next": "/bins/"})
        assert (answer.status_code, answer["Location"]) == (302, "/sign-in/?next=%2Fbins%2F")


def test_a_wrong_code_and_a_recovery_code(ines: Badged, telephone: Telephone) -> None:
    counter = Counter()
    by_password(counter)
    assert "4 more tries" in counter.send("/sign-in/code/", {"otp": telephone.wrong()[0]})
    assert "none of the recovery codes" in counter.send("/sign-in/code/", {"otp": "A" * 24}, nth=1)
    counter.send("/sign-in/code/", {"otp": telephone.recovery[0]}, nth=1)
    assert "ines, bench" in counter.text
    line = audit(ines.person.shop_id, sign_ins=True).first()
    assert line and line.after == "password and recovery code"
    for other in (telephone.recovery[0], telephone.recovery[1]):
        again = Counter()
        by_password(again)
        again.send("/sign-in/code/", {"otp": other}, nth=1)
    assert "ines, bench" in again.text
    assert "8 recovery codes are left" in again.open("/me/code/")


def test_a_code_seen_over_a_shoulder_does_not_sign_in_again(ines: Badged, telephone: Telephone) -> None:
    code = telephone.code()
    for expected in (True, False):
        counter = Counter()
        by_password(counter)
        counter.send("/sign-in/code/", {"otp": code})
        assert ("ines, bench" in counter.text) == expected
    assert "taken before" in counter.text


@pytest.mark.parametrize("between", ["password", "everywhere", "time", "left"])
def test_half_in_ends(ines: Badged, owner: Person, telephone: Telephone, between: str) -> None:
    counter = Counter()
    by_password(counter)
    if between == "password":
        person_password(person=owner, username="ines", password="another good one")
    elif between == "everywhere":
        sessions_end(person=owner, username="ines")
    elif between == "left":
        Person.objects.filter(pk=ines.person.pk).update(is_active=False)
    else:
        session = counter.client.session
        session["half"] = session["half"] | {"at": time.time() - 10 * 60 - 1}
        session.save()
    counter.post("/sign-in/code/", {"otp": telephone.code()})
    assert counter.path.startswith("/sign-in/?next=") and "ines, bench" not in counter.text


def test_signing_out_forgets_who_was_half_in(ines: Badged, telephone: Telephone) -> None:
    counter = Counter()
    by_password(counter)
    counter.client.post("/sign-out/")
    counter.post("/sign-in/code/", {"otp": telephone.code()})
    assert counter.path.startswith("/sign-in/?next=")


def test_a_form_that_met_the_door_waits_for_both_steps(ines: Badged, telephone: Telephone) -> None:
    counter = Counter()
    counter.post("/me/", {"act": "pin", "pin": "8260", "now": PASSWORD, "note": "half typed"})
    counter.send("/sign-in/", {"username": "ines", "password": PASSWORD})
    counter.send("/sign-in/code/", {"otp": telephone.wrong()[0]})
    assert "half typed" not in counter.text
    counter.send("/sign-in/code/", {"otp": telephone.code()})
    assert "Your form waited" in counter.text and "half typed" in counter.text


def test_badge_and_pin_are_two_factors_and_stay_so(ines: Badged, at: At, telephone: Telephone) -> None:
    settings_change(person=Person.objects.get(role="owner"), code_required=True)
    counter = at.counter()
    counter.open("/sign-in/")
    counter.send("", {"badge": ines.badge})
    assert "ines, bench, at bench-2" in counter.send("", {"pin": PIN})


def test_at_a_terminal_too_the_password_needs_the_code(ines: Badged, at: At, telephone: Telephone) -> None:
    counter = at.counter()
    counter.open("/sign-in/")
    counter.send("/sign-in/", {"username": "ines", "password": PASSWORD}, nth=1)
    assert "One-time code" in counter.text
    assert "at bench-2" in counter.send("/sign-in/code/", {"otp": telephone.code()})


def test_the_password_alone_frees_no_badge(ines: Badged, at: At, telephone: Telephone) -> None:
    Person.objects.filter(pk=ines.person.pk).update(pin_wrong=5)
    counter = Counter()
    by_password(counter)
    assert Person.objects.get(pk=ines.person.pk).badge_locked
    counter.send("/sign-in/code/", {"otp": telephone.code()})
    assert not Person.objects.get(pk=ines.person.pk).badge_locked


def test_set_up_under_me_by_password_and_a_first_code(ines: Badged) -> None:
    counter, other = Counter(ines.person), Counter(ines.person)
    other.open("/bins/")
    assert "Off: the password alone signs in" in counter.open("/me/")
    counter.open("/me/code/")
    assert "This is not your password" in counter.send("/me/code/", {"password_now": "not it"})
    counter.send("/me/code/", {"password_now": PASSWORD})
    found = re.search(r'class="what">([A-Z2-7 ]{39})<', counter.html)
    assert found and 'src="data:image/svg+xml' in counter.html
    secret = found[1].replace(" ", "")
    assert "not the code of that secret" in counter.send("/me/code/", {"otp": "abcdef"})
    assert found[1] in counter.html  # the same secret: the app has it already
    assert not Person.objects.get(pk=ines.person.pk).totp_secret
    counter.send("/me/code/", {"otp": TOTP(secret).now()})
    codes = re.findall(r"<li[^>]*>((?:[0-9A-Z]{4}-){5}[0-9A-Z]{4})</li>", counter.html)
    assert len(codes) == 10
    assert "10 recovery codes are left" in counter.open("/me/")
    assert not [one for one in (*codes, secret, found[1]) if one in counter.open("/me/code/")]
    other.open("/bins/")
    assert other.path.startswith("/sign-in/")  # what was open by the password alone
    assert "One-time code" in by_password(Counter())


def test_whoever_finds_a_window_open_neither_sets_it_up_nor_turns_it_off(ines: Badged) -> None:
    counter, secret = Counter(ines.person), secret_make()
    counter.post("/me/code/", {"act": "first", "otp": TOTP(secret).now()})
    assert not Person.objects.get(pk=ines.person.pk).totp_secret
    telephone = Telephone(ines.person)
    counter = Counter(ines.person)
    for said in ({"password_now": "not it", "otp": telephone.code()}, {"password_now": PASSWORD, "otp": "abcdef"}):
        counter.post("/me/code/", {"act": "off", **said})
        assert Person.objects.get(pk=ines.person.pk).totp_secret
    assert "Codes are off" in counter.post(
        "/me/code/", {"act": "off", "password_now": PASSWORD, "otp": telephone.code(1)}
    )
    assert not Person.objects.get(pk=ines.person.pk).totp_secret
    assert "ines, bench" in by_password(Counter())


def test_a_secret_that_was_left_standing_asks_for_the_password_again(ines: Badged) -> None:
    """Else whoever finds the window scans it, turns codes on by another telephone, and shuts its person out."""
    counter = Counter(ines.person)
    counter.open("/me/code/")
    counter.send("/me/code/", {"password_now": PASSWORD})
    session = counter.client.session
    whose, secret, since = session["code_waits"]
    session["code_waits"] = [whose, secret, since - 10 * 60]
    session.save()
    assert "data:image" not in counter.open("/me/code/") and "Password now" in counter.text
    counter.post("/me/code/", {"act": "first", "otp": TOTP(secret).now()})
    assert not Person.objects.get(pk=ines.person.pk).totp_secret
    counter.send("/me/code/", {"password_now": PASSWORD})
    assert secret not in counter.html.replace(" ", "")


def test_a_secret_that_one_is_setting_up_is_not_for_the_next_at_this_browser(owner: Person, ines: Badged) -> None:
    """Half signed in over somebody's session, a secret lies in it that is not theirs."""
    settings_change(person=owner, code_required=True)
    counter = Counter(owner)
    counter.client.post("/sign-in/", {"username": "ines", "password": PASSWORD})
    counter.open("/sign-in/code/")
    assert "Set up one-time codes" in counter.text
    assert "data:image" not in counter.open("/me/code/") and "Password now" in counter.text


def test_the_shop_requires_codes_of_whoever_signs_in_by_password(owner: Person, ines: Badged) -> None:
    page = Counter(owner)
    page.open("/shop/settings/")
    page.send("/shop/settings/", {"code_required": "on"})
    line = audit(owner.shop_id).first()
    assert line and (line.what, line.before, line.after) == ("A password alone is not enough", "no", "yes")
    counter = Counter()
    counter.open("/matches/?job=J-7")
    counter.send("/sign-in/", {"username": "ines", "password": PASSWORD})
    found = re.search(r'class="what">([A-Z2-7 ]{39})<', counter.html)
    assert found
    assert counter.client.get("/bins/").status_code == 302
    counter.send("/sign-in/code/", {"otp": "abcdef"})
    assert found[1] in counter.html
    counter.send("/sign-in/code/", {"otp": TOTP(found[1].replace(" ", "")).now()})
    assert "Recovery codes of ines" in counter.text and 'href="/matches/?job=J-7"' in counter.html
    assert counter.client.get("/bins/").status_code == 200
    assert "The password of ines is right" in by_password(Counter())


def test_the_owner_takes_them_off_for_somebody_else_alone(owner: Person, ines: Badged, telephone: Telephone) -> None:
    owner.set_password(PASSWORD)
    owner.save()
    window, page = Counter(ines.person), Counter(owner)
    window.open("/bins/")
    page.open("/shop/people/ines/")
    assert "On; 10 recovery codes are left" in page.text
    page.post("/shop/people/ines/", {"act": "code", "now": "not it"})
    assert Person.objects.get(pk=ines.person.pk).totp_secret
    page.post("/shop/people/ines/", {"act": "code", "now": PASSWORD})
    window.open("/bins/")
    assert window.path.startswith("/sign-in/")
    assert "ines, bench" in by_password(Counter())
    Telephone(owner)
    page = Counter(owner)
    assert "are changed under Me" in page.post(f"/shop/people/{owner.username}/", {"act": "code"})
    assert Person.objects.get(pk=owner.pk).totp_secret


def test_no_secret_is_told_anywhere(ines: Badged, telephone: Telephone, log: object) -> None:
    """In no log, in no row of axes, in no address, in no form that waits."""
    counter = Counter()
    counter.client.post("/bins/A-1/hand-out/", {"otp": "typed-too-early"})
    by_password(counter)
    typed = [telephone.wrong()[0], telephone.recovery[0], telephone.code()]
    paths = []
    for text in typed:
        counter.post("/sign-in/code/", {"otp": text, "next": "/bins/"})
        paths.append(counter.path)
    counter.post("/me/code/", {"act": "off", "password_now": "not it", "otp": telephone.code(1)})
    counter.post("/sign-in/", {"username": "ines", "password": "not it", "otp": telephone.code(1)})
    rows = " ".join(f"{one.get_data} {one.post_data} {one.path_info}" for one in AccessAttempt.objects.all())
    waits = " ".join(str(one.get_decoded()) for one in Session.objects.all())
    told = f"{log.getvalue()} {rows} {waits} {' '.join(paths)}"  # type: ignore[attr-defined]
    assert "act=off" in rows
    secrets = [*typed, telephone.code(1), telephone.secret, "typed-too-early", *telephone.recovery]
    assert [one for one in secrets if re.search(rf"(?<![0-9a-f]){one}(?![0-9a-f])", told)] == []
