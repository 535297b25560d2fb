"""The demo shop, to look at, and clones of it for tests that change something."""

from collections.abc import Callable, Iterator

import pytest
from pytest_django.plugin import DjangoDbBlocker

from shop.people.models import Shop
from tests.conftest import Urls, drop, pointed_at


@pytest.fixture
def demo(loaded: Urls, django_db_blocker: DjangoDbBlocker) -> Iterator[Shop]:
    """The demo shop, to look at."""
    with pointed_at(loaded), django_db_blocker.unblock():
        yield Shop.objects.get(is_demo=True)


@pytest.fixture
def own_demo(server: Urls, demo_clone: Callable[[str], Urls]) -> Iterator[Urls]:
    """The address of a demo shop of the test's own."""
    yield demo_clone("demo_own")
    drop(server, "demo_own")
