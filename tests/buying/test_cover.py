"""Buying for cover over HTTP: last year's packs over today's shelf, and what would close the most more."""

import csv
import io
import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from plates.bench.models import Match
from plates.buying.cover import CoverPlan, cover_plan
from plates.catalogue.models import Kind, PriceBreak
from shop.people.models import Person
from tests.api import Api
from tests.factories import KindFactory, shelve
from tests.pages.counter import Counter
from tests.shelves import Shelf, question, shelf_of

STEP = 25_400


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    """Six frictions, so the window is 48 to 72 thou; six steels of 77 in every pack; 87 and 97 in the catalogue."""
    shelf = shelf_of(owner, 6)
    for size, cost in ((87, "4.00"), (97, "6.00")):
        KindFactory.create(fit=shelf.steels, nominal_nm=size * STEP, unit_cost=Decimal(cost), code=f"S{size}")
    Kind.objects.filter(pk=shelf.kind.pk).update(unit_cost=Decimal("3.00"))
    return shelf


@pytest.fixture
def desk(shelf: Shelf) -> Counter:
    return Counter(shelf.person)


def ask(api: Api, reads: int, job: str, weeks_ago: float = 0) -> None:
    made = api.post("matches/", {**question(f"0.{reads:03} in", ["0.0770 in"] * 6), "job": job})
    assert made.status == 201, made.body
    # The day by the shop's wall and the week both follow when it was asked.
    Match.objects.filter(pk=made.body["id"]).update(asked_at=timezone.now() - timedelta(weeks=weeks_ago))


def plan(shelf: Shelf, **figures: object) -> CoverPlan:
    return cover_plan(shop=shelf.kind.shop, assume=False, **figures)  # type: ignore[arg-type]


@pytest.mark.django_db
def test_packs_of_one_period_share_the_shelf(api: Api, shelf: Shelf) -> None:
    ask(api, 80, "1")  # one 97 makes it 60
    ask(api, 80, "2")
    ask(api, 60, "3")  # fine as it is: no part of this
    shelf.stock("0.0970 in")
    found = plan(shelf, target=0.5)
    assert (found.packs, found.alone, found.closed, found.buys) == (2, 2, 1, [])
    Match.objects.filter(job__code="2").update(asked_at=timezone.now() - timedelta(weeks=4))
    assert plan(shelf, target=0.5).closed == 2


@pytest.mark.django_db
def test_what_closes_most_for_its_money_comes_first(api: Api, shelf: Shelf) -> None:
    """One that reads 80 closes at 60 with a 97 and at 70 with an 87; one that reads 88 at 68 with a 97, or at 68 with
    two of 87, which cost more. Neither size was used, so both would lie there as long.
    """
    ask(api, 80, "1")
    ask(api, 88, "2", weeks_ago=4)
    found = plan(shelf, target=1.0)
    # An 87 closes one for 4, a 97 two for 6.
    assert [(buy.kind.code, buy.count, buy.closes, buy.closed, buy.cost) for buy in found.buys] == [
        ("S97", 1, 2, 2, Decimal(6))
    ]
    assert (found.closed, found.closed_then, found.cost) == (0, 2, Decimal(6))
    found = plan(shelf, target=1.0, budget=Decimal(5))
    assert [(buy.kind.code, buy.count) for buy in found.buys] == [("S87", 1)]
    assert found.closed_then == 1


@pytest.mark.django_db
def test_a_pack_asked_again_is_one_and_the_first_question_counts(api: Api, shelf: Shelf) -> None:
    ask(api, 80, "1")
    ask(api, 300, "1")  # nothing closes this one
    assert plan(shelf, target=1.0).closed_then == 1
    assert plan(shelf, target=1.0).packs == 1


@pytest.mark.django_db
def test_what_is_on_order_counts_and_a_year_ago_does_not(api: Api, shelf: Shelf) -> None:
    ask(api, 80, "1")
    ask(api, 80, "2", weeks_ago=53)
    order = api.post("orders/", {"supplier": "A", "lines": [{"kind": "S97", "quantity": 1}]}).body
    assert plan(shelf).closed == 0
    api.post(f"orders/{order['id']}/send/", {})
    assert (plan(shelf).packs, plan(shelf).closed) == (1, 1)


@pytest.mark.django_db
def test_plates_that_could_go(api: Api, shelf: Shelf) -> None:
    ask(api, 80, "1")
    shelf.stock("0.0970 in", "0.0770 in", "0.0770 in")
    found = plan(shelf)
    assert [(one.kind, one.count, one.of, one.worth) for one in found.idle] == [
        (shelf.kind.code, 2, 3, Decimal("6.0000"))
    ]


@pytest.mark.django_db
def test_of_a_shop_without_a_past_packs_are_assumed(shelf: Shelf) -> None:
    """Four packs of the spec at book sizes. A window of 24 around 60: they read 0.4 of it less than the middle, and
    0.2, 0.8 and 1.4 more; the first two need nothing.
    """
    found = cover_plan(shop=shelf.kind.shop, target=1.0)
    assert (found.packs, found.assumed, found.closed) == (2, 2, 0)
    assert found.closed_then == 2
    slot = shelf.spec.slots.get(role="steel")
    type(slot).objects.filter(pk=slot.pk).update(nominal_nm=None)  # nobody knows what lies in it
    assert cover_plan(shop=shelf.kind.shop).packs == 0


