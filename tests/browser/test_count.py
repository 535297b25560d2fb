"""A bin is counted in a real browser, by keyboard alone: begun by a scan, read blind, looked at again, booked once."""

import re

import pytest
from playwright.sync_api import Browser, Page, expect

from plates.catalogue.models import Kind
from plates.stock.count_models import BinCount
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import HandOut
from shop.people.models import Person
from tests.browser.conftest import Watch
from tests.browser.test_keys import Hands
from tests.browser.test_main_job import bench, focus_is, sign_in
from tests.factories import shelve

pytestmark = pytest.mark.browser
bench = bench


def to_button(page: Page, name: str) -> None:
    """Tab on from where the focus is to the button of this name, then Enter."""
    for _ in range(60):
        if page.evaluate("document.activeElement.innerText") == name:
            page.keyboard.press("Enter")
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"Tab never reached {name!r}")


def to_field(page: Page, name: str) -> None:
    for _ in range(60):
        if page.evaluate("document.activeElement.name") == name:
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"Tab never reached {name!r}")


def test_a_count_by_keyboard_alone(browser: Browser, site: str, page: Page, watch: Watch, bench: Person) -> None:
    kind = Kind.objects.get()
    sold, otherwise, gone, agrees = shelve(bench, kind, "0.0765 in", "0.0774 in", "0.0770 in", "0.0766 in")
    sign_in(page, "ada")
    page.keyboard.press("F4")
    focus_is(page, "q")
    hands = Hands(page)
    hands.scan("bin", "B-14")
    expect(page.get_by_role("heading", level=1)).to_have_text("Bin B-14")
    to_button(page, "Count this bin")
    focus_is(page, "reading")
    for count, reading in enumerate((".0765", ".0784", ".0999"), start=1):
        hands.machine(reading)
        expect(page.locator(".answer .bin")).to_have_text(str(count))
        focus_is(page, "reading")
    expect(page.locator("main")).not_to_contain_text("0.0774")
    hands.press("Escape")
    expect(page.locator(".answer .bin")).to_have_text("2")

    other = browser.new_context(base_url=site).new_page()
    sign_in(other, "ada")
    other.goto("/bins/B-14/")
    focus_is(other, "count")
    Hands(other).type("1c")  # the oldest of the bin
    expect(other.get_by_role("status").first).to_contain_text("1 handed out")
    other.context.close()

    focus_is(page, "reading")
    to_button(page, "That is all")
    expect(page.get_by_role("heading", level=1)).to_have_text("Look again: bin B-14")
    expect(page.locator("main")).to_contain_text("1 moved while the bin was counted")
    assert LedgerLine.objects.filter(act="handed_out").count() == 1

    to_field(page, f"gone-{gone.pk}")
    page.keyboard.press("Space")
    to_field(page, f"plate-{otherwise.pk}")
    page.keyboard.type(".0785")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Count of bin B-14")
    expect(page.locator(".predicted")).to_have_text("2 read, 2 differences.")
    assert HandOut.objects.filter(reason="lost").count() == 1
    booked = LedgerLine.objects.count()

    page.go_back()
    expect(page.locator("main")).to_contain_text(re.compile("2 differences|booked already"))
    page.keyboard.press("Enter")
    page.goto("/bins/B-14/")
    expect(page.locator(".picks")).to_contain_text("2 differences")
    assert LedgerLine.objects.count() == booked
    count = BinCount.objects.get()
    assert (count.outcome["missing"], count.outcome["reread"]) == ([str(gone.pk)], [str(otherwise.pk)])
    assert (count.outcome["agreed"], count.outcome["left_out"]) == ([str(agrees.pk)], [str(sold.pk)])
    watch.check()


def test_a_count_is_dropped_by_keyboard_alone(page: Page, watch: Watch, bench: Person) -> None:
    shelve(bench, Kind.objects.get(), "0.0770 in")
    sign_in(page, "ada")
    page.goto("/bins/B-14/")
    to_button(page, "Count this bin")
    focus_is(page, "reading")
    page.goto("/bins/B-14/")
    expect(page.locator(".warning")).to_contain_text("Not finished: begun 0 minutes ago by ada, 0 read.")
    to_button(page, "Go on, or drop it")
    focus_is(page, "reading")
    to_button(page, "Drop this count")
    to_button(page, "Drop it")
    expect(page.locator(".predicted")).to_have_text("Nothing in stock was changed.")
    assert BinCount.objects.get().dropped_at is not None and LedgerLine.objects.count() == 1
    watch.check()
