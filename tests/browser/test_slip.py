"""The slip in a real browser: one press of the micrometer a plate, one key for each that came out."""

import re

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import Page, expect

from plates.bench.models import Match
from plates.catalogue.models import Kind
from shop.people.models import Person
from shop.people.services import shop_open
from tests.api import Api
from tests.browser.conftest import Watch
from tests.browser.test_main_job import PASSWORD, focus_is, keys, sign_in
from tests.factories import BinFactory, FitFactory, KindFactory, pack, shelve
from tests.shelves import question

pytestmark = pytest.mark.browser


@pytest.fixture
def owner(site: str) -> Person:
    """Two were taken for a pack: .0720 + 2 × .0670 - .0771 - .0768 = .0521."""
    ada = shop_open(name="Corner Gearbox", owner="ada", password=PASSWORD)
    steels = FitFactory.create(shop=ada.shop, code="DRUM", tooth_side="external")
    pack(ada, steels, FitFactory.create(shop=ada.shop, code="HUB"))
    BinFactory.create(fit=steels, code="B-14")
    kind: Kind = KindFactory.create(fit=steels, code="STEEL-77")
    shelve(ada, kind, "0.0771 in", "0.0768 in")
    api = Api(ada)
    match = api.post("matches/", question("0.0720 in", ["0.0670 in"] * 5)).body
    number = next(option["number"] for option in match["options"] if option["changes"] == 2)
    assert api.post(f"matches/{match['id']}/take/", {"option": number}).status == 200
    return ada


def test_the_slip_by_keyboard_alone(page: Page, watch: Watch, owner: Person) -> None:
    sign_in(page, "ada")
    page.goto("/matches/1/slip/")
    focus_is(page, "reading")
    keys(page, ".0772")
    expect(page.locator(".ticks .done")).to_have_count(1)
    focus_is(page, "reading")
    # A letter in the field is part of a reading and decides nothing.
    keys(page, "s")
    expect(page.locator("#pull .error")).to_have_count(1)
    focus_is(page, "reading")
    page.locator("#id_reading").fill("")
    keys(page, ".0790")
    expect(page.locator("#mismatch")).to_contain_text("is not it")
    focus_is(page, "reading")
    keys(page, ".0768")
    expect(page.locator(".ticks .done")).to_have_count(2)
    expect(page.locator(".predicted")).to_contain_text("0.0520 in")

    # The focus is on what came out now: a stray Enter does nothing, one letter decides.
    expect(page.locator(".came-out:focus")).to_have_count(1)
    page.keyboard.press("Enter")
    page.keyboard.press("j")
    expect(page.locator(".came-out")).to_contain_text("stays with the job")
    expect(page.locator("[data-fates]")).to_have_count(1)
    page.keyboard.press("x")
    expect(page.locator(".came-out")).to_contain_text("to scrap")
    expect(page.locator("[data-fates]")).to_have_count(0)
    assert [one["fate"] for one in Match.objects.get().outs] == ["job", "scrap"]


@pytest.mark.parametrize("gone", ["session", "cookies"])
def test_where_the_session_is_gone_the_sign_in_comes_up(page: Page, watch: Watch, owner: Person, gone: str) -> None:
    """It ran out, or the browser forgot it, and with it the token of the form."""
    sign_in(page, "ada")
    page.goto("/matches/1/slip/")
    focus_is(page, "reading")
    page.locator("#id_reading").evaluate("field => { field.value = '.0772'; }")  # no echo is asked for on the way
    if gone == "session":
        Session.objects.all().delete()
    else:
        page.context.clear_cookies()
    page.keyboard.press("Enter")
    focus_is(page, "username")
    expect(page).to_have_url(re.compile(r"/sign-in/\?next=%2Fmatches%2F1%2Fslip%2F$"))
    assert not any(row.get("pulled") for row in Match.objects.get().slip)
    watch.check()


def test_what_a_fate_is_refused_for_has_the_focus(page: Page, watch: Watch, owner: Person) -> None:
    sign_in(page, "ada")
    page.goto("/matches/1/slip/?at=outs")
    row = page.locator("[data-fates]").first
    row.locator("summary").click()
    row.locator("[name=to_job]").fill("J-9")
    row.get_by_role("button", name="Scrap").click()
    expect(page.locator("[data-fates] .error")).to_contain_text("is the job of another pack")
    focus_is(page, "to_job")
    expect(page.locator("[name=to_job]:focus")).to_be_visible()
    watch.check()
