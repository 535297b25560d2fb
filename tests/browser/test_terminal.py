"""A terminal in a real browser, by keyboard alone: enrolled, badge and PIN, the next person, locked and unlocked."""

from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from playwright.sync_api import Page, expect

from plates.stock.ledger_models import LedgerLine
from shop.people.badges import badge_make, pin_set
from shop.people.models import Person, Role
from shop.people.services import person_add
from tests.browser.conftest import SECRET, Watch
from tests.browser.test_main_job import PASSWORD, bench, by_keyboard_to, focus_is, keys, sign_in

pytestmark = pytest.mark.browser
bench = bench
PIN = "7391"


@pytest.fixture
def badges(bench: Person) -> dict[str, str]:
    """The codes of two people's badges, by their names."""
    codes = {}
    for name, role in (("ines", Role.BENCH), ("omar", Role.COUNTER)):
        person_add(person=bench, username=name, role=role, password=PASSWORD)
        pin_set(person=bench, username=name, pin=PIN)
        codes[name] = badge_make(person=bench, username=name)
    return codes


def come_in(page: Page, badge: str, name: str) -> None:
    focus_is(page, "badge")
    keys(page, badge)
    focus_is(page, "pin")
    keys(page, PIN)
    expect(page.locator("footer")).to_contain_text(f"{name}, ")


@pytest.fixture
def hour(settings: Any) -> Callable[[], None]:
    """Lets an hour pass in which nobody does anything, as far as the service knows."""
    settings.SECRET_KEY = SECRET

    def passes() -> None:
        for row in Session.objects.all():
            session = SessionStore(row.session_key)
            session["seen"] = session.get("seen", 3600) - 3600
            session.save()

    return passes


def test_a_day_at_the_terminal_by_keyboard_alone(
    page: Page, watch: Watch, badges: dict[str, str], hour: Callable[[], None]
) -> None:
    sign_in(page, "ada")
    by_keyboard_to(page, "Shop")
    expect(page.get_by_role("heading", level=1)).to_have_text("People")
    by_keyboard_to(page, "Terminals")
    expect(page.get_by_role("heading", level=1)).to_have_text("Terminals")
    page.get_by_label("Name of the terminal").focus()
    keys(page, "bench-2")
    expect(page.get_by_text("in use: this one")).to_be_visible()

    page.keyboard.press("F9")
    come_in(page, badges["ines"], "ines")
    page.goto("/close-a-pack/PACK/")
    focus_is(page, "reading")
    keys(page, "74")
    expect(page.locator("[name=reading-kept]")).to_have_count(1)
    focus_is(page, "reading")
    page.keyboard.type("7")

    page.keyboard.press("F9")  # half typed; the next one goes on with it
    come_in(page, badges["omar"], "omar")
    expect(page.get_by_role("heading", level=1)).to_contain_text("PACK")
    expect(page.locator("[name=reading-kept]")).to_have_count(1)
    expect(page.locator("[name=reading]")).to_have_value("7")
    focus_is(page, "reading")
    keys(page, "5")
    expect(page.locator("[name=reading-kept]")).to_have_count(2)
    expect(page.locator("[name=reading-kept]").last).to_have_value("75 thou")

    hour()
    focus_is(page, "reading")
    keys(page, "73")
    expect(page.get_by_role("heading", level=1)).to_have_text("Locked")
    focus_is(page, "pin")
    keys(page, "0000")
    expect(page.get_by_role("alert").first).to_contain_text("4 more tries")
    focus_is(page, "pin")
    keys(page, PIN)
    expect(page.locator("[name=reading-kept]")).to_have_count(2)
    expect(page.locator("[name=reading]")).to_have_value("73")
    focus_is(page, "reading")
    page.keyboard.press("Enter")
    expect(page.locator("[name=reading-kept]")).to_have_count(3)

    page.goto("/scan-in/kind/STEEL-77/")
    focus_is(page, "reading")
    keys(page, ".0771")
    expect(page.locator("#tally")).to_have_text("This batch: 1")
    line = LedgerLine.objects.select_related("person", "terminal").get()
    assert line.terminal is not None
    assert (line.person.username, line.terminal.code) == ("omar", "bench-2")
    watch.check()


def test_the_page_locks_itself_and_a_whole_form_waits(
    page: Page, watch: Watch, bench: Person, hour: Callable[[], None]
) -> None:
    sign_in(page, "ada")
    page.clock.install()
    page.goto("/add/bin/")
    page.get_by_label("Bin").fill("C-2")
    hour()
    page.clock.fast_forward("10:03")
    expect(page.get_by_role("heading", level=1)).to_have_text("Locked")
    focus_is(page, "password")
    keys(page, PASSWORD)
    expect(page.get_by_label("Bin")).to_have_value("C-2")
    page.get_by_label("Fit").select_option("DRUM")
    page.get_by_label("From").fill(".0775")
    page.get_by_label("To", exact=True).fill(".0785")
    hour()
    page.get_by_role("button", name="Add a bin").click()
    focus_is(page, "password")
    keys(page, PASSWORD)
    expect(page.get_by_role("heading", level=1)).to_have_text("Your form waited")
    page.keyboard.press("Enter")
    expect(page.get_by_role("rowheader", name="C-2")).to_be_visible()
    watch.check()
