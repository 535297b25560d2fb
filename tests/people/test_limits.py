"""How often a password may be tried, how long a session lasts, and what the owner ends at once."""

import re
from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db.models.functions import Now
from django.test import Client
from django.utils import timezone

from shop.errors import Forbidden, NotFound
from shop.people.audit import audit
from shop.people.models import Person, Token, sha256_of
from shop.people.services import sessions_end, tokens_end
from tests.api import Api
from tests.factories import PersonFactory
from tests.pages.counter import Counter
from tests.people.conftest import PASSWORD, PIN, At, Badged
from tests.people.conftest import at as at
from tests.people.conftest import ines as ines

pytestmark = pytest.mark.django_db
WRONG = {"username": "ines", "password": "not it"}


def wrong(times: int, **fields: str) -> list[int]:
    """Wrong passwords, each from another browser."""
    return [
        Client(headers={"user-agent": f"browser {n}"}).post("/sign-in/", {**WRONG, **fields}).status_code
        for n in range(times)
    ]


def test_ten_wrong_passwords_shut_out_the_right_one_for_a_while(ines: Badged, owner: Person) -> None:
    assert wrong(10) == [200] * 9 + [429]
    counter = Counter()
    counter.open("/sign-in/")
    said = counter.send("", {"username": "ines", "password": PASSWORD})
    assert counter.status == 429 and "for 15 minutes none is looked at" in said
    lines = audit(owner.shop_id, sign_ins=True).filter(what="wrong password")
    assert lines.count() == 10  # what is not judged is not written
    AccessAttempt.objects.update(attempt_time=timezone.now() - settings.AXES_COOLOFF_TIME - timedelta(seconds=1))
    counter.open("/sign-in/")
    assert "ines, bench" in counter.send("", {"username": "ines", "password": PASSWORD})


def test_a_name_that_is_nobodys_is_shut_out_alike(ines: Badged) -> None:
    assert wrong(10, username="nobody") == wrong(10)


def test_the_right_password_forgets_the_wrong_ones(ines: Badged) -> None:
    wrong(9)
    assert Client().post("/sign-in/", {"username": "ines", "password": PASSWORD}).status_code == 302
    assert wrong(9) == [200] * 9


def test_whoever_is_shut_out_signs_in_by_badge(ines: Badged, at: At) -> None:
    wrong(10)
    counter = at.counter()
    counter.open("/sign-in/")
    counter.send("", {"badge": ines.badge})
    assert "ines, bench" in counter.send("", {"pin": PIN})


def test_passwords_at_the_lock_count_too(ines: Badged) -> None:
    counter = Counter(ines.person)
    session = counter.client.session
    session["seen"] -= 3600
    session.save()
    counter.open("/bins/")
    for _ in range(10):
        counter.post("/unlock/", {"password": "not it", "next": "/bins/"})
    assert counter.status == 429
    counter.post("/unlock/", {"password": PASSWORD, "next": "/bins/"})
    assert counter.status == 429


def test_a_static_file_opened_by_itself_loads_nothing() -> None:
    for path in ("shop/counter.css", "shop/counter.js", "shop/favicon.svg"):
        answer = Client().get(f"/static/{path}")
        answer.close()
        assert answer.status_code == 200
        assert answer.headers["Content-Security-Policy"] == "default-src 'none'; frame-ancestors 'none'"


@pytest.mark.parametrize(
    "typed",
    [
        {"act": "password", "password_now": "not it", "password": "another good one"},
        {"act": "pin", "now": "not it", "pin": "8260"},
    ],
)
def test_passwords_said_under_me_count_too(ines: Badged, owner: Person, at: At, typed: dict[str, str]) -> None:
    """Whoever finds a window open does not guess there without end; at the terminal the badge is still good."""
    said, counter = {"password_now": PASSWORD, "now": PASSWORD}, Counter(ines.person)
    right = {name: said.get(name, text) for name, text in typed.items()}
    statuses = []
    for _ in range(10):
        counter.post("/me/", typed)
        statuses.append(counter.status)
    assert statuses == [200] * 9 + [429]
    text = counter.post("/me/", right)
    assert counter.status == 429 and "for 15 minutes none is looked at" in text and "the badge still signs in" in text
    assert audit(owner.shop_id, sign_ins=True).filter(what="wrong password").count() == 10
    person = Person.objects.get(pk=ines.person.pk)
    assert person.check_password(PASSWORD) and person.pin == ines.person.pin
    counter = at.counter(ines.person)
    assert "Your PIN is set." in counter.post("/me/", {"act": "pin", "now": PIN, "pin": "8260"})
    AccessAttempt.objects.update(attempt_time=timezone.now() - settings.AXES_COOLOFF_TIME - timedelta(seconds=1))
    done = "Your password is changed." if typed["act"] == "password" else "Your PIN is set."
    assert done in counter.post("/me/", right)


def test_what_was_typed_beside_a_wrong_password_is_not_kept(ines: Badged) -> None:
    counter = Counter(ines.person)
    counter.post("/me/", {"act": "password", "password_now": "one-key-beside-it", "password": "another good one"})
    counter.post("/me/", {"act": "pin", "now": "two-keys-beside-it", "pin": "8260"})
    counter.post("/sign-in/", {"username": "ines", "password": "three-keys-beside-it"})
    kept = " ".join(f"{one.get_data} {one.post_data}" for one in AccessAttempt.objects.all())
    assert "act=pin" in kept
    assert not [text for text in ("beside-it", "another good one", "8260") if text in kept]


def test_the_right_password_under_me_forgets_the_wrong_ones(ines: Badged) -> None:
    wrong(9)
    counter = Counter(ines.person)
    assert "Your PIN is set." in counter.post("/me/", {"act": "pin", "now": PASSWORD, "pin": "8260"})
    assert wrong(9) == [200] * 9


