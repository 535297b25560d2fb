"""The log: one line of JSON for each request, and no secret in any."""

import io
import json
import logging
import re
from collections.abc import Iterator

import pytest
from django.db import DatabaseError, connection
from django.test import Client

from shop.log import JsonLine
from shop.people.models import Person
from tests.api import Api
from tests.factories import FitFactory, PersonFactory
from tests.pages.counter import Counter
from tests.people.conftest import PASSWORD, PIN, At, Badged

pytestmark = pytest.mark.django_db


@pytest.fixture
def log() -> Iterator[io.StringIO]:
    """All that would stand in the log of a service in production, and more: all that is worth a word."""
    written = io.StringIO()
    handler = logging.StreamHandler(written)
    handler.setFormatter(JsonLine())
    names = ("", "shop.request", "shop.refused", "django.request", "django.security", "django")
    loggers = [(one, one.level, one.propagate) for one in map(logging.getLogger, names)]
    for one, _, _ in loggers:
        one.setLevel(logging.INFO)
    logging.getLogger().addHandler(handler)
    yield written
    logging.getLogger().removeHandler(handler)
    for one, level, propagate in loggers:
        one.setLevel(level)
        one.propagate = propagate


def lines(log: io.StringIO) -> list[dict]:
    return [json.loads(line) for line in log.getvalue().splitlines()]


def test_a_line_says_who_what_and_how_long(log: io.StringIO, api: Api, owner: Person) -> None:
    api.client.get(
        "/api/v1/bins/?code=B-SECRET", HTTP_AUTHORIZATION=f"Token {api.token}", HTTP_X_REQUEST_ID="from-proxy-1"
    )
    (line,) = [one for one in lines(log) if one["logger"] == "shop.request"]
    assert line.pop("ms") > 0 and line.pop("at").endswith("+00:00")
    assert line == {
        "level": "INFO",
        "logger": "shop.request",
        "message": "answered",
        "request": "from-proxy-1",
        "person": str(owner.pk),
        "shop": str(owner.shop_id),
        "view": "api/v1/bins/",
        "status": 400,
    }


def test_a_page_says_who_asked_and_a_stranger_is_nobody(log: io.StringIO, owner: Person) -> None:
    Counter(owner).open("/bins/")
    Client().get("/bins/")
    assert [(one["person"], one["view"]) for one in lines(log) if one["logger"] == "shop.request"] == [
        (str(owner.pk), "bins"),
        (None, "bins"),
    ]


def test_no_secret_stands_in_the_log(log: io.StringIO, at: At, ines: Badged, api: Api) -> None:
    """A sign-in by password and one by badge and PIN, right and wrong ones, and calls of the API that go wrong."""
    client = Client()
    for password in ("not her Passw0rd", PASSWORD):
        client.post("/sign-in/", {"username": "ines", "password": password})
    session = client.cookies["sessionid"].value
    window = at.counter()
    window.open("/sign-in/")
    window.send("/sign-in/", {"badge": ines.badge})
    for pin in ("80351", PIN):
        window.send("/sign-in/", {"pin": pin})
    api.post("bins/", {"code": "a very own text", "secret": "held in the body"})
    api.raw("bins/", "{cut off in the body")
    client.get("/api/v1/bins/", HTTP_AUTHORIZATION="Token of-somebody-else")
    client.get("/bins/?q=typed-into-the-address")
    text = log.getvalue()
    assert len([one for one in lines(log) if one["logger"] == "shop.request"]) >= 9
    secrets = (
        *(PASSWORD, "not her Passw0rd", PIN, "80351", ines.badge, at.token, api.token, session),
        *("a very own text", "held in the body", "cut off in the body", "of-somebody-else", "typed-into-the-address"),
    )
    assert [secret for secret in secrets if _stands(secret, text)] == []


def _stands(secret: str, text: str) -> bool:
    """Digits by themselves: within an id some stand by chance."""
    return bool(re.search(rf"(?<![0-9a-f]){re.escape(secret)}(?![0-9a-f])", text))


def test_who_tries_what_is_not_for_the_role_stands_in_the_log(log: io.StringIO, owner: Person) -> None:
    """Over HTTP and by a form; to look at a page that says why is no try."""
    buyer = PersonFactory.create(shop=owner.shop, role="buyer")
    FitFactory.create(shop=owner.shop, code="DRUM")
    Api(buyer).post("bins/", {"code": "B-1", "fit": "DRUM", "role": "steel", "from": "1 mm", "to": "2 mm"})
    Counter(buyer).open("/add/bin/")
    tried = [one for one in lines(log) if one["logger"] == "shop.refused"]
    assert [(one["message"], one["person"], one["role"], one["right"]) for one in tried] == [
        ("refused", str(buyer.pk), "buyer", "stock")
    ]
    (answered,) = [one for one in lines(log) if one.get("view") == "api/v1/bins/"]
    assert answered["status"] == 403 and answered["request"] == tried[0]["request"]


def test_an_exception_is_told_without_the_rows_that_postgresql_quotes(log: io.StringIO, owner: Person) -> None:
    try:
        with connection.cursor() as cursor:
            cursor.execute("UPDATE shop_person SET role = 'nobody', password = 'hash-of-a-password'")
    except DatabaseError:
        logging.getLogger("shop").exception("It failed.")
    connection.needs_rollback = False
    (line,) = lines(log)
    assert [one["class"] for one in line["exceptions"]] == ["IntegrityError", "CheckViolation"]
    assert "violates check constraint" in line["exceptions"][0]["says"]
    assert any("test_log.py" in place for place in line["exceptions"][0]["at"])
    assert "hash-of-a-password" not in log.getvalue()
