"""A pack built from an empty drum in a real browser, by keyboard alone."""

import pytest
from playwright.sync_api import Page, expect

from shop.people.services import shop_open
from tests.browser.conftest import Watch
from tests.browser.test_main_job import PASSWORD, focus_is, keys, sign_in
from tests.pages.test_room import drum

pytestmark = pytest.mark.browser


def test_an_empty_drum_by_keyboard_alone(page: Page, watch: Watch, site: str) -> None:
    drum(shop_open(name="Corner Gearbox", owner="ada", password=PASSWORD))
    sign_in(page, "ada")
    page.goto("/close-a-pack/DRUM/")
    focus_is(page, "reading")
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Space")
    expect(page.get_by_label("Room as read")).to_be_focused()
    keys(page, "1.490-.166 1.324 in")
    expect(page.locator("[name=reading-kept]")).to_have_count(2)
    keys(page, "")
    focus_is(page, "slot1")
    keys(page, "")
    focus_is(page, "slot3")
    keys(page, ".08 .08 .08 .08 .08 .08")
    focus_is(page, "slot4")
    keys(page, "")
    focus_is(page, "job")
    keys(page, "J-7")
    expect(page.get_by_role("heading", level=1)).to_have_text("DRUM is to be filled")
    expect(page.get_by_role("heading", level=3)).to_contain_text("7 changes")
    expect(page.locator("[data-steady][data-awake]:focus")).to_have_count(1)  # a key that is still down takes nothing
    page.keyboard.press("Enter")
    expect(page.get_by_role("link", name="Slip: what to fetch")).to_be_focused()
    watch.check()


def test_what_stays_after_all_gets_its_field_and_the_focus(page: Page, watch: Watch, site: str) -> None:
    drum(shop_open(name="Corner Gearbox", owner="ada", password=PASSWORD))
    sign_in(page, "ada")
    page.goto("/close-a-pack/DRUM/")
    page.get_by_label("The drum is empty").check()
    expect(page.get_by_text("To be chosen:")).to_have_count(2)
    expect(page.locator(".htmx-request, .htmx-swapping, .htmx-settling, .htmx-added")).to_have_count(0)
    chosen = page.locator("[name=slot2-how][value=out]")
    chosen.focus()
    page.keyboard.press("ArrowRight")
    focus_is(page, "slot2")
    expect(page.get_by_text("To be chosen:")).to_have_count(1)
    assert page.get_by_role("alert").count() == 0
    watch.check()
