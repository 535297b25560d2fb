"""One-time codes in a real browser, by keyboard alone: set up, signed out, signed in by code and by recovery code."""

import re
import time

import pytest
from playwright.sync_api import Page, expect
from pyotp import TOTP

from shop.people.models import Person
from tests.benchmarks.pages import weight
from tests.browser.conftest import Watch
from tests.browser.test_axe import faults_of
from tests.browser.test_main_job import PASSWORD, bench, focus_is, keys, password_given, sign_in
from tests.browser.test_targets import LEAST, SMALL
from tests.demo.test_weight import MOST

pytestmark = pytest.mark.browser
bench = bench


def looked_at(page: Page) -> None:
    """These pages come up only in the middle of it, so what is asked of every page is asked of them here."""
    size = page.viewport_size
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.evaluate(SMALL, LEAST) == []
    assert page.evaluate("document.scrollingElement.scrollWidth") == 390
    assert faults_of(page) == []
    assert weight(page.content().encode()).whole < MOST
    page.emulate_media(color_scheme="light")
    assert size
    page.set_viewport_size(size)


def code_asked(page: Page, name: str) -> None:
    password_given(page, name, "/matches/?job=J-7")
    expect(page.get_by_role("heading", level=1)).to_have_text("One-time code")


def set_up(page: Page) -> tuple[str, list[str]]:
    """From the page with the secret to the one with the recovery codes; returns both."""
    focus_is(page, "otp")
    picture = page.get_by_role("img", name="QR Code")
    assert picture.evaluate("(one) => one.complete && one.naturalWidth > 0")
    secret = page.locator("strong.what").inner_text().replace(" ", "")
    looked_at(page)
    keys(page, TOTP(secret).now())
    expect(page.get_by_role("heading", level=1)).to_have_text("Codes are on")
    looked_at(page)
    return secret, page.locator("li.what").all_inner_texts()


def test_set_up_under_me_then_signed_in_by_code(page: Page, watch: Watch, bench: Person) -> None:
    sign_in(page, "ada")
    page.goto("/me/")
    page.get_by_role("link", name="Set them up").click()
    focus_is(page, "password_now")
    looked_at(page)
    keys(page, PASSWORD)
    secret, recovery = set_up(page)
    assert len(recovery) == 10
    page.reload()  # shown this once
    expect(page.get_by_text("10 recovery codes are left")).to_be_visible()
    looked_at(page)
    page.get_by_role("button", name="Sign out").click()

    code_asked(page, "ada")
    looked_at(page)
    focus_is(page, "otp")
    keys(page, "12 34")
    expect(page.get_by_text("4 more tries")).to_be_visible()
    focus_is(page, "otp")
    code = TOTP(secret).at(time.time(), counter_offset=1)
    keys(page, f"{code[:3]} {code[3:]}")
    expect(page).to_have_url(re.compile(r"/matches/\?job=J-7$"))
    page.get_by_role("button", name="Sign out").click()

    code_asked(page, "ada")
    page.get_by_label("Recovery code").focus()
    keys(page, recovery[4].lower())
    expect(page.locator("footer")).to_contain_text("ada, ")
    watch.check()


def test_where_the_shop_requires_codes_the_sign_in_sets_them_up(page: Page, watch: Watch, bench: Person) -> None:
    bench.shop.code_required = True
    bench.shop.save()
    page.goto("/matches/?job=J-7")
    page.keyboard.type("ada")
    page.keyboard.press("Tab")
    keys(page, PASSWORD)
    expect(page.get_by_role("heading", level=1)).to_have_text("Set up one-time codes")
    set_up(page)
    page.get_by_role("link", name="go on").click()
    expect(page).to_have_url(re.compile(r"/matches/\?job=J-7$"))
    watch.check()
