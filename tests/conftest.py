"""One server a session, one migrated template database, and clones of it.

Tests marked ``django_db`` share one clone and roll back. Tests with real processes or several connections take
``fresh_db``: a clone of their own, since the ledger refuses to be emptied.
"""

import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import NamedTuple
from urllib.parse import quote, urlsplit, urlunsplit

import psycopg
import pytest
from django.core.management import call_command
from django.db import connections
from pytest_django.plugin import DjangoDbBlocker

from shop.database import databases
from shop.demo import demo_load
from shop.people.models import Person
from tests import factories, servers
from tests.api import Api

os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"  # playwright's sync interface runs an event loop beside the tests


GONE_SECONDS = 20


class Urls(NamedTuple):
    """Addresses of one database for the owner of its tables and for the plain application role."""

    owner: str
    app: str

    def of(self, name: str) -> "Urls":
        """The same server, another database."""
        return Urls(*(urlunsplit(urlsplit(url)._replace(path="/" + quote(name))) for url in self))

    @property
    def environ(self) -> dict[str, str]:
        return {"DATABASE_URL": self.app, "DATABASE_OWNER_URL": self.owner}


@pytest.fixture(scope="session")
def server() -> Iterator[Urls]:
    """The server of DATABASE_URL, else one of our own: embedded, or Debian's with PLATES_TEST_SERVER=debian."""
    if app := os.environ.get("DATABASE_URL"):
        yield Urls(os.environ.get("DATABASE_OWNER_URL", app), app)
        return
    owner, app, stop = servers.start(os.environ.get("PLATES_TEST_SERVER", "embedded"))
    yield Urls(owner, app)
    stop()


def _run(urls: Urls, statement: str) -> None:
    with psycopg.connect(urls.of("postgres").owner, autocommit=True) as connection:
        connection.execute(statement)  # type: ignore[call-overload]


def drop(server: Urls, name: str) -> None:
    """Drop the database once the last connection to it is gone: a closed one takes a moment, longer on a busy machine.

    Without FORCE: the owner may end neither a process of the application's role nor one of autovacuum, which comes when
    it likes; a plain drop asks the latter to go and waits for both.
    """
    until = time.monotonic() + GONE_SECONDS
    with psycopg.connect(server.of("postgres").owner, autocommit=True) as connection:
        while True:
            try:
                connection.execute(f"DROP DATABASE {name}")  # type: ignore[call-overload]
                return
            except psycopg.errors.ObjectInUse:
                if time.monotonic() > until:
                    raise


@contextmanager
def pointed_at(urls: Urls) -> Iterator[None]:
    """Django's connections lead to this database, for the time being."""
    before = {alias: dict(connections[alias].settings_dict) for alias in connections}
    connections.close_all()
    for alias, settings in databases({**os.environ, **urls.environ}, None).items():  # type: ignore[arg-type]
        connections[alias].settings_dict.update({**settings, "CONN_MAX_AGE": 0, "CONN_HEALTH_CHECKS": False})
    try:
        yield
    finally:
        connections.close_all()
        for alias, settings in before.items():
            connections[alias].settings_dict.update(settings)


@pytest.fixture(scope="session")
def template(server: Urls, django_db_blocker: DjangoDbBlocker) -> Iterator[Urls]:
    """A migrated database, without connections, to clone from."""
    name = f"template_{os.getpid()}"
    _run(server, f"CREATE DATABASE {name}")
    with django_db_blocker.unblock(), pointed_at(server.of(name)):
        call_command("migrate", verbosity=0)
    yield server.of(name)
    drop(server, name)


@pytest.fixture(scope="session")
def clone(server: Urls, template: Urls) -> Callable[[str], Urls]:
    """Makes a database of this name from the template."""

    def make(name: str) -> Urls:
        _run(server, f"CREATE DATABASE {name} TEMPLATE template_{os.getpid()}")
        return server.of(name)

    return make


#: On a whole minute or not, long ago or not: the content of the demo hangs on it in nothing but its dates.
NOW = datetime.now(UTC) - timedelta(seconds=30)


@pytest.fixture(scope="session")
def loaded(server: Urls, clone: Callable[[str], Urls], django_db_blocker: DjangoDbBlocker) -> Iterator[Urls]:
    """A database with the demo shop as of NOW. Not to be changed: it takes its time, and is cloned."""
    name = f"demo_{os.getpid()}"
    urls = clone(name)
    with pointed_at(urls), django_db_blocker.unblock():
        demo_load(NOW)
    yield urls
    drop(server, name)


@pytest.fixture(scope="session")
def demo_clone(server: Urls, loaded: Urls) -> Callable[[str], Urls]:
    """Makes a database of this name with the demo shop."""

    def make(name: str) -> Urls:
        _run(server, f"CREATE DATABASE {name} TEMPLATE demo_{os.getpid()}")
        return server.of(name)

    return make


@pytest.fixture(scope="session")
def django_db_setup(
    server: Urls, clone: Callable[[str], Urls], django_db_blocker: DjangoDbBlocker
) -> Iterator[None]:
    """pytest-django's own fixture, with a clone in place of its test database."""
    name = f"tests_{os.getpid()}"
    with pointed_at(clone(name)), django_db_blocker.unblock():
        connections.close_all()
        yield
    drop(server, name)


@pytest.fixture
def fresh_db(
    server: Urls, clone: Callable[[str], Urls], django_db_blocker: DjangoDbBlocker, request: pytest.FixtureRequest
) -> Iterator[Urls]:
    """A database of this test's own, in which transactions really commit."""
    name = f"fresh_{os.getpid()}_{abs(hash(request.node.nodeid)) % 10**9}"
    urls = clone(name)
    with pointed_at(urls), django_db_blocker.unblock():
        yield urls
    drop(server, name)


@pytest.fixture(autouse=True)
def fast_passwords(settings: object) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # type: ignore[attr-defined]


@pytest.fixture
def owner(db: None) -> Person:
    """The owner of a shop of the test's own."""
    return factories.PersonFactory.create()


@pytest.fixture
def api(owner: Person) -> Api:
    """The API as the owner sees it."""
    return Api(owner)
