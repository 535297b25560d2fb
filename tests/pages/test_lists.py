"""Lists ask the database as often for many rows as for few."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.factories import BinFactory, FitFactory, KindFactory, shelve
from tests.pages.conftest import Bench
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db


def more(bench: Bench, counter: Counter, row: int) -> None:
    """One row more of everything that is listed."""
    fit = FitFactory.create(shop=bench.owner.shop, code=f"MORE-{row}")
    BinFactory.create(fit=fit, code=f"M-{row}")
    shelve(bench.owner, KindFactory.create(fit=fit, code=f"MORE-{row}"), "0.0771 in", "0.0990 in")
    shelve(bench.owner, bench.kind, "0.0769 in")
    counter.open("/close-a-pack/PACK/")
    counter.send("/close-a-pack/PACK/", {"reading": "74 74", "job": f"J-{row}", "go": "ask"})


PATHS = ["/", "/matches/", "/bins/", "/bins/B-14/", "/kinds/", "/fits/", "/specs/", "/scan-in/"]


@pytest.mark.parametrize("path", PATHS)
def test_twice_the_rows_cost_no_more_queries(bench: Bench, counter: Counter, path: str) -> None:
    more(bench, counter, 1)
    with CaptureQueriesContext(connection) as few:
        counter.open(path)
    for row in range(2, 5):
        more(bench, counter, row)
    with CaptureQueriesContext(connection) as many:
        counter.open(path)
    assert len(many) == len(few)
    assert len(many) <= 9
