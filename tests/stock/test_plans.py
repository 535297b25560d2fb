"""Many rows at once: the plans by which their links are checked are made anew between the rows and the links."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.people.models import Person
from shop.rows import MANY_ROWS, plans_renew
from tests.api import Api
from tests.factories import BinFactory
from tests.shelves import shelf_of

pytestmark = pytest.mark.django_db
RENEWED = "DISCARD PLANS"


@pytest.mark.parametrize(("rows", "asked"), [(0, []), (MANY_ROWS - 1, []), (MANY_ROWS, [RENEWED])])
def test_they_are_renewed_from_many_rows_on(rows: int, asked: list[str]) -> None:
    with CaptureQueriesContext(connection) as told:
        plans_renew(rows)
    assert [one["sql"] for one in told.captured_queries] == asked


@pytest.mark.parametrize(("count", "renewed"), [(MANY_ROWS - 1, 0), (MANY_ROWS, 1)])
def test_a_large_lot_renews_them_between_its_plates_and_their_lines(
    api: Api, owner: Person, count: int, renewed: int
) -> None:
    shelf = shelf_of(owner)
    BinFactory.create(fit=shelf.steels, code="B-14")
    with CaptureQueriesContext(connection) as told:
        body = {"kind": shelf.kind.code, "count": count, "readings": [["0.0770 in"]] * 5}
        assert api.post("lots/", body).status == 201
    asked = [one["sql"] for one in told.captured_queries]
    assert asked.count(RENEWED) == renewed
    if renewed:
        plates, lines = (
            [at for at, sql in enumerate(asked) if f'INSERT INTO "{table}"' in sql or f"INSERT INTO {table}" in sql]
            for table in ("plates_plate", "plates_ledgerline")
        )
        assert max(plates) < asked.index(RENEWED) < min(lines)