@pytest.mark.django_db
def test_over_http(api: Api, shelf: Shelf) -> None:
    ask(api, 80, "1")
    shelf.stock("0.0770 in")
    found = api.get("buying-cover/", weeks="3", target="1", assume="false").body
    assert (found["packs"], found["closed"], found["closed_then"], found["cost"]) == (1, 0, 1, "4.0000")
    assert found["buys"] == [{"kind": "S87", "quantity": 1, "cost": "4.0000", "closes": 1, "closed": 1}]
    assert found["idle"][0]["count"] == 1
    assert found["by_sizes"]["plates"] >= 1
    refused = api.get("buying-cover/", weeks="x")
    assert refused.status == 400 and refused.body["errors"][0]["pointer"] == "/weeks"


@pytest.mark.django_db
@pytest.mark.parametrize(
    "query",
    [{"weeks": "nan"}, {"target": "nan"}, {"target": "1e-1"}, {"budget": "١٢"}, {"week": "3"}, {"budget": "-1"}],
)
def test_an_address_that_asks_for_nothing_that_can_be_worked_out(api: Api, shelf: Shelf, query: dict[str, str]) -> None:
    refused = api.get("buying-cover/", **query)
    assert refused.status == 400 and refused.body["errors"][0]["pointer"] == f"/{next(iter(query))}"


@pytest.mark.django_db
def test_a_blank_figure_is_not_said(api: Api, shelf: Shelf) -> None:
    ask(api, 80, "1")
    assert api.get("buying-cover/", weeks="", target=" ", budget="", assume="false").body["closed_then"] == 1


@pytest.mark.django_db
def test_the_share_is_not_reached_by_a_rounded_pack(api: Api, shelf: Shelf) -> None:
    """7 % of 100 packs are 7; in binary fractions they are a little more."""
    assert 0.07 * 100 > 7
    for number in range(100):
        ask(api, 80, str(number), weeks_ago=number / 2)
    assert plan(shelf, target=0.07, weeks=0.5).closed_then >= 7
    shelf.stock("0.0970 in")
    assert plan(shelf, target=0.07, weeks=7.43).buys == []  # seven periods, one pack in each closes


@pytest.mark.django_db
def test_prices_that_fall_with_the_count(api: Api, shelf: Shelf, desk: Counter) -> None:
    """One pack wants two of 97, one wants one: one costs 6, of two or more each costs 5."""
    kind = Kind.objects.get(code="S97")
    PriceBreak.objects.create(shop=kind.shop, kind=kind, from_count=2, unit_cost=Decimal("5.00"))
    Kind.objects.filter(code="S87").delete()
    ask(api, 100, "1")
    ask(api, 80, "2")
    found = plan(shelf, target=1.0)
    bought = sum(buy.count for buy in found.buys)
    assert found.order == {kind: bought} and bought == 3
    assert found.cost == 5 * bought
    page = desk.open("/buying/cover/", weeks="3", target="100")
    order = api.post("orders/", {"supplier": "A", "lines": [{"kind": "S97", "quantity": bought}]}).body
    assert Decimal(order["lines"][0]["unit_cost"]) * bought == found.cost
    assert found.less == 1 and "they cost 1.00 less, 15.00 together" in page


@pytest.mark.django_db
def test_what_could_go_is_cut_on_the_page_and_whole_in_the_file(
    api: Api, shelf: Shelf, desk: Counter
) -> None:
    ask(api, 80, "1")
    for number in range(22):
        kind = KindFactory.create(fit=shelf.steels, code=f"OLD-{number:02}", unit_cost=Decimal(number) or None)
        shelve(shelf.person, kind, "0.0775 in")
    page = desk.open("/buying/cover/", weeks="3", target="95")
    assert len(re.findall(r"OLD-\d\d\s*no bin", page)) == 20 and "OLD-01" not in page
    assert "And 2 more lines: 2 plates, worth 1.00, without 1 of them that has no known cost." in page
    answer = desk.client.get("/buying/cover/could-go.csv?weeks=3&target=95")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [row["kind"] for row in rows] == [one.kind for one in plan(shelf).idle]
    assert len(rows) == 22 and rows[0] == {"kind": "OLD-21", "bin": "", "count": "1", "of": "1", "worth": "21.0000"}
    assert desk.client.get("/buying/cover/could-go.csv?weeks=x").status_code == 400


@pytest.mark.django_db
def test_as_many_queries_for_many_packs_as_for_few(api: Api, shelf: Shelf) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            plan(shelf)
        return len(caught)

    ask(api, 80, "1")
    few = queries()
    for number in range(2, 9):
        ask(api, 78 + number, str(number), weeks_ago=number)
        shelf.stock("0.0870 in")
    assert queries() == few < 20
    assert plan(shelf).packs == 8


@pytest.mark.django_db
def test_no_fewer_are_bought_than_an_order_takes(api: Api, shelf: Shelf) -> None:
    ask(api, 80, "1")
    rule = {"fit": shelf.steels.code, "role": "steel", "least": 4}
    assert api.post("buy-rules/", rule).status == 201
    assert [buy.count for buy in plan(shelf, target=1.0).buys] == [4]
