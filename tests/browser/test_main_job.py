"""The main job in a real browser: by keyboard alone, and in a shop that was only just opened."""

import re

import pytest
from playwright.sync_api import Page, expect

from shop.people.models import Person
from shop.people.services import shop_open
from tests.browser.conftest import Watch
from tests.factories import BinFactory, FitFactory, KindFactory, pack

pytestmark = pytest.mark.browser
PASSWORD = "thin oil and clean rags"


def keys(page: Page, text: str) -> None:
    """Type into whatever has the focus, then Enter: what a hand, a scanner or a micrometer does."""
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def focus_is(page: Page, name: str) -> None:
    """Wait until the field of this name has the focus."""
    expect(page.locator(f"[name={name}]:focus")).to_have_count(1)


def password_given(page: Page, name: str, to: str) -> None:
    """Name and password by keyboard, on the way to a page."""
    page.goto(to)
    focus_is(page, "username")
    page.keyboard.type(name)
    page.keyboard.press("Tab")
    keys(page, PASSWORD)


def sign_in(page: Page, name: str) -> None:
    password_given(page, name, "/")
    expect(page.get_by_role("heading", level=1)).to_have_text("What is to be done?")


def by_keyboard_to(page: Page, name: str) -> None:
    """Tab from the top of the page to the link of this name, then Enter."""
    page.locator("body").press("Home")
    for _ in range(60):
        if page.evaluate("document.activeElement.innerText") == name:
            page.keyboard.press("Enter")
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"Tab never reached {name!r}")


@pytest.fixture
def bench(site: str) -> Person:
    owner = shop_open(name="Corner Gearbox", owner="ada", password=PASSWORD)
    steels = FitFactory.create(shop=owner.shop, code="DRUM", tooth_side="external")
    pack(owner, steels, FitFactory.create(shop=owner.shop, code="HUB"))
    BinFactory.create(fit=steels, code="B-14")
    KindFactory.create(fit=steels, code="STEEL-77")
    return owner


def test_the_main_job_by_keyboard_alone(page: Page, watch: Watch, bench: Person) -> None:
    sign_in(page, "ada")
    by_keyboard_to(page, "Scan in")
    focus_is(page, "code")
    keys(page, "STEEL-77")
    focus_is(page, "reading")
    for count, reading in enumerate((".0771", "1.958", "76.8 thou"), start=1):
        page.keyboard.type(reading)
        expect(page.locator(".echo .said")).to_contain_text("mm)")
        page.keyboard.press("Enter")
        page.keyboard.press("Enter")
        expect(page.locator("#tally")).to_have_text(f"This batch: {count}")
        expect(page.locator(".bin")).to_have_text("B-14")
        focus_is(page, "reading")
        expect(page.locator("[name=reading]")).to_have_value("")
    keys(page, ".0769")
    expect(page.locator("#tally")).to_have_text("This batch: 4")
    page.keyboard.press("Escape")
    expect(page.locator("#tally")).to_have_text("This batch: 3")

    by_keyboard_to(page, "Close a pack")
    focus_is(page, "find")
    page.keyboard.type("disc")
    expect(page.locator("#found a")).to_have_count(1)
    page.keyboard.press("Enter")
    focus_is(page, "reading")
    for count in (1, 2, 3):
        keys(page, "74")
        expect(page.locator("[name=reading-kept]")).to_have_count(count)
        focus_is(page, "reading")
    page.keyboard.press("Enter")
    focus_is(page, "slot1")
    keys(page, ".0698 .0699 .0700 .0701 .0702")
    focus_is(page, "job")
    keys(page, "J-1182")
    expect(page.get_by_role("heading", level=1)).to_have_text("PACK is loose")
    expect(page.locator(".option").first).to_contain_text("3 from B-14")
    expect(page.locator("svg.stack").first).to_be_visible()
    expect(page.locator("[data-steady][data-awake]:focus")).to_have_text("Take")
    page.keyboard.press("Enter")
    expect(page.locator("a:focus")).to_have_text("Slip: what to fetch")
    page.keyboard.press("Enter")
    expect(page.locator(".slip .fetch")).to_contain_text("3 from B-14")
    focus_is(page, "reading")
    page.keyboard.press("Enter")  # nothing is read at the bin: on to the final check
    expect(page).to_have_url(re.compile("#check$"))
    page.keyboard.press("Tab")
    for _ in range(5):
        if page.evaluate("document.activeElement.name") == "reading":
            break
        page.keyboard.press("Tab")
    focus_is(page, "reading")
    keys(page, "53")
    expect(page.locator("[name=reading-kept]")).to_have_count(1)
    keys(page, "53")
    expect(page.locator("[name=reading-kept]")).to_have_count(2)
    focus_is(page, "reading")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("it came out in the window")
    watch.check()


