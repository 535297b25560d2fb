"""Every page as it is served, in light and in dark, against the rules of axe for WCAG 2.2 AA."""

from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import URLPattern, URLResolver, get_resolver
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import WholeShop
from tests.browser.every_page import BESIDE, NO_PAGE

pytestmark = pytest.mark.browser
GRAVE = ("serious", "critical")


def names(resolver: URLResolver, prefix: str = "") -> set[str]:
    """The names of all addresses; those without one (the API, the icon) show no page."""
    found = set()
    for one in resolver.url_patterns:
        if isinstance(one, URLResolver):
            found |= names(one, f"{one.app_name}:" if one.app_name else prefix)
        elif isinstance(one, URLPattern) and one.name:
            found.add(prefix + one.name)
    return found


def test_no_page_is_left_out(whole_shop: WholeShop) -> None:
    looked_at = {name.split()[0] for name, _ in whole_shop.pages} - BESIDE
    assert looked_at | set(NO_PAGE) == names(get_resolver())
    assert not looked_at & set(NO_PAGE)


def faults_of(page: Page) -> list[str]:
    """What axe finds grave: rule, place, and what is wrong with it. In the dark nothing is other than the colours."""
    page.emulate_media(color_scheme="light")
    found = Axe().run(page).response["violations"]
    page.emulate_media(color_scheme="dark")
    found += Axe().run(page, options={"runOnly": ["color-contrast"]}).response["violations"]
    return [
        f"{one['id']} ({one['impact']}): {node['html'][:160]} {node['any'][0]['message'] if node['any'] else ''}"
        for one in found
        if one["impact"] in GRAVE
        for node in one["nodes"]
    ]


def test_no_page_has_a_grave_fault(browser: Browser, whole_shop: WholeShop) -> None:
    faults = {}
    for name, path, page in whole_shop.opened(browser, reduced_motion="reduce"):
        assert urlsplit(page.url).path == urlsplit(path).path, f"{name} leads to {page.url}"
        if found := faults_of(page):
            faults[name] = found
    assert faults == {}


def test_nor_has_what_only_a_press_shows(browser: Browser, whole_shop: WholeShop) -> None:
    """A plan of several packs, the grid of a gauge study, and a form that is refused: none of them changes anything."""
    context = browser.new_context(base_url=whole_shop.address, storage_state=whole_shop.sessions["owner"])
    page = context.new_page()
    heading = page.get_by_role("heading", level=1)
    page.goto("/matches/?state=open")
    for row in (0, 1):
        page.locator("[name=match]").nth(row).check()
    page.get_by_role("button", name="Plan these together").click()
    expect(heading).to_contain_text("planned together")
    assert faults_of(page) == []

    page.goto("/gauges/M-1/study/")
    for name, typed in (("people", "rosa, imre"), ("plates", "3"), ("trials", "2")):
        page.locator(f"[name={name}]").fill(typed)
    page.get_by_role("button", name="Begin reading").click()
    expect(page.locator("table.study")).to_be_visible()
    assert faults_of(page) == []

    page.goto("/bins/A-05/")
    page.evaluate("document.querySelector('[action$=\"/count/\"] [name=key]').remove()")
    page.get_by_role("button", name="Count this bin").click()
    expect(page.get_by_text("Nothing was changed.")).to_be_visible()
    assert faults_of(page) == []
    context.close()