def test_a_session_ends_after_its_time_though_somebody_was_always_there(ines: Badged) -> None:
    counter = Counter(ines.person)
    counter.open("/bins/")
    session = counter.client.session
    session["began"] -= settings.SESSION_COOKIE_AGE + 1
    session.save()
    counter.open("/bins/")
    assert counter.path.startswith("/sign-in/")


def test_the_owner_ends_sessions_and_tokens_at_once(owner: Person, ines: Badged) -> None:
    window, theirs, api = Counter(ines.person), Counter(ines.person), Api(ines.person)
    window.open("/bins/")
    page = Counter(owner)
    page.open("/shop/people/ines/")
    page.send("", {"act": "sessions"}, nth=4)
    for one in (window, theirs):
        one.open("/bins/")
        assert one.path.startswith("/sign-in/")
    assert api.get("bins/").status == 200
    assert "End 1 API token" in page.text
    page.send("", {"act": "tokens"}, nth=5)
    assert api.get("bins/").status == 401 and not Token.objects.exists()
    assert {"sessions ended", "API tokens ended"} <= set(audit(owner.shop_id).values_list("what", flat=True))


def test_the_owner_who_signs_out_everywhere_stays_in_this_window(owner: Person) -> None:
    other, page = Counter(owner), Counter(owner)
    page.open(f"/shop/people/{owner.username}/")
    page.send("", {"act": "sessions"}, nth=2)
    assert page.path == f"/shop/people/{owner.username}/"
    other.open("/bins/")
    assert other.path.startswith("/sign-in/")


def test_a_token_ends_by_itself_and_says_how_to_get_another(owner: Person, ines: Badged) -> None:
    api, other, page = Api(ines.person), Api(ines.person), Counter(owner)
    assert api.get("bins/").status == 200
    token = Token.objects.get(sha256=sha256_of(api.token))
    assert timedelta(days=364) < token.ends_at - timezone.now() <= timedelta(days=365)
    Token.objects.filter(pk=token.pk).update(ends_at=Now() + timedelta(minutes=1))
    assert api.get("bins/").status == 200
    Token.objects.filter(pk=token.pk).update(ends_at=Now())
    answer = api.get("bins/")
    today = timezone.localtime().strftime("%Y-%m-%d")
    assert answer.status == 401 and other.get("bins/").status == 200
    assert f"This token ended on {today}. Make a new one with: manage.py token" in answer.body["detail"]
    assert api.post("bins/", {}).status == 401
    said = page.open("/shop/people/ines/")
    assert f"ended {today}" in said and "End 2 API tokens" in said
    year = (timezone.localtime() + timedelta(days=365)).strftime("%Y-%m-%d")
    assert f"API token made {today}, ends {year}" in said


def test_the_command_makes_a_token_for_so_many_days_and_the_audit_says_so(
    owner: Person, ines: Badged, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("token", "ines", "--days", "7")
    token = Token.objects.get(sha256=sha256_of(capsys.readouterr().out.removesuffix("\n")))
    assert timedelta(days=6, hours=23) < token.ends_at - timezone.now() <= timedelta(days=7)
    line = audit(owner.shop_id).first()
    assert line and (line.subject, line.what, line.after) == ("ines", "API token made", "for 7 days")
    for days in ("0", "-1", "3651"):
        with pytest.raises(CommandError, match="1 to 3650 days"):
            call_command("token", "ines", "--days", days)


def test_nobody_else_ends_them(owner: Person, ines: Badged) -> None:
    for end in (sessions_end, tokens_end):
        with pytest.raises(Forbidden):
            end(person=ines.person, username=owner.username)
        with pytest.raises(NotFound):
            end(person=PersonFactory.create(), username="ines")


def test_who_came_and_went_is_listed(owner: Person, ines: Badged, at: At) -> None:
    counter = at.counter()
    counter.open("/sign-in/")
    counter.send("", {"badge": ines.badge})
    counter.send("", {"pin": PIN})
    counter.send("/sign-out/")
    page = Counter(owner)
    said = page.open("/shop/changes/", sign_ins="1")
    for line in ("ines ?bench-2 ?ines ?signed out", "ines ?bench-2 ?ines ?signed in ?badge"):
        assert re.search(line, said), line
    assert "signed in" not in page.open("/shop/changes/").replace("Who signed in", "")


def test_every_answer_carries_what_a_browser_has_to_hold_to(owner: Person) -> None:
    client = Client()
    client.force_login(owner)
    for path in ("/", "/sign-in/", "/nowhere/", "/api/v1/schema/", "/api/v1/bins/"):
        headers = client.get(path, follow=True).headers
        policy = headers["Content-Security-Policy"]
        assert {"default-src 'self'", "object-src 'none'", "base-uri 'none'"} <= set(policy.split("; ")), path
        assert "unsafe" not in policy and "frame-ancestors 'none'" in policy
        assert headers["Referrer-Policy"] == "same-origin"
        assert "camera=()" in headers["Permissions-Policy"]
        assert headers["X-Content-Type-Options"] == "nosniff" and headers["X-Frame-Options"] == "DENY"
        assert headers["Cross-Origin-Opener-Policy"] == "same-origin"


@pytest.mark.parametrize("path", ["/", "/sign-in/", "/export/bins.csv", "/api/v1/bins/", "/api/v1/nowhere/"])
def test_no_cache_keeps_what_is_shown_or_answered(owner: Person, path: str) -> None:
    client = Client(headers={"authorization": f"Token {Token.make(owner)}"})
    client.force_login(owner)
    answer = client.get(path, follow=True)
    assert "no-store" in answer.headers["Cache-Control"]
    answer.close()
