"""The ledger cannot be bent: the database itself refuses a double take, a gap, a wrong balance, and any rewriting."""

from collections.abc import Iterator
from typing import Any

import psycopg
import pytest
from django.db import connection, transaction

from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from shop.people.models import Person
from tests.conftest import Urls
from tests.factories import PersonFactory
from tests.refused import broken, refused_by
from tests.shelves import shelf_of


@pytest.fixture
def plate(owner: Person) -> Plate:
    return shelf_of(owner).stock("0.0771 in")[0]


def line(plate: Plate, seq: int, delta: int, balance: int, state: str, **more: Any) -> LedgerLine:
    """A line as anybody could try to write it, past the service."""
    return LedgerLine.objects.create(
        shop_id=plate.shop_id, plate=plate, seq=seq, delta=delta, balance=balance, act="taken", state=state,
        thickness_nm=plate.thickness_nm, spread_nm=0, u_nm=0, person=Person.objects.get(shop_id=plate.shop_id), **more,
    )  # fmt: skip


@pytest.mark.django_db
def test_the_honest_next_line_is_taken(plate: Plate) -> None:
    line(plate, 2, -1, 0, "taken")
    line(plate, 3, 1, 1, "on_shelf")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("seq", "delta", "balance", "state", "constraint"),
    [
        (3, -1, 0, "taken", "ledger_chain"),  # a gap
        (2, 0, 0, "taken", "ledger_chain"),  # gone without a line that says so
        (2, 1, 1, "on_shelf", "ledger_chain"),  # came twice
        (2, -1, -1, "taken", "ledger_balance"),
        (2, 1, 2, "on_shelf", "ledger_balance"),
        (2, 2, 1, "on_shelf", "ledger_before"),
        (2, -1, 1, "on_shelf", "ledger_before"),
        (2, 1, 0, "taken", "ledger_before"),
        (2, -1, 0, "on_shelf", "ledger_state"),  # lies there and is gone
        (2, 0, 1, "taken", "ledger_state"),
        (1, 0, 1, "on_shelf", "ledger_first"),
    ],
)
def test_a_line_that_does_not_follow_is_refused(
    plate: Plate, seq: int, delta: int, balance: int, state: str, constraint: str
) -> None:
    with broken(constraint):
        line(plate, seq, delta, balance, state)
        connection.check_constraints()


@pytest.mark.django_db
def test_a_double_take_is_refused(plate: Plate) -> None:
    line(plate, 2, -1, 0, "taken")
    with refused_by("ledger_seq"):
        line(plate, 2, -1, 0, "taken")
    with broken("ledger_chain"):
        line(plate, 3, -1, 0, "taken")


@pytest.mark.django_db
def test_a_line_names_things_of_its_own_shop(plate: Plate) -> None:
    other = PersonFactory.create()
    with broken("ledger_person"):
        LedgerLine.objects.create(
            shop_id=plate.shop_id, plate=plate, seq=2, delta=-1, balance=0, act="taken", state="taken",
            thickness_nm=1, spread_nm=0, u_nm=0, person=other,
        )  # fmt: skip


REWRITES = [
    "UPDATE plates_ledgerline SET reason = 'never mind'",
    "DELETE FROM plates_ledgerline",
    "TRUNCATE plates_ledgerline CASCADE",
]


@pytest.mark.django_db
@pytest.mark.parametrize("statement", REWRITES)
def test_the_applications_role_may_not_rewrite_it(plate: Plate, statement: str) -> None:
    with pytest.raises(Exception, match="permission denied") as caught, transaction.atomic():
        connection.cursor().execute(statement)
    assert isinstance(caught.value.__cause__, psycopg.errors.InsufficientPrivilege)
    assert LedgerLine.objects.filter(plate=plate, reason="").count() == 1


@pytest.fixture
def owners(fresh_db: Urls) -> Iterator[psycopg.Connection]:
    """The owner of the tables, in a database with one ledger line."""
    shelf_of(PersonFactory.create()).stock("0.0771 in")
    with psycopg.connect(fresh_db.owner, autocommit=True) as opened:
        yield opened


def test_not_even_the_owner_rewrites_it(owners: psycopg.Connection) -> None:
    before = owners.execute("SELECT * FROM plates_ledgerline").fetchall()
    for statement in REWRITES:
        with pytest.raises(psycopg.errors.RestrictViolation, match="the ledger only grows"):
            owners.execute(statement)  # type: ignore[call-overload]
    assert owners.execute("SELECT * FROM plates_ledgerline").fetchall() == before
