"""Flows of the terminal by keyboard alone, and what a nervous hand or a lost session does to them."""

import re

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import Page, Route, expect

from plates.bench.models import FinalCheck, Match
from plates.catalogue.models import Kind
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import HandOut, Plate
from shop.people.models import Person
from tests.api import Api
from tests.browser.conftest import Watch, until
from tests.browser.test_main_job import PASSWORD, focus_is, keys, sign_in
from tests.browser.test_preview import owner
from tests.factories import shelve
from tests.shelves import question

pytestmark = pytest.mark.browser
owner = owner


def tab_to(page: Page, selector: str) -> None:
    """Press Tab until what this names has the focus."""
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("(selector) => document.activeElement.matches(selector)", selector):
            return
    raise AssertionError(f"Tab never reached {selector!r}")


def twice(page: Page, selector: str) -> None:
    """Send one form two times at once, as it stands, as a double click on a slow line does."""
    page.evaluate(
        """async (selector) => {
          const form = document.querySelector(selector);
          const body = () => new URLSearchParams(new FormData(form));
          await Promise.all([0, 1].map(() => fetch(form.action, { method: "POST", body: body() })));
        }""",
        selector,
    )


def asked(owner: Person, reading: str = "0.0740 in", **more: object) -> dict[str, object]:
    body: dict[str, object] = Api(owner).post("matches/", {**question(reading, ["0.0700 in"] * 5), **more}).body
    return body


def test_held_and_released_by_keyboard_alone(page: Page, watch: Watch, owner: Person) -> None:
    asked(owner)
    sign_in(page, "ada")
    page.goto("/matches/1/")
    tab_to(page, "form[action$='/hold/'] button")
    page.keyboard.press("Enter")
    expect(page.locator("time[data-now]")).to_be_visible()
    assert Plate.objects.filter(state="held").exists()
    tab_to(page, "form[action$='/release/'] button")
    page.keyboard.press("Enter")
    expect(page.locator("time[data-now]")).to_have_count(0)
    assert not Plate.objects.filter(state="held").exists()
    watch.check()


def test_what_the_shelf_cannot_close_is_missed_once_by_keyboard_alone(page: Page, owner: Person) -> None:
    sign_in(page, "ada")
    for _ in range(2):
        page.goto("/close-a-pack/PACK/")
        focus_is(page, "reading")
        keys(page, "150 150 150")
        focus_is(page, "slot1")
        page.keyboard.press("Enter")
        focus_is(page, "job")
        keys(page, "J-9")
        expect(page.get_by_role("heading", name="The shelf cannot close it")).to_be_visible()
    page.goto("/missed/")
    expect(page.locator("main")).to_contain_text("J-9")
    assert Match.objects.count() == 2


@pytest.mark.parametrize(("typed", "reason"), [("2c", "cash"), ("1l", "lent")])
def test_sold_or_lent_over_the_counter_and_what_comes_back_is_read_again(
    page: Page, watch: Watch, owner: Person, typed: str, reason: str
) -> None:
    sign_in(page, "ada")
    page.goto("/bins/B-14/")
    focus_is(page, "count")
    keys(page, typed)
    expect(page.get_by_role("status").first).to_contain_text("handed out")
    out = HandOut.objects.get()
    away = list(Plate.objects.filter(state="handed_out"))
    assert (out.reason, len(away)) == (reason, int(typed[0]))
    page.goto(f"/hand-outs/?reason={reason}")
    tab_to(page, ".away a")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("The life of one")
    tab_to(page, "summary")
    page.keyboard.press("Enter")
    tab_to(page, "[name=reading]")
    keys(page, ".0770")
    expect(page.locator("main")).to_contain_text("On the shelf")
    assert Plate.objects.filter(state="handed_out").count() == len(away) - 1
    watch.check()


