"""A server of a benchmark's own, with Django set up on it, and databases there to build shops in."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import django
import psycopg
from django.test.utils import setup_test_environment

from tests import servers

if TYPE_CHECKING:
    from tests.conftest import Urls


@contextmanager
def server(fast: bool = True) -> Iterator["Urls"]:
    """The embedded server; ``fast``: it does not wait for the disk."""
    owner_url, app_url, stop = servers.start_embedded(fast)
    try:
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
        os.environ.update(DATABASE_URL=app_url, DATABASE_OWNER_URL=owner_url)
        django.setup()
        setup_test_environment()
        from tests.conftest import Urls  # needs Django

        yield Urls(owner_url, app_url)
    finally:
        stop()


@contextmanager
def database(urls: "Urls", name: str) -> Iterator["Urls"]:
    """A migrated database of this name, to which Django's connections lead for the time being."""
    from django.core.management import call_command

    from tests.conftest import pointed_at

    with psycopg.connect(urls.of("postgres").owner, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")  # type: ignore[call-overload]
    with pointed_at(urls.of(name)):
        call_command("migrate", verbosity=0)
        yield urls.of(name)
