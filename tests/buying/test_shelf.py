"""The shelf beside what is on order: both stand at the size that they are of, and low ones say so."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.buying.rules import rule_set
from plates.stock.hand_outs import hand_out_make
from shop.people.models import Person
from tests.api import Api
from tests.factories import FitFactory, KindFactory
from tests.pages.counter import Counter
from tests.shelves import Shelf, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    shelf = shelf_of(owner, 6)
    shelf.stock("0.0770 in", "0.0770 in")
    return shelf


def ordered(api: Api, kind: str, quantity: int) -> None:
    made = api.post("orders/", {"supplier": "North Works", "lines": [{"kind": kind, "quantity": quantity}]}).body
    api.post(f"orders/{made['id']}/send/", {})


def test_what_is_on_order_stands_on_what_lies_there(owner: Person, api: Api, shelf: Shelf) -> None:
    window = Counter(owner)
    assert "on order," not in window.open("/shelf/") and 'class="on-order"' not in window.html
    ordered(api, shelf.kind.code, 6)
    assert "2 on the shelf, 6 on order" in window.open("/shelf/")
    assert "2 +6" in window.text and 'aria-label="0.077 in: 2 on the shelf, 6 on order"' in window.html
    tall = {
        name: float(found[1])
        for name in ("free", "on-order")
        if (found := re.search(rf'<rect class="{name}"[^>]* height="([\d.]+)"', window.html))
    }
    assert tall["on-order"] == pytest.approx(3 * tall["free"], abs=0.01)


def test_a_size_with_fewer_free_than_it_is_bought_at_is_low(owner: Person, api: Api, shelf: Shelf) -> None:
    plates = shelf.stock(*["0.0770 in"] * 13)
    hand_out_make(person=owner, reason="cash", plate_ids=[plate.pk for plate in plates])
    rule_set(person=owner, fit=shelf.steels, role="steel", method="weeks", safety_weeks=4.0)
    buy_below = api.get("sizes/", fit=shelf.steels.code, role="steel").body["results"][0]["buy_below"]
    assert buy_below > 2
    window = Counter(owner)
    assert "1 size low" in window.open("/shelf/") and window.html.count("▾ low</text>") == 1
    assert f"low, bought below {buy_below}" in window.text
    ordered(api, shelf.kind.code, buy_below)
    assert "1 size low" not in window.open("/shelf/") and "▾ low</text>" not in window.html


def test_the_page_costs_as_many_queries_for_twice_the_fits(owner: Person, api: Api, shelf: Shelf) -> None:
    window, counts = Counter(owner), []
    for count in (2, 4):
        for number in range(count // 2 + 1):
            kind = KindFactory.create(fit=FitFactory.create(shop=owner.shop), code=f"K-{count}-{number}")
            ordered(api, kind.code, 3)
        with CaptureQueriesContext(connection) as asked:
            window.open("/shelf/")
        counts.append(len(asked))
    assert counts[0] == counts[1], counts