def test_no_form_counts_twice(page: Page, owner: Person) -> None:
    asked(owner)
    sign_in(page, "ada")
    page.goto("/matches/1/")
    twice(page, "form[action$='/hold/']")
    assert LedgerLine.objects.filter(act="held").count() == Plate.objects.filter(state="held").count() > 0
    page.reload()
    twice(page, "form[action$='/take/']")
    taken = Plate.objects.filter(state="taken").count()
    assert LedgerLine.objects.filter(act="taken").count() == taken > 0
    page.goto("/matches/1/slip/")
    page.locator("#pull [name=reading]").fill(".0771")
    twice(page, "#pull form")
    assert sum(bool(row.get("pulled")) for row in Match.objects.get().slip) == 1
    page.goto("/matches/1/final/")
    page.locator("[name=reading]").fill("53")
    page.keyboard.press("Enter")
    expect(page.locator("[name=reading-kept]")).to_have_count(1)
    twice(page, "form.final")
    assert FinalCheck.objects.count() == 1
    shelve(owner, Kind.objects.get(), "0.0770 in", "0.0770 in")
    page.goto("/bins/B-14/")
    page.locator("[name=count]").fill("1c")
    twice(page, "form[action$='/hand-out/']")
    assert HandOut.objects.count() == 1


def test_back_after_a_take_says_what_stands_and_takes_nothing_more(page: Page, watch: Watch, owner: Person) -> None:
    asked(owner)
    sign_in(page, "ada")
    page.goto("/matches/1/")
    expect(page.locator("[data-steady][data-awake]:focus")).to_have_text("Take")
    page.keyboard.press("Enter")
    expect(page.locator("a:focus")).to_have_text("Slip: what to fetch")
    taken = LedgerLine.objects.filter(act="taken").count()
    page.keyboard.press("Enter")
    focus_is(page, "reading")
    page.go_back()
    expect(page.locator("main")).to_contain_text("Taken")
    page.go_back()
    expect(page.locator("main")).to_contain_text("Taken")
    expect(page.get_by_role("button", name="Take", exact=True)).to_have_count(0)
    page.keyboard.press("Enter")
    assert LedgerLine.objects.filter(act="taken").count() == taken > 0
    watch.check()


def test_a_session_that_ends_within_a_final_check_loses_no_reading(page: Page, watch: Watch, owner: Person) -> None:
    match = asked(owner, take=True)
    assert match["state"] == "taken"
    sign_in(page, "ada")
    page.goto("/matches/1/final/")
    focus_is(page, "reading")
    keys(page, "53")
    expect(page.locator("[name=reading-kept]")).to_have_count(1)
    focus_is(page, "reading")
    Session.objects.all().delete()
    keys(page, "54")
    focus_is(page, "username")
    page.keyboard.type("ada")
    page.keyboard.press("Tab")
    keys(page, PASSWORD)
    expect(page.get_by_role("heading", level=1)).to_have_text("Your form waited")
    page.keyboard.press("Enter")
    expect(page.locator("[name=reading-kept]")).to_have_count(2)
    assert FinalCheck.objects.count() == 0
    focus_is(page, "reading")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text(re.compile("it came out in the window|is"))
    assert FinalCheck.objects.count() == 1
    watch.check()


def test_the_next_person_goes_on_with_a_final_check_half_read(page: Page, watch: Watch, owner: Person) -> None:
    asked(owner, take=True)
    sign_in(page, "ada")
    page.goto("/matches/1/final/")
    focus_is(page, "reading")
    keys(page, "53")
    expect(page.locator("[name=reading-kept]")).to_have_count(1)
    focus_is(page, "reading")
    page.keyboard.type("5")
    page.keyboard.press("F9")
    focus_is(page, "username")
    page.keyboard.type("ada")
    page.keyboard.press("Tab")
    keys(page, PASSWORD)
    expect(page.locator("[name=reading]")).to_have_value("5")
    expect(page.locator("[name=reading-kept]")).to_have_count(1)
    watch.check()


def test_enter_struck_twice_lends_one(page: Page, watch: Watch, owner: Person) -> None:
    """The second Enter comes before the answer to the first, and both reach the service."""
    sign_in(page, "ada")
    page.goto("/bins/B-14/")
    focus_is(page, "count")
    held: list[Route] = []
    page.route(re.compile("/hand-out/"), lambda route: held.append(route))
    page.keyboard.type("1l")
    page.keyboard.press("Enter")
    until(page, lambda: len(held) == 1)
    page.keyboard.press("Enter")
    until(page, lambda: len(held) == 2)
    first, second = held
    first.fetch(max_redirects=0)  # the browser waits for it no longer, and it counts all the same
    second.continue_()
    expect(page.get_by_role("status").first).to_contain_text("1 handed out")
    assert (HandOut.objects.count(), LedgerLine.objects.filter(act="handed_out").count()) == (1, 1)
    watch.check()
