"""The rules at the desk: set, seen, changed, dropped; why so many are bought of a size; what a kind costs."""

import pytest

from plates.buying.models import BuyRule, OrderLine
from plates.catalogue.models import Kind
from shop.people.models import Person
from tests.api import Api
from tests.factories import KindFactory, PersonFactory
from tests.pages.counter import Counter
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf(owner: Person, api: Api) -> Shelf:
    """A job waits for two steels of 0.087 in."""
    shelf = shelf_of(owner, 6)
    KindFactory.create(fit=shelf.steels, code="S-087", nominal_nm=2_209_800, pack_size=5, unit_cost="2.5")
    assert api.post("matches/", {**question("0.089 in", ["0.0770 in"] * 6), "job": "1182"}).body["options"] == []
    return shelf


@pytest.fixture
def desk(shelf: Shelf) -> Counter:
    return Counter(PersonFactory.create(shop=shelf.person.shop, role="buyer"))


def test_from_a_row_of_the_list_to_its_rule_and_back(desk: Counter, shelf: Shelf) -> None:
    address = f"/buying/rules/set/?fit={shelf.steels.code}&role=steel&nominal=2209.800 um"
    assert f'href="{address}"'.replace("&", "&amp;") in (desk.open("/buying/") and desk.html)
    page = desk.open(address)
    for said in ("It has no rule of its own", "Demand of this size", "gamma distribution", "2 waited for", "variance"):
        assert said in page, said
    desk.send("/buying/rules/set/", {"method": "service", "service": "80", "least": "25"})
    assert (
        desk.path == "/buying/rules/" and "0.0870 in" in desk.text and "80 %" in desk.text and "25 plates" in desk.text
    )
    rule = BuyRule.objects.get()
    assert (rule.service, rule.least, rule.nominal_nm, rule.lead_sd_weeks) == (0.8, 25, 2_209_800, 0.5)
    assert "enough with 80 %" in desk.open(address) and "25 at least" in desk.text
    assert 'name="service" value="80' in desk.html.replace('type="number" ', "") or 'value="80.0"' in desk.html
    desk.send(f"/buying/rules/{rule.pk}/drop/")
    assert desk.path == "/buying/rules/" and "No rule is set" in desk.text and not BuyRule.objects.exists()


def test_a_rule_of_a_row_from_the_list_of_rules(desk: Counter, shelf: Shelf) -> None:
    desk.open("/buying/rules/")
    desk.send("/buying/rules/set/", {"fit": shelf.steels.code, "role": "steel"})
    assert "All sizes of the row, for which no rule is set yet" in desk.text
    desk.send("/buying/rules/set/", {"order_cost": "9.5", "holding_share": "25"})
    rule = BuyRule.objects.get()
    assert (str(rule.order_cost), rule.holding_share, rule.nominal_nm) == ("9.5000", 0.25, None)
    assert "9.50" in desk.text and "25 % of its price" in desk.text
    page = desk.open(f"/buying/rules/set/?fit={shelf.steels.code}&role=steel&nominal=.087")
    assert "that of its row counts" in page and "Economic quantity" in page and "9.5 an order" in page
    assert 'value="9.5"' in desk.html and 'value="25.0"' in desk.html, "a size begins with what counts for it now"


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"service": "49"}, "greater than or equal to 50"),
        ({"service": "nan"}, "Write a number with the digits"),
        ({"lead_weeks": "105"}, "less than or equal to 104"),
        ({"holding_share": "0"}, "greater than or equal to 0.1"),
        ({"least": "-1"}, "greater than or equal to 0"),
        ({"method": "guess"}, "Select a valid choice"),
    ],
)
def test_a_figure_that_cannot_be_is_said_beside_it(
    desk: Counter, shelf: Shelf, typed: dict[str, str], said: str
) -> None:
    desk.open(f"/buying/rules/set/?fit={shelf.steels.code}&role=steel")
    desk.send("/buying/rules/set/", typed)
    assert said in desk.text and not BuyRule.objects.exists()


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("fit=NONE&role=steel", "No fit has this code"),
        ("role=steel", "Fill this in"),
        ("fit={fit}&role=disc", "Select a valid choice"),
        ("fit={fit}&role=steel&nominal=.099", "catalogued in this size"),
        ("fit={fit}&role=steel&nominal=x", "x"),
    ],
)
def test_whose_rule_is_asked_again_where_it_is_of_nothing(desk: Counter, shelf: Shelf, asked: str, said: str) -> None:
    assert said in desk.open(f"/buying/rules/set/?{asked.format(fit=shelf.steels.code)}")
    assert desk.status == 200 and "How sizes are bought" in desk.text


def test_the_bench_reads_and_does_not_set(desk: Counter, shelf: Shelf) -> None:
    desk.open(f"/buying/rules/set/?fit={shelf.steels.code}&role=steel")
    form = desk.form("/buying/rules/set/")
    bench = Counter(PersonFactory.create(shop=shelf.person.shop, role="bench"))
    bench.open(f"/buying/rules/set/?fit={shelf.steels.code}&role=steel&nominal=.087")
    assert "Demand of this size" in bench.text and "buying is for buyer or owner" in bench.text
    assert "Buy by this" not in bench.text
    bench.post(form["action"], form["fields"])
    assert not BuyRule.objects.exists()


def test_what_a_kind_costs_and_the_price_that_an_order_earns(desk: Counter, shelf: Shelf) -> None:
    assert "A plate costs 2.50" in desk.open("/kinds/S-087/")
    desk.open("/kinds/S-087/prices/")
    for typed, said in (("50 2", "cannot be read"), ("50: 3", "is lower"), ("1: 2", "from more plates on")):
        desk.send(typed={"price_breaks": typed})
        assert said in desk.text, typed
    desk.send(typed={"unit_cost": "2.4", "price_breaks": "100:1.8\n50: 2.1"})
    assert desk.path == "/kinds/S-087/" and "costs 2.40, from 50 at once 2.10, from 100 at once 1.80" in desk.text
    assert "50: 2.10" in desk.open("/kinds/S-087/prices/")
    for count, cost in (("45", "2.4000"), ("50", "2.1000"), ("500", "1.8000")):
        desk.open("/buying/")
        desk.send("/buying/order/", {"supplier": "North Works", "of-S-087": count})
        assert str(OrderLine.objects.latest("id").unit_cost) == cost
    desk.open("/kinds/S-087/prices/")
    desk.send(typed={"unit_cost": "", "price_breaks": ""})
    assert Kind.objects.get(code="S-087").unit_cost is None and "A plate costs" not in desk.text