def test_a_shop_just_opened_does_the_main_job_by_pages_alone(page: Page, watch: Watch, site: str) -> None:
    shop_open(name="First Day", owner="bea", password=PASSWORD)
    sign_in(page, "bea")
    for code, side in (("DRUM", "external"), ("HUB", "internal")):
        page.get_by_role("link", name="Fits", exact=True).click()
        page.get_by_role("link", name="Add a fit").click()
        page.get_by_label("Code").fill(code)
        page.get_by_label("Teeth").select_option(side)
        page.get_by_label("Tooth count").fill("36")
        page.get_by_label("Outer diameter").fill("5.5 in")
        page.get_by_label("Inner diameter").fill("4.2 in")
        page.get_by_role("button", name="Add a fit").click()
        expect(page.get_by_role("rowheader", name=code)).to_be_visible()
    page.get_by_role("link", name="Kinds", exact=True).click()
    page.get_by_role("link", name="Add a kind").click()
    page.get_by_label("Code", exact=True).fill("S-77")
    page.get_by_label("Fit", exact=True).select_option("DRUM")
    page.get_by_label("Nominal thickness").fill("77")
    expect(page.locator(".echo", has_text="0.0770 in (1.956 mm)")).to_be_visible()
    page.get_by_role("button", name="Add a kind").click()
    page.get_by_role("link", name="Bins", exact=True).click()
    page.get_by_role("link", name="Add a bin").click()
    page.get_by_label("Bin").fill("C-2")
    page.get_by_label("Fit", exact=True).select_option("DRUM")
    page.get_by_label("From").fill(".0765")
    page.get_by_label("To", exact=True).fill(".0775")
    page.get_by_role("button", name="Add a bin").click()
    page.get_by_role("link", name="Pack specs").click()
    page.get_by_role("link", name="Add a pack spec").click()
    page.get_by_label("Code").fill("DIR-5")
    page.get_by_label("Title").fill("Direct, five frictions")
    page.get_by_label("the rule of the trade").check()
    for row, (name, role, fit) in enumerate((("steels", "steel", "DRUM"), ("frictions", "friction", "HUB")), start=1):
        slot = page.get_by_role("group", name=f"Slot {row}", exact=True)
        slot.get_by_label("Slot", exact=True).fill(name)
        slot.get_by_label("Role").select_option(role)
        slot.get_by_label("Fit", exact=True).select_option(fit)
        slot.get_by_label("Count").fill("5")
        slot.get_by_label("Book size").fill(".070" if role == "steel" else ".080")
        slot.get_by_label("may be exchanged").set_checked(role == "steel")
    page.get_by_role("button", name="Add the pack spec").click()
    expect(page.locator("svg.stack")).to_be_visible()

    page.get_by_role("link", name="Scan in", exact=True).click()
    page.get_by_role("link", name="S-77").click()
    for count, reading in enumerate((".0771", ".0771", ".0768"), start=1):
        focus_is(page, "reading")
        keys(page, reading)
        expect(page.locator("#tally")).to_have_text(f"This batch: {count}")
    page.get_by_role("link", name="Pack specs").click()
    page.get_by_role("link", name="Close", exact=True).click()
    focus_is(page, "reading")  # keys struck while a page loads go nowhere
    keys(page, "74 74 74")
    expect(page.locator("[name=reading-kept]")).to_have_count(3)
    page.get_by_label("Thickness of each one in the pack").fill(".0698 .0699 .0700 .0701 .0702")
    page.get_by_role("button", name="Ask the shelf").click()
    page.get_by_role("button", name="Take", exact=True).first.click()
    page.get_by_role("link", name="Slip: what to fetch").click()
    expect(page.locator(".fetch")).to_contain_text("from C-2")
    watch.check()
