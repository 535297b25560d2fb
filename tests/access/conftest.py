"""Two shops side by side, each with one of everything."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

import pytest
from django.apps import apps
from django.db import connection, transaction

from shop.people.models import Counter, Person
from tests.access.furnished import Names, furnish
from tests.access.page_calls import OWN_PASSWORD
from tests.factories import PersonFactory

_NAME = re.compile(r"\{(\w+)\}")


class Two(NamedTuple):
    """The shop that asks, and the one that it must not notice."""

    owner: Person
    mine: Names
    theirs: Names

    def of_role(self, role: str) -> Person:
        """Somebody of the asking shop."""
        return self.owner if role == "owner" else Person.objects.get(shop=self.owner.shop, username=f"mine.{role}")


@pytest.fixture
def two(owner: Person) -> Two:
    other = PersonFactory.create()
    for name in ("job", "match", "order"):  # so that no short number of theirs is one of mine
        Counter.objects.create(shop=other.shop, name=name, value=7000)
    for role in ("bench", "counter", "buyer"):
        PersonFactory.create(shop=owner.shop, username=f"mine.{role}", role=role)
    for person in Person.objects.all():
        person.set_password(OWN_PASSWORD)
        person.save()
    owner.refresh_from_db()
    return Two(owner, furnish(owner, "MINE"), furnish(other, "THEIRS"))


def named_in(template: Any) -> set[str]:
    """The names in braces of an address, a body or a form."""
    if isinstance(template, str):
        return set(_NAME.findall(template))
    parts = template.values() if isinstance(template, dict) else template
    return set().union(*map(named_in, parts)) if isinstance(template, dict | list | tuple) else set()


def filled(template: Any, names: Names) -> Any:
    """The template with each name in braces put in."""
    if isinstance(template, str):
        return _NAME.sub(lambda found: names[found[1]], template)
    if isinstance(template, dict):
        return {filled(name, names): filled(part, names) for name, part in template.items()}
    return [filled(part, names) for part in template] if isinstance(template, list | tuple) else template


@contextmanager
def undone() -> Iterator[None]:
    """What is done within is taken back."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def rows() -> dict[str, int]:
    """How many rows each table has, but for sessions, which come and go with whoever looks."""
    models = [model for name in ("shop", "plates") for model in apps.get_app_config(name).get_models()]
    return {model.__name__: model._default_manager.count() for model in models}


def contents() -> dict[str, str]:
    """A fingerprint of what each table holds, but for sessions."""
    models = [model for name in ("shop", "plates") for model in apps.get_app_config(name).get_models()]
    one = "SELECT '{}', md5(coalesce(string_agg(md5(t::text), '' ORDER BY t::text), '')) FROM {} t"
    asked = " UNION ALL ".join(one.format(model.__name__, model._meta.db_table) for model in models)
    with connection.cursor() as cursor:
        cursor.execute(asked)
        return dict(cursor.fetchall())
