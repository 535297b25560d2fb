"""A lot at the counter in a real browser: by keyboard alone, with a line that is lost, faster than the service."""

import re

import pytest
from playwright.sync_api import Page, Route, expect

from plates.stock.models import Lot, Plate
from shop.people.models import Person
from shop.people.services import shop_open
from tests.browser.conftest import Watch, until
from tests.browser.test_main_job import PASSWORD, focus_is, keys, sign_in
from tests.factories import BinFactory, FitFactory, KindFactory

pytestmark = pytest.mark.browser
FIVE = [".0770", ".0771", ".0772", ".0773", ".0774"]
PROGRESS = ".answer .bin"


@pytest.fixture
def owner(site: str) -> Person:
    ada = shop_open(name="Corner Gearbox", owner="ada", password=PASSWORD)
    steels = FitFactory.create(shop=ada.shop, code="DRUM", tooth_side="external")
    BinFactory.create(fit=steels, code="B-14")
    KindFactory.create(fit=steels, code="STEEL-77")
    return ada


def begin(page: Page, count: str) -> None:
    sign_in(page, "ada")
    page.goto("/scan-in/kind/STEEL-77/")
    focus_is(page, "reading")
    page.keyboard.press("F8")
    focus_is(page, "count")
    keys(page, count)
    focus_is(page, "reading")


def read(page: Page, *readings: str, wanted: int = 5) -> None:
    before = int(page.locator(PROGRESS).inner_text().split()[0])
    for done, reading in enumerate(readings, start=before + 1):
        keys(page, reading)
        expect(page.locator(PROGRESS)).to_have_text(f"{done} of {wanted}")
        focus_is(page, "reading")


def test_a_lot_by_keyboard_alone(page: Page, watch: Watch, owner: Person) -> None:
    begin(page, "20")
    read(page, *FIVE[:2], ".0779")
    expect(page.locator("#trouble")).to_be_hidden()
    page.keyboard.press("Escape")
    expect(page.locator(PROGRESS)).to_have_text("2 of 5")
    read(page, *FIVE[2:])
    expect(page.locator(".answer")).to_contain_text("mean")
    expect(page.locator(".answer")).to_contain_text("15 unread, at the mean")
    assert not Lot.objects.exists()
    expect(page.locator("[data-awake]:focus")).to_have_count(1)
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    expect(page.locator("#tally")).to_have_text("This batch: 20")
    expect(page.locator(PROGRESS)).to_have_text("B-14")
    focus_is(page, "reading")
    assert (Lot.objects.count(), Plate.objects.count()) == (1, 20)

    page.go_back()
    page.wait_for_load_state()
    expect(page.locator("[data-lot]")).to_have_count(0)
    page.goto("/scan-in/kind/STEEL-77/")
    focus_is(page, "reading")
    page.keyboard.press("F8")
    focus_is(page, "count")
    page.keyboard.press("F8")
    expect(page.locator("main")).to_contain_text("The lot is left: nothing of it is booked.")
    focus_is(page, "reading")
    assert Lot.objects.count() == 1
    watch.check()


def test_an_enter_struck_twice_does_not_book_what_the_first_one_completed(page: Page, owner: Person) -> None:
    begin(page, "20")
    read(page, *FIVE)
    page.keyboard.press("Enter")
    expect(page.locator("[data-awake]:focus")).to_have_count(1)
    assert not Lot.objects.exists()
    page.keyboard.press("Enter")
    expect(page.locator("#tally")).to_have_text("This batch: 20")


def test_a_reading_that_was_refused_gives_way_to_the_next_press(page: Page, owner: Person) -> None:
    begin(page, "3")
    read(page, ".0771", wanted=3)
    keys(page, "1.2.3")
    expect(page.locator(".error").first).to_contain_text("is not a reading")
    focus_is(page, "reading")
    read(page, ".0772", ".0773", wanted=3)


def test_a_lost_line_counts_nothing_and_the_reading_stands_to_be_sent_again(page: Page, owner: Person) -> None:
    begin(page, "20")
    read(page, *FIVE[:2])
    page.context.set_offline(True)
    keys(page, ".0772")
    expect(page.locator("#trouble")).to_contain_text("press Enter once more")
    expect(page.locator("[name=reading]:focus")).to_have_value(".0772")
    expect(page.locator(PROGRESS)).to_have_text("2 of 5")
    page.keyboard.press("F8")
    expect(page.locator("#trouble")).to_contain_text("press F8 once more")
    page.context.set_offline(False)
    page.keyboard.press("Enter")
    expect(page.locator(PROGRESS)).to_have_text("3 of 5")
    # The page is loaded anew, and the lot stands as it did: it is in the address.
    page.reload()
    expect(page.locator(PROGRESS)).to_have_text("3 of 5")
    read(page, *FIVE[3:])
    page.context.set_offline(True)
    expect(page.locator("[data-awake]:focus")).to_have_count(1)
    page.keyboard.press("Enter")
    expect(page.locator("#trouble")).to_contain_text("press Enter once more")
    assert not Lot.objects.exists()
    page.context.set_offline(False)
    page.keyboard.press("Enter")
    expect(page.locator("#tally")).to_have_text("This batch: 20")
    assert Lot.objects.get().measured == 5


def test_an_answer_that_is_lost_after_the_booking_books_once(page: Page, owner: Person) -> None:
    begin(page, "20")
    read(page, *FIVE)
    at = re.compile("/lot/")

    def swallow(route: Route) -> None:
        route.fetch()
        route.abort()

    page.route(at, swallow, times=1)
    expect(page.locator("[data-awake]:focus")).to_have_count(1)
    page.keyboard.press("Enter")
    expect(page.locator("#trouble")).to_contain_text("press Enter once more")
    page.keyboard.press("Enter")
    expect(page.locator("#tally")).to_have_text("This batch: 20")
    assert (Lot.objects.count(), Plate.objects.count()) == (1, 20)


def test_plates_read_faster_than_the_service_answers_are_all_counted(page: Page, owner: Person) -> None:
    begin(page, "20")
    held: list[Route] = []
    page.route(re.compile("/lot/"), lambda route: held.append(route), times=1)
    keys(page, ".0770")
    keys(page, ".0771")
    page.keyboard.press("Enter")
    keys(page, ".0772")
    until(page, lambda: held)
    held[0].continue_()
    expect(page.locator(PROGRESS)).to_have_text("3 of 5")
    focus_is(page, "reading")


def test_an_uneven_lot_asks_for_all(page: Page, owner: Person) -> None:
    begin(page, "6")
    read(page, *FIVE[:4])
    keys(page, ".0781")
    expect(page.locator(PROGRESS)).to_have_text("5 of 6")
    expect(page.locator(".answer")).to_contain_text("none may go unread")
    read(page, ".0771", wanted=6)
    expect(page.locator("[data-awake]:focus")).to_have_count(1)
    page.keyboard.press("Enter")
    expect(page.locator("#tally")).to_have_text("This batch: 6")
    assert Lot.objects.get().measured == 6
