"""Buying at the desk: from the list to an order, sent and cancelled."""

import pytest

from plates.buying.models import Order
from plates.buying.orders import Wanted, order_make
from plates.catalogue.models import Kind
from shop.people.models import Person
from shop.web import key_new
from tests.api import Api
from tests.factories import KindFactory, PersonFactory
from tests.pages.counter import Counter
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf(owner: Person, api: Api) -> Shelf:
    """One job waits for two of .087; packs of five, of no supplier yet. Of .077 there is enough."""
    shelf = shelf_of(owner, 6)
    shelf.stock("0.0770 in", "0.0770 in")
    KindFactory.create(fit=shelf.steels, code="S-087", nominal_nm=2_209_800, pack_size=5, unit_cost="2.50")
    asked = api.post("matches/", {**question("0.089 in", ["0.0770 in"] * 6), "job": "1182"}).body
    assert asked["options"] == []
    return shelf


@pytest.fixture
def desk(shelf: Shelf) -> Counter:
    return Counter(PersonFactory.create(shop=shelf.person.shop, role="buyer"))


def test_from_the_list_to_an_order(desk: Counter, shelf: Shelf) -> None:
    for said in ("S-087", "0 on the shelf, 2 waited for", "in packs of 5"):
        assert said in desk.open("/buying/")
    desk.send("/buying/order/", {"supplier": "North Works", "of-S-087": "10"})
    assert desk.path == "/orders/1/" and "draft, made" in desk.text.lower()
    desk.send("/send/")
    assert "To come" in desk.text and "sent" in desk.text
    assert "S-087" not in desk.open("/buying/"), "what is on order is not bought again"
    assert "10 of S-087" in desk.open("/orders/")
    rows = desk.client.get("/orders/1.csv").content.decode().splitlines()
    assert rows[1:] == ["1,S-087,steel,2.210,0.0870,10,2.5000"]
    desk.open("/orders/1/")
    desk.send("/cancel/")
    assert "cancelled" in desk.text.lower() and "S-087" in desk.open("/buying/")


def test_a_form_sent_twice_drafts_once(desk: Counter) -> None:
    desk.open("/buying/")
    form = desk.form("/buying/order/")
    fields = {**form["fields"], "supplier": "North Works"}
    for _ in range(2):
        desk.post(form["action"], fields)
        assert desk.path == "/orders/1/"
    assert Order.objects.count() == 1


def test_a_form_changed_after_it_was_sent_says_so_in_plain_words(desk: Counter) -> None:
    """The first press was on its way; one figure was changed, and pressed again."""
    desk.open("/buying/")
    form = desk.form("/buying/order/")
    fields = {**form["fields"], "supplier": "North Works"}
    desk.post(form["action"], fields)
    desk.post(form["action"], {**fields, "of-S-087": "15"})
    assert "This form was sent before" in desk.text and "Idempotency" not in desk.text and desk.status == 422
    assert "Nothing was changed" not in desk.text and Order.objects.count() == 1


def test_a_refused_press_leads_back_to_the_order(desk: Counter) -> None:
    """It was cancelled at another desk meanwhile."""
    desk.open("/buying/")
    desk.send("/buying/order/", {"supplier": "North Works"})
    stale = desk.form("/send/")
    desk.send("/cancel/")
    answer = desk.client.post(stale["action"], stale["fields"], headers={"referer": "http://testserver/orders/1/"})
    assert answer.status_code == 409 and 'href="/orders/1/">Go on' in answer.content.decode()


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"supplier": " "}, "Name the supplier"),
        ({"supplier": "North Works", "of-S-087": "ten"}, "give a whole number"),
        ({"supplier": "North Works", "of-S-087": "0"}, "one line at least"),
        ({"supplier": "North Works", "of-NONE": "1"}, "cannot be ordered"),
        ({"supplier": "North Works", "of-S-087": "9" * 5000}, "give a whole number"),
        ({"supplier": "North Works", "of-S-087": "٣"}, "give a whole number"),
        ({"supplier": "North Works", "of-\0": "1"}, "holds a NUL character"),
    ],
)
def test_what_cannot_be_ordered_is_said(desk: Counter, typed: dict[str, str], said: str) -> None:
    desk.open("/buying/")
    desk.send("/buying/order/", typed)
    assert said in desk.text and not Order.objects.exists()


def test_no_code_is_a_formula_in_the_file(desk: Counter, shelf: Shelf) -> None:
    KindFactory.create(fit=shelf.steels, code="-2-1")
    desk.open("/buying/")
    desk.post("/buying/order/", {"key": "k" * 20, "supplier": "North Works", "of--2-1": "3"})
    assert desk.client.get("/orders/1.csv").content.decode().splitlines()[1].startswith("1,'-2-1,steel,")


def test_the_bench_reads_and_does_not_order(shelf: Shelf) -> None:
    bench = Counter(PersonFactory.create(shop=shelf.person.shop, role="bench"))
    assert "buying is for buyer or owner" in bench.open("/buying/")
    assert "Draft an order" not in bench.text


def test_a_spreadsheet_runs_no_code_out_of_the_file_of_an_order(desk: Counter, owner: Person, shelf: Shelf) -> None:
    kind = KindFactory.create(fit=shelf.steels, code="-1")
    order_make(person=owner, supplier="North Works", lines=[Wanted(kind, 3)])
    rows = desk.client.get("/orders/1.csv").content.decode("utf-8-sig").splitlines()
    assert rows == ["order,kind,role,nominal_mm,nominal_in,quantity,unit_cost", "1,'-1,steel,1.956,0.0770,3,"]


def test_from_a_cover_plan_to_an_order(desk: Counter) -> None:
    assert "Work it out" in desk.open("/buying/cover/") and "What to buy, the most" not in desk.text
    page = desk.open("/buying/cover/?weeks=3&target=100")
    for said in ("Of 1 pack that needed plates", "closes 0 (0.0%)", "With what is below, 1 (all)"):
        assert said in page
    desk.send("/buying/order/", {"supplier": "North Works"})
    assert desk.path == "/orders/1/"
    assert [(line.kind.code, line.quantity) for line in Order.objects.get().lines.all()] == [("S-087", 5)]


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("weeks=0&target=95", "greater than or equal to 1"),
        ("weeks=3&target=101", "less than or equal to 100"),
        ("weeks=3&target=95&budget=1e9", "like 250.00"),
        ("weeks=3&target=95&budget=\u0661\u0662", "like 250.00"),
        ("weeks=&target=", "Fill this in"),
    ],
)
def test_a_cover_plan_says_what_it_cannot_read(desk: Counter, said: str, why: str) -> None:
    assert why in desk.open(f"/buying/cover/?{said}")


def test_a_list_of_more_sizes_than_a_plain_form_holds(desk: Counter, shelf: Shelf) -> None:
    KindFactory.create_batch(1_200, fit=shelf.steels)
    many = {f"of-{kind.code}": "" for kind in Kind.objects.all()}
    desk.client.post("/buying/order/", {**many, "key": key_new(), "supplier": "North Works", "of-S-087": "5"})
    assert Order.objects.count() == 1
