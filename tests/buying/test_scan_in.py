"""A delivery at the counter: each plate counts on its order, and goes off it again when its scan is undone."""

from typing import Any

import pytest

from plates.buying.models import Order
from plates.catalogue.models import Kind
from plates.scan_codes import scan_format
from plates.stock.models import Plate
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db
PAGE = "/scan-in/kind/S-077/"


@pytest.fixture
def kind(owner: Person) -> Kind:
    fit = FitFactory.create(shop=owner.shop)
    BinFactory.create(fit=fit, code="B-77")
    for code, inch in (("S-087", 0.087), ("S-097", 0.097)):
        KindFactory.create(fit=fit, code=code, nominal_nm=int(inch * 25_400_000))
    return KindFactory.create(fit=fit, code="S-077")


@pytest.fixture
def order(api: Api, kind: Kind) -> Order:
    """Three of .077 and one of .087, sent."""
    lines = [{"kind": "S-077", "quantity": 3}, {"kind": "S-087", "quantity": 1}]
    made = api.post("orders/", {"supplier": "North Works", "lines": lines}).body
    api.post(f"orders/{made['id']}/send/", {})
    return Order.objects.get()


@pytest.fixture
def counter(owner: Person, order: Order) -> Counter:
    window = Counter(owner)
    window.open(PAGE, order="1")
    return window


def came(order: Order) -> tuple[str, list[int]]:
    order.refresh_from_db()
    return order.state, [line.received for line in order.lines.all()]


def scan(window: Counter, *readings: str) -> None:
    for reading in readings:
        window.send(PAGE, {"reading": reading})


def test_the_way_from_the_order_to_its_plates(owner: Person, order: Order) -> None:
    window = Counter(owner)
    assert "Scan in what came" in window.open("/orders/1/")
    assert "Order 1 North Works, sent" in window.open("/scan-in/")
    for typed in ("order 1", scan_format("order", "1")):
        assert "S-077: 0 of 3 came S-087: 0 of 1 came" in window.open("/scan-in/", code=typed)
    window.open("/scan-in/", order="1", code="S-077")
    assert window.path.startswith(PAGE) and "Against order 1 of North Works" in window.text
    assert "Scan in what came" not in Counter(PersonFactory.create(shop=owner.shop, role="buyer")).open("/orders/1/")


def test_each_press_counts_on_the_order_and_its_undo_takes_it_off(counter: Counter, order: Order) -> None:
    scan(counter, ".0771", ".0770")
    assert "S-077: 2 of 3 came" in counter.text and came(order) == ("part", [2, 0])
    plate = Plate.objects.latest("id")
    assert plate.order_line is not None and plate.bin is not None
    counter.send("/scan-in/undo/")
    assert "S-077: 1 of 3 came" in counter.text and came(order) == ("part", [1, 0])
    counter.open(counter.path.split("&undone")[0])
    counter.send("/scan-in/undo/")
    assert came(order) == ("sent", [0, 0])


def test_from_kind_to_kind_the_order_stays_until_it_is_through_and_undo_opens_it_again(
    counter: Counter, order: Order
) -> None:
    scan(counter, ".0771", ".0770", ".0770", scan_format("kind", "S-087"))
    assert counter.path.startswith("/scan-in/kind/S-087/") and "S-087: 0 of 1 came" in counter.text
    counter.send("S-087/", {"reading": ".0871"})
    assert came(order) == ("received", [3, 1]) and order.ended_at
    counter.send("/scan-in/undo/")
    assert came(order) == ("part", [3, 0]) and not order.ended_at


def test_its_label_chooses_it_and_ends_it(owner: Person, order: Order) -> None:
    window = Counter(owner)
    window.open(PAGE)
    scan(window, ".0770", scan_format("order", "1"))
    assert "Against order 1" in window.text
    scan(window, scan_format("order", "1"))
    assert "Against order 1" not in window.text and came(order) == ("sent", [0, 0])


def test_the_undo_counts_even_where_the_order_was_left_since(counter: Counter, order: Order) -> None:
    scan(counter, ".0771", scan_format("order", "1"))
    assert "Against order" not in counter.text
    counter.send("/scan-in/undo/")
    assert came(order) == ("sent", [0, 0])


