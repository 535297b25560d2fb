"""The demo shop loaded once, and clones of it for tests that change something."""

import os
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta

import pytest
from pytest_django.plugin import DjangoDbBlocker

from shop.demo import demo_load
from shop.people.models import Shop
from tests.conftest import Urls, _run, drop, pointed_at

#: On a whole minute or not, long ago or not: the content hangs on it in nothing but its dates.
NOW = datetime.now(UTC) - timedelta(seconds=30)


@pytest.fixture(scope="session")
def loaded(server: Urls, clone: Callable[[str], Urls], django_db_blocker: DjangoDbBlocker) -> Iterator[Urls]:
    """A database with the demo shop as of NOW. Not to be changed."""
    name = f"demo_{os.getpid()}"
    urls = clone(name)
    with pointed_at(urls), django_db_blocker.unblock():
        demo_load(NOW)
    yield urls
    drop(server, name)


@pytest.fixture
def demo(loaded: Urls, django_db_blocker: DjangoDbBlocker) -> Iterator[Shop]:
    """The demo shop, to look at."""
    with pointed_at(loaded), django_db_blocker.unblock():
        yield Shop.objects.get(is_demo=True)


@pytest.fixture
def own_demo(server: Urls, loaded: Urls) -> Iterator[Urls]:
    """The address of a demo shop of the test's own."""
    name = f"demo_{os.getpid()}_own"
    _run(server, f"CREATE DATABASE {name} TEMPLATE demo_{os.getpid()}")
    yield server.of(name)
    drop(server, name)
