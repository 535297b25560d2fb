"""How many keys a person presses: what a scanner or a micrometer types, and its Enter, is no key of a person's."""

import re
from dataclasses import dataclass

import pytest
from playwright.sync_api import Browser, Page, expect

from plates.catalogue.models import Kind
from plates.scan_codes import scan_format
from plates.stock.models import Plate
from shop.people.models import Person
from shop.people.services import shop_open
from tests.browser.conftest import Watch
from tests.browser.test_main_job import PASSWORD, focus_is, sign_in
from tests.factories import BinFactory, FitFactory, KindFactory, pack, shelve

pytestmark = pytest.mark.browser


@dataclass
class Hands:
    """A person at a terminal, counted."""

    page: Page
    keys: int = 0
    scans: int = 0

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)
            self.keys += 1

    def type(self, text: str) -> None:
        self.press(*(("Space" if one == " " else one) for one in text), "Enter")

    def scan(self, sort: str, code: str) -> None:
        self.machine(scan_format(sort, code))
        self.scans += 1

    def machine(self, text: str) -> None:
        """A press of the micrometer, or what a scanner sends."""
        self.page.keyboard.type(text)
        self.page.keyboard.press("Enter")


@pytest.fixture
def owner(site: str) -> Person:
    ada = shop_open(name="Corner Gearbox", owner="ada", password=PASSWORD)
    steels = FitFactory.create(shop=ada.shop, code="DRUM", tooth_side="external")
    pack(ada, steels, FitFactory.create(shop=ada.shop, code="HUB"))
    BinFactory.create(fit=steels, code="B-14")
    KindFactory.create(fit=steels, code="STEEL-77")
    thick: Kind = KindFactory.create(fit=steels, code="STEEL-89", nominal_nm=89 * 25_400)
    shelve(ada, thick, *["0.0890 in"] * 2)
    return ada


def in_batch(page: Page, count: int) -> None:
    expect(page.locator("#tally")).to_have_text(f"This batch: {count}")
    focus_is(page, "reading")


def test_scan_in(page: Page, watch: Watch, owner: Person) -> None:
    sign_in(page, "ada")
    page.goto("/scan-in/")
    focus_is(page, "code")
    hands = Hands(page)
    hands.scan("kind", "STEEL-77")
    focus_is(page, "reading")
    for count, reading in enumerate((".0771", ".0770", ".0769"), start=1):
        hands.machine(reading)
        in_batch(page, count)
        expect(page.locator(".answer .bin")).to_have_text("B-14")
    assert (hands.scans, hands.keys) == (1, 0)

    hands.press("F2")
    hands.machine(".0768")
    in_batch(page, 4)
    assert hands.keys == 1 and Plate.objects.filter(condition="used").count() == 1
    hands.press("Escape")
    in_batch(page, 3)
    assert hands.keys == 2
    watch.check()


def test_esc_leaves_out_what_was_refused_and_nothing_else(page: Page, watch: Watch, owner: Person) -> None:
    sign_in(page, "ada")
    page.goto("/scan-in/")
    hands, field = Hands(page), page.locator("[name=reading]")
    hands.machine("STEAL-77")
    expect(page.get_by_role("alert").first).to_contain_text("No label and no kind")
    hands.press("Escape")
    focus_is(page, "code")
    expect(page.locator("[name=code]")).to_have_value("")
    hands.scan("kind", "STEEL-77")
    focus_is(page, "reading")
    hands.machine(".0771")
    in_batch(page, 1)
    for refused in (".0991", "7h"):
        hands.machine(refused)
        expect(page.locator(".answer .bin")).to_have_text("not booked")
        focus_is(page, "reading")
        hands.press("Escape")
        expect(page.locator(".answer .bin")).to_have_text("left out")
        focus_is(page, "reading")
        expect(field).to_have_value("")
        expect(page.locator("#doubt")).to_have_count(0)
        hands.press("Escape")  # struck twice it must not undo the plate before
        in_batch(page, 1)
    page.keyboard.type(".07")
    hands.press("Escape")  # nor wipe what is half typed
    expect(field).to_have_value(".07")
    page.keyboard.type("70")
    hands.press("Enter")
    in_batch(page, 2)
    hands.press("Escape")
    in_batch(page, 1)
    watch.check()


