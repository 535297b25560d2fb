"""*Back* to a page that answered a form: it comes without being sent again, with what was typed."""

import pytest
from playwright.sync_api import Page, expect

from plates.bench.models import FinalCheck
from plates.stock.models import HandOut
from shop.people.models import Person
from tests.api import Api
from tests.browser.conftest import Watch
from tests.browser.test_flows import asked
from tests.browser.test_main_job import focus_is, keys, sign_in
from tests.browser.test_preview import owner

pytestmark = pytest.mark.browser
owner = owner


def away_and_back(page: Page) -> None:
    page.get_by_role("link", name="Home").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("What is to be done?")
    page.go_back()


def test_a_refused_form_is_there_again(page: Page, watch: Watch, owner: Person) -> None:
    sign_in(page, "ada")
    page.goto("/bins/B-14/")
    focus_is(page, "count")
    keys(page, "9c")
    expect(page.locator("main")).to_contain_text("not 9")
    away_and_back(page)
    expect(page.get_by_role("heading", level=1)).to_contain_text("B-14")
    expect(page.locator("[name=count]")).to_have_value("9c")
    page.locator("[name=count]").fill("1c")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status").first).to_contain_text("1 handed out")
    assert HandOut.objects.count() == 1
    watch.check()


def test_so_is_a_final_check_half_read(page: Page, watch: Watch, owner: Person) -> None:
    asked(owner, take=True)
    sign_in(page, "ada")
    page.goto("/matches/1/final/")
    for count in (1, 2):
        focus_is(page, "reading")
        keys(page, "53")
        expect(page.locator("[name=reading-kept]")).to_have_count(count)
    away_and_back(page)
    expect(page.locator("[name=reading-kept]")).to_have_count(2)
    focus_is(page, "reading")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).not_to_contain_text("Final")
    assert len(FinalCheck.objects.get().readings) == 2
    watch.check()


def test_so_is_the_grid_of_a_study(page: Page, watch: Watch, owner: Person) -> None:
    assert Api(owner).post("gauges/", {"code": "M-1", "type": "micrometer"}).status == 201
    sign_in(page, "ada")
    page.goto("/gauges/M-1/study/")
    for name, typed in (("people", "ada, ben"), ("plates", "2"), ("trials", "2")):
        page.locator(f"[name={name}]").fill(typed)
    page.get_by_role("button", name="Begin reading").click()
    first = page.locator("table.study input:focus")
    first.type(".0770")
    page.keyboard.press("Enter")
    expect(page.locator("table.study small")).to_have_count(1)
    page.keyboard.type(".0771")
    read = page.locator("table.study input")
    away_and_back(page)
    expect(read.nth(0)).to_have_value(".0770 in")
    expect(read.nth(1)).to_have_value(".0771")
    watch.check()
