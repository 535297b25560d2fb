"""Lists: filters, order, pages, and the number of queries, which more rows must not raise."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.stock.ledger_models import LedgerLine
from tests.api import Api
from tests.http.conftest import Bodies
from tests.shelves import Shelf, question

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ({}, ["0.0755", "0.0771", "0.0772", "0.0781"]),
        ({"bin": "B-14"}, ["0.0771", "0.0772"]),
        ({"thickness_min": "0.0771 in"}, ["0.0771", "0.0772", "0.0781"]),
        ({"thickness_max": "0.0771 in"}, ["0.0755", "0.0771"]),
        ({"thickness_min": "1.958341 mm", "thickness_max": "0.0780 in"}, ["0.0772"]),
        ({"condition": "used"}, ["0.0755"]),
        ({"role": "friction"}, []),
        ({"state": "taken"}, []),
        ({"fit": "NOT-THERE"}, []),
        ({"ordering": "-thickness"}, ["0.0781", "0.0772", "0.0771", "0.0755"]),
    ],
)
def test_plates_by_filter_and_in_order(
    api: Api, shelf: Shelf, query: dict[str, str], expected: list[str]
) -> None:
    shelf.stock("0.0772 in", "0.0771 in", "0.0781 in")
    shelf.stock("0.0755 in", condition="used")
    page = api.get("plates/", **{"ordering": "thickness", **query}).body
    assert [plate["thickness"]["in"] for plate in page["results"]] == expected
    assert page["count"] == len(expected)


def test_plates_by_kind_and_fit(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in")
    assert api.get("plates/", kind=shelf.kind.code, fit=shelf.steels.code, state="on_shelf").body["count"] == 1
    assert api.get("kinds/", fit=shelf.steels.code, role="steel").body["count"] == 1
    assert api.get("kinds/", fit=shelf.frictions.code).body["count"] == 0


def test_the_ledger_by_filter_oldest_first(api: Api, shelf: Shelf, ids: dict[str, str]) -> None:
    lines = api.get("ledger/").body["results"]
    assert [line["at"] for line in lines] == sorted(line["at"] for line in lines)
    assert len(lines) == LedgerLine.objects.count()
    assert {line["plate"] for line in api.get("ledger/", plate=ids["gone"]).body["results"]} == {ids["gone"]}
    for query in ({"match": ids["taken"]}, {"job": "J-1"}):
        assert [line["act"] for line in api.get("ledger/", **query).body["results"]] == ["taken"]
    assert api.get("ledger/", kind=shelf.kind.code, person=api.person.username).body["count"] == len(lines)
    assert api.get("ledger/", person="somebody-else").body["count"] == 0
    assert api.get("ledger/", since="2999-01-01T00:00:00Z").body["count"] == 0
    assert api.get("ledger/", since="2000-01-01T00:00:00+00:00").body["count"] == len(lines)


def test_pages(api: Api, shelf: Shelf) -> None:
    shelf.stock(*["0.0771 in"] * 5)
    first = api.get("plates/", page_size="2").body
    assert (first["count"], len(first["results"]), first["previous"]) == (5, 2, None)
    third = api.get("plates/", page_size="2", page="3").body
    assert (len(third["results"]), third["next"]) == (1, None)
    assert "page=2" in first["next"] and "page=2" in third["previous"]
    seen = [plate["id"] for n in "123" for plate in api.get("plates/", page_size="2", page=n).body["results"]]
    assert len(set(seen)) == 5


def test_a_page_holds_100_unless_asked_and_at_most_1000(api: Api, shelf: Shelf) -> None:
    api.post("lots/", {"kind": shelf.kind.code, "count": 1001, "readings": [["0.0771 in"]] * 5})
    assert len(api.get("plates/").body["results"]) == 100
    assert len(api.get("plates/", page_size="1000").body["results"]) == 1000
    assert len(api.get("plates/", page_size="1001").body["results"]) == 1000


@pytest.mark.parametrize(
    ("path", "query"),
    [
        ("plates/", {"thickness_min": "0.0771"}),
        ("plates/", {"thickness_max": "thin"}),
        ("plates/", {"state": "lost"}),
        ("plates/", {"role": "plate"}),
        ("plates/", {"condition": "old"}),
        ("plates/", {"ordering": "weight"}),
        ("plates/", {"colour": "red"}),
        ("plates/", {"kind": "a\x00b"}),
        ("plates/", {"page_size": "many"}),
        ("plates/", {"page_size": "0"}),
        ("plates/", {"page_size": "-1"}),
        ("ledger/", {"plate": "x"}),
        ("ledger/", {"since": "yesterday"}),
        ("matches/", {"state": "lost"}),
        ("fits/", {"tooth_side": "left"}),
        ("fits/", {"teeth": "many"}),
        ("specs/", {"measures": "width"}),
        ("bins/", {"role": "plate"}),
        ("lots/", {"kind": "X"}),
        ("missed/", {"since": "yesterday"}),
        ("missed/", {"kind": "X"}),
    ],
)
def test_a_filter_that_cannot_be_read_is_refused(api: Api, path: str, query: dict[str, str]) -> None:
    reply = api.get(path, **query)
    assert reply.status == 400, reply
    assert reply.body["errors"][0]["pointer"] == f"/{next(iter(query))}"


@pytest.mark.parametrize("page", ["0", "x", "99", "-1"])
def test_a_page_that_is_not_there(api: Api, page: str) -> None:
    assert api.get("plates/", page=page).status == 404


#: Queries of each list: the token, the count, the rows, and one for each sort of thing fetched beside them.
QUERIES = {
    "fits/": 3, "kinds/": 5, "specs/": 6, "bins/": 3, "plates/": 3, "lots/": 4, "hand-outs/": 4, "ledger/": 3,
    "matches/": 3, "counts/": 3,
}  # fmt: skip


def _more(api: Api, bodies: Bodies, round_: int) -> None:
    """One more of everything."""
    for path, body in bodies.items():
        body = dict(body)
        if "code" in body:
            body["code"] = f"R{round_}"
        if path == "kinds/":
            body["scan_codes"] = [f"a{round_}", f"b{round_}"]
        if path == "bins/":
            body |= {"from": f"0.09{round_} in", "to": f"0.09{round_}5 in"}
        if path == "hand-outs/":
            body = {"bin": "B-14", "count": 1, "reason": "cash"}
        if path == "matches/":
            body = question("0.0640 in", ["0.0670 in"] * 5, job=f"J-{round_}", take=True)
        assert api.post(path, body).status == 201, path


@pytest.mark.parametrize("path", sorted(QUERIES))
def test_twice_the_rows_take_no_more_queries(api: Api, shelf: Shelf, bodies: Bodies, path: str) -> None:
    counts = []
    for rounds in (range(2), range(2, 4)):
        for round_ in rounds:
            _more(api, bodies, round_)
        with CaptureQueriesContext(connection) as captured:
            page = api.get(path).body
        counts.append((len(captured), page["count"]))
    (first, rows), (second, twice) = counts
    assert twice >= 2 * rows - 2 and rows >= 2
    assert (first, second) == (QUERIES[path], QUERIES[path])