def test_esc_leaves_out_a_reading_of_a_lot(page: Page, watch: Watch, owner: Person) -> None:
    sign_in(page, "ada")
    page.goto("/scan-in/kind/STEEL-77/lot/")
    hands = Hands(page)
    focus_is(page, "count")
    hands.type("3")
    focus_is(page, "reading")
    hands.machine(".0771")
    expect(page.locator(".answer .bin")).to_have_text("1 of 3")
    for refused in (".0991", "x"):
        hands.machine(refused)
        expect(page.locator(".answer .into").first).to_have_text("this one was not counted")
        hands.press("Escape")
        expect(page.locator(".answer .into").first).to_have_text("read so far")
        focus_is(page, "reading")
        expect(page.locator("[name=reading]")).to_have_value("")
        hands.press("Escape")
        expect(page.locator(".answer .bin")).to_have_text("1 of 3")
    watch.check()


def test_lot(page: Page, watch: Watch, owner: Person) -> None:
    """From the scan page of the kind: how many came, five presses of the micrometer, and all are booked."""
    sign_in(page, "ada")
    page.goto("/scan-in/kind/STEEL-77/")
    focus_is(page, "reading")
    hands = Hands(page)
    hands.press("F8")
    focus_is(page, "count")
    hands.type("20")
    for count, reading in enumerate((".0770", ".0771", ".0772", ".0773", ".0774"), start=1):
        focus_is(page, "reading")
        hands.machine(reading)
        expect(page.locator(".answer .bin")).to_have_text(f"{count} of 5")
    expect(page.locator("[data-steady][data-awake]:focus")).to_have_count(1)
    hands.press("Enter")
    in_batch(page, 20)
    assert (hands.scans, hands.keys) == (0, 5)
    assert Plate.objects.filter(lot__count=20, lot__measured=5).count() == 20
    hands.press("Escape")
    in_batch(page, 0)
    watch.check()


def test_hand_over(page: Page, watch: Watch, owner: Person) -> None:
    """From home: which pack, three readings by feeler, steels at book size, the ticket of the job, the first option."""
    sign_in(page, "ada")
    hands = Hands(page)
    expect(page.locator("a[autofocus]:focus")).to_have_count(1)
    hands.press("Enter")
    focus_is(page, "find")
    hands.type("pa")
    focus_is(page, "reading")
    hands.type("74 75 73")
    focus_is(page, "slot1")
    hands.press("Enter")
    focus_is(page, "job")
    hands.scan("job", "J-1182")
    expect(page.locator("[data-steady][data-awake]:focus")).to_have_text("Take")
    expect(page.get_by_role("link", name="J-1182")).to_have_count(1)
    hands.press("Enter")
    expect(page).to_have_url(re.compile(r"/matches/1/"))
    expect(page.locator("a:focus")).to_have_text("Slip: what to fetch")
    assert (hands.scans, hands.keys) == (1, 15)
    watch.check()


def test_two_terminals_see_what_the_other_one_took(browser: Browser, site: str, page: Page, owner: Person) -> None:
    other = browser.new_context(base_url=site).new_page()
    for terminal in (page, other):
        sign_in(terminal, "ada")
        terminal.goto("/close-a-pack/PACK/")
        focus_is(terminal, "reading")
        Hands(terminal).type("74 75 73")
        focus_is(terminal, "slot1")
        Hands(terminal).press("Enter")
        focus_is(terminal, "job")
        Hands(terminal).press("Enter")
        expect(terminal.locator("[data-steady][data-awake]:focus")).to_have_text("Take")
    page.keyboard.press("Enter")
    expect(page.locator("a:focus")).to_have_text("Slip: what to fetch")
    assert Plate.objects.filter(state="taken").count() == 2
    other.keyboard.press("Enter")
    expect(other.get_by_role("heading", name="The shelf cannot close it")).to_be_visible()
    assert Plate.objects.filter(state="taken", match__number=1).count() == 2
    other.goto("/")
    expect(other.locator("main")).to_contain_text("taken")
    other.context.close()
