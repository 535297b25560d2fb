"""The record of changes of people, terminals and settings only grows: the database itself refuses to rewrite it."""

import psycopg
import pytest
from django.db import connection, transaction

from shop.people.models import AuditLine, Person
from shop.people.terminals import terminal_enrol
from tests.conftest import Urls
from tests.factories import PersonFactory
from tests.people.conftest import At
from tests.refused import broken

REWRITES = ["UPDATE shop_auditline SET what = 'x'", "DELETE FROM shop_auditline", "TRUNCATE shop_auditline CASCADE"]


@pytest.mark.django_db
@pytest.mark.parametrize("statement", REWRITES)
def test_the_applications_role_may_not_rewrite_it(at: At, statement: str) -> None:
    with pytest.raises(Exception, match="permission denied") as caught, transaction.atomic():
        connection.cursor().execute(statement)
    assert isinstance(caught.value.__cause__, psycopg.errors.InsufficientPrivilege)


@pytest.mark.django_db
def test_a_line_names_people_and_terminals_of_its_own_shop(owner: Person, at: At) -> None:
    stranger = PersonFactory.create()
    with broken("audit_person"):
        AuditLine.objects.create(shop=owner.shop, person=stranger, subject="x", what="x")
    with broken("audit_terminal"):
        AuditLine.objects.create(shop=stranger.shop, person=stranger, terminal=at.terminal, subject="x", what="x")


def test_not_even_the_owner_of_the_tables_rewrites_it(fresh_db: Urls) -> None:
    terminal_enrol(person=PersonFactory.create(), code="bench-2")
    with psycopg.connect(fresh_db.owner, autocommit=True) as opened:
        for statement in REWRITES:
            with pytest.raises(psycopg.errors.RestrictViolation, match="the audit only grows"):
                opened.execute(statement)  # type: ignore[call-overload]
    assert AuditLine.objects.get().what == "terminal enrolled"
