"""The log: one line of JSON for each request, and no secret in any."""

import io
import json
import logging
import re
from collections.abc import Iterator
from ipaddress import ip_network
from typing import Any

import psycopg
import pytest
from axes.models import AccessAttempt
from django.db import DatabaseError, OperationalError, connection
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
        "client": "127.0.0.1",
        "view": "api/v1/bins/",
        "status": 400,
    }


@pytest.mark.parametrize(
    ("environ", "client"),
    [
        ({}, "127.0.0.1"),
        ({"REMOTE_ADDR": "192.0.2.7"}, "192.0.2.7"),
        ({"HTTP_X_FORWARDED_FOR": "192.0.2.8"}, "192.0.2.8"),
        ({"HTTP_X_FORWARDED_FOR": "203.0.113.9, 2001:db8::1"}, "2001:db8::1"),  # the first is the client's own word
        ({"REMOTE_ADDR": "192.0.2.7", "HTTP_X_FORWARDED_FOR": "203.0.113.9"}, "192.0.2.7"),
        ({"REMOTE_ADDR": "198.51.100.3", "HTTP_X_FORWARDED_FOR": "192.0.2.8"}, "192.0.2.8"),
        ({"REMOTE_ADDR": "", "HTTP_X_FORWARDED_FOR": "192.0.2.8"}, "192.0.2.8"),  # a local socket
        ({"REMOTE_ADDR": "fe80::1%enx001122334455"}, "fe80::1"),  # how the machine calls its line is no address
        ({"HTTP_X_FORWARDED_FOR": "fe80::1%" + "any text " * 9}, "fe80::1"),
        ({"REMOTE_ADDR": ""}, None),
        ({"HTTP_X_FORWARDED_FOR": 'a"quote'}, "127.0.0.1"),
    ],
)
def test_the_address_of_a_client_is_taken_from_nobody_but_the_proxy(
    log: io.StringIO, settings, ines: Badged, environ: dict[str, str], client: str | None
) -> None:
    """In the line, and beside a wrong password."""
    settings.PROXIES = [ip_network("127.0.0.1"), ip_network("198.51.100.0/24")]
    Client().post("/sign-in/", {"username": "ines", "password": "not her Passw0rd"}, **environ)
    (line,) = [one for one in lines(log) if one["logger"] == "shop.request"]
    assert line["client"] == client
    assert AccessAttempt.objects.get().ip_address == client


@pytest.mark.parametrize("path", ["/healthz", "/readyz", "/api/v1/bins/"])
def test_a_database_that_is_away_stands_in_the_log_with_its_reason(log: io.StringIO, api: Api, path: str) -> None:
    """As somebody who looks after the server ends a connection: of what was asked nothing is told."""

    def ended(execute: Any, sql: Any, params: Any, many: Any, context: Any) -> Any:
        cause = psycopg.errors.AdminShutdown("terminating connection\nDETAIL: (a row)")
        raise OperationalError(str(cause)) from cause

    with connection.execute_wrapper(ended):
        response = Client().get(path, HTTP_AUTHORIZATION=f"Token {api.token}")
    assert response.status_code == 503
    (why,) = [one for one in lines(log) if one["logger"] == "shop.database"]
    assert why["message"] == "The database does not answer (SQLSTATE 57P01): terminating connection"
    (answered,) = [one for one in lines(log) if one["logger"] == "shop.request"]
    assert (answered["status"], answered["request"]) == (503, why["request"])


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
    client.get(f"/find/?q={ines.badge}")
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
