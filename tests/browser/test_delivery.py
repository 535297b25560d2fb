"""A delivery of three and one too many, scanned in against its order by keyboard alone."""

import pytest
from django.db import transaction
from playwright.sync_api import Page, Route, expect

from plates.buying.models import Order
from plates.buying.orders import Wanted, order_make, order_send
from plates.catalogue.models import Kind
from plates.stock.models import Plate
from shop.people.models import Person
from tests.browser.conftest import Watch
from tests.browser.test_keys import Hands, in_batch, owner
from tests.browser.test_main_job import focus_is, sign_in

pytestmark = pytest.mark.browser
__all__ = ["owner"]


@pytest.fixture
def order(owner: Person) -> Order:
    kind = Kind.objects.get(code="STEEL-77")
    with transaction.atomic():
        made = order_make(person=owner, supplier="North Works", lines=[Wanted(kind, 3)])
        return order_send(person=owner, order_id=made.pk)


def came(order: Order) -> tuple[str, int]:
    order.refresh_from_db()
    return order.state, order.lines.get().received


def test_three_and_one_too_many(page: Page, watch: Watch, order: Order) -> None:
    sign_in(page, "ada")
    page.goto("/scan-in/")
    focus_is(page, "code")
    hands = Hands(page)
    hands.scan("order", "1")
    expect(page.locator(".came")).to_contain_text("STEEL-77: 0 of 3 came")
    focus_is(page, "code")
    hands.scan("kind", "STEEL-77")
    focus_is(page, "reading")
    for count, reading in enumerate((".0771", ".0770", ".0769"), start=1):
        hands.machine(reading)
        in_batch(page, count)
        expect(page.locator(".came")).to_contain_text(f"STEEL-77: {count} of 3 came")
    assert (hands.scans, hands.keys) == (2, 0) and came(order) == ("received", 3)

    hands.machine(".0770")
    expect(page.locator("#doubt")).to_contain_text("0 of STEEL-77 are still due on order 1")
    assert Plate.objects.filter(order_line__isnull=False).count() == 3
    expect(page.locator("#doubt")).to_be_in_viewport(ratio=1)
    page.keyboard.press("Shift+Tab")  # the ways to go on stand right before the reading field
    page.keyboard.press("Shift+Tab")
    assert page.evaluate("document.activeElement.innerText") == "It came too: count it"
    hands.press("Enter")
    in_batch(page, 4)
    expect(page.locator(".came")).to_contain_text("STEEL-77: 4 of 3 came")
    hands.press("Escape")
    in_batch(page, 3)
    assert came(order) == ("received", 3)
    watch.check()


def test_kept_while_the_line_is_lost_it_counts_on_its_order(page: Page, order: Order) -> None:
    sign_in(page, "ada")
    page.goto("/scan-in/kind/STEEL-77/?order=1")
    focus_is(page, "reading")

    def lost(route: Route) -> None:
        if route.request.method == "POST":
            route.abort()
        else:
            route.continue_()

    page.route("**/scan-in/**", lost)
    for reading in (".0771", ".0770"):
        Hands(page).machine(reading)
    expect(page.locator("#kept h2")).to_have_text("Not yet sent: 2")
    assert came(order) == ("sent", 0)
    page.unroute("**/scan-in/**")
    expect(page.locator("#kept h2")).to_have_text("Sent: lay each one into its bin")
    expect(page.locator(".came")).to_contain_text("STEEL-77: 2 of 3 came")
    assert came(order) == ("part", 2)