def test_one_too_many_is_asked_about(counter: Counter, order: Order) -> None:
    scan(counter, *[".0770"] * 4)
    assert "0 of S-077 are still due on order 1, and 1 came" in counter.text and came(order) == ("part", [3, 0])
    counter.send(PAGE, nth=0)
    assert "S-077: 4 of 3 came" in counter.text and came(order) == ("part", [4, 0])
    scan(counter, ".0770")
    counter.send(PAGE, nth=1)
    assert came(order) == ("part", [4, 0]) and Plate.objects.filter(order_line=None).count() == 1
    assert "Against order" not in counter.text


def test_implausible_and_one_too_many_are_each_confirmed(counter: Counter, order: Order) -> None:
    scan(counter, *[".0770"] * 3, ".0500")
    counter.send(PAGE, nth=0)
    assert "Not booked" in counter.text and "is not within" in counter.text
    counter.send(PAGE, nth=len([one for one in counter.html.split("<form")[1:] if PAGE in one.split(">")[0]]) - 2)
    assert came(order) == ("part", [4, 0])


def test_a_kind_that_was_not_ordered(counter: Counter, order: Order) -> None:
    scan(counter, scan_format("kind", "S-097"))
    assert "S-097 is not on order 1" in counter.text
    counter.send("S-097/", {"reading": ".0970"})
    assert "Not booked" in counter.text and not Plate.objects.exists()
    counter.send("S-097/", nth=0)
    assert Plate.objects.get().order_line is None and came(order) == ("sent", [0, 0])


def test_cancelled_meanwhile_or_none_at_all(counter: Counter, api: Api, order: Order) -> None:
    api.post(f"orders/{order.pk}/cancel/", {})
    scan(counter, ".0770")
    assert "Order 1 is cancelled" in counter.text and not Plate.objects.exists()
    counter.send(PAGE, nth=0)
    assert Plate.objects.count() == 1
    assert "there is no order 77" in counter.open(PAGE, order="77")
    scan(counter, ".0770")
    assert "There is no order 77" in counter.text and Plate.objects.count() == 1


def test_sent_twice_it_counts_once(counter: Counter, order: Order) -> None:
    form = counter.form(PAGE)
    for _ in range(2):
        counter.post(form["action"], {**form["fields"], "reading": ".0771"})
    assert came(order) == ("part", [1, 0]) and Plate.objects.count() == 1


def test_a_kept_scan_carries_its_order(counter: Counter, order: Order) -> None:
    def sent(reading: str) -> Any:
        counter.open(PAGE, order="1")
        fields = {name: values[-1] for name, values in counter.form(PAGE)["fields"].items()}
        fields |= {"reading": reading}
        fields.pop("csrfmiddlewaretoken", None)
        return counter.client.post(PAGE, fields, headers={"accept": "application/json"})

    assert [sent(".0770").status_code for _ in range(3)] == [200] * 3 and came(order) == ("part", [3, 0])
    told = sent(".0770")
    assert told.status_code == 422 and told.json()["code"] == "over_delivery"
    assert [way["text"] for way in told.json()["ways"]] == ["It came too: count it", "Book it without the order"]


def test_what_is_set_aside_came_and_is_to_be_claimed(counter: Counter, order: Order, kind: Kind) -> None:
    kind.taper_limit_nm = 25_400
    kind.save()
    scan(counter, ".0760 .0780")
    assert came(order) == ("part", [1, 0]) and Plate.objects.get().state == "quarantined"
    assert "To claim on North Works" in counter.open("/orders/1/")


def lot(window: Counter, count: str) -> None:
    window.post(f"{PAGE}lot/", {**window.form(PAGE)["fields"], "act": "begin"})
    window.send("/lot/", {"count": count})
    for _ in range(int(count)):
        window.send("/lot/", {"reading": ".0770"})
    window.send("/lot/", {"reading": ""})


def test_a_lot_counts_whole_and_is_undone_whole(counter: Counter, order: Order) -> None:
    lot(counter, "2")
    assert "S-077: 2 of 3 came" in counter.text and came(order) == ("part", [2, 0])
    assert Plate.objects.filter(order_line__isnull=False).count() == 2
    counter.send("/scan-in/undo/")
    assert came(order) == ("sent", [0, 0])


def test_a_lot_of_more_than_is_due(counter: Counter, order: Order) -> None:
    lot(counter, "4")
    assert "3 of S-077 are still due on order 1, and 4 came" in counter.text and not Plate.objects.exists()
    counter.send("/lot/", nth=1)
    assert came(order) == ("part", [4, 0])


def test_a_lot_without_its_order(counter: Counter, order: Order) -> None:
    lot(counter, "4")
    counter.send("/lot/", nth=2)
    assert came(order) == ("sent", [0, 0]) and Plate.objects.count() == 4
