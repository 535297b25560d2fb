"""*Find* by keyboard and scanner alone: what a scanner sends is keys and Enter."""

import re

import pytest
from playwright.sync_api import Page, expect

from plates.scan_codes import scan_format
from shop.people.models import Person
from shop.people.services import shop_open
from tests.api import Api
from tests.browser.conftest import Watch
from tests.browser.test_main_job import PASSWORD, focus_is, keys, sign_in
from tests.factories import BinFactory
from tests.finding.conftest import done
from tests.shelves import shelf_of

pytestmark = pytest.mark.browser


@pytest.fixture
def shop(site: str) -> Person:
    owner = shop_open(name="Corner Gearbox", owner="ada", password=PASSWORD)
    shelf = shelf_of(owner, 6)
    BinFactory.create(fit=shelf.steels, code="B-14", from_nm=2_200_000, to_nm=2_400_000)
    shelf.stock("0.0870 in", "0.0870 in", "0.0871 in")
    done(Api(owner), "J-1182", "hold")
    return owner


def test_a_scan_leads_to_what_is_promised_and_to_the_file_of_the_job(page: Page, watch: Watch, shop: Person) -> None:
    sign_in(page, "ada")
    keys(page, scan_format("bin", "B-14"))  # no field has the focus: the scan alone is enough
    expect(page.locator(".promised")).to_contain_text("3 here, 2 promised: job J-1182, ada, till ")
    page.keyboard.press("F4")
    focus_is(page, "q")
    keys(page, scan_format("job", "J-1182"))
    expect(page.get_by_role("heading", level=1)).to_have_text("Job J-1182")
    expect(page.locator(".job-file")).to_contain_text("2 plates held until")
    page.keyboard.press("F4")
    focus_is(page, "q")
    keys(page, "xyzzy")
    expect(page.get_by_role("alert").first).to_contain_text("Nothing goes by “xyzzy”.")
    focus_is(page, "q")
    keys(page, ".0870")  # what was sought is selected: the next takes its place
    expect(page.get_by_role("heading", name="Plates of")).to_contain_text("0.0870 in (2.210 mm)")
    watch.check()


def test_a_percent_typed_into_a_field_is_no_scan(page: Page, watch: Watch, shop: Person) -> None:
    sign_in(page, "ada")
    page.goto("/kinds/")
    focus_is(page, "find")
    keys(page, scan_format("bin", "B-14"))
    expect(page).to_have_url(re.compile(r"/kinds/\?find="))
    page.goto("/jobs/J-1182/")
    page.keyboard.type("%B")
    keys(page, "-14")
    expect(page.locator("#q")).to_have_value("%B-14")
    expect(page.get_by_role("alert").first).to_contain_text("half of it was read")
    watch.check()
