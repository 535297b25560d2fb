"""Lists ask the database as often for many rows as for few."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.lengths import length_parse
from plates.stock.pages import BINS_ON_A_PAGE
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


PATHS = [
    "/",
    "/matches/",
    "/bins/",
    "/bins/B-14/",
    "/kinds/",
    "/kinds/STEEL-77/",
    "/shelf/DRUM/steel/?from=0.0765 in&to=0.0775 in",
    "/fits/",
    "/specs/",
    "/scan-in/",
]


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
    assert len(many) <= 10


def test_bins_come_page_by_page_each_with_what_lies_in_it(bench: Bench, counter: Counter) -> None:
    for row in range(BINS_ON_A_PAGE):
        low_nm = length_parse("0.1 in") + row
        BinFactory.create(fit=bench.kind.fit, code=f"C-{row:02}", from_nm=low_nm, to_nm=low_nm + 1)
    first = counter.open("/bins/")
    assert "Page 1 of 2" in first and counter.html.count('<th scope="row">') == BINS_ON_A_PAGE
    assert re.search(r"B-14</a></th>.*?<td class=\"n\" data-label=\"In it\">3</td>", counter.html, re.DOTALL)
    counter.open("/bins/?page=2")
    assert re.findall(r'<th scope="row"><a href="([^"]+)"', counter.html) == [f"/bins/C-{BINS_ON_A_PAGE - 1}/"]
