"""Every page as it is served, in light and in dark, against the rules of axe for WCAG 2.2 AA."""

from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import URLPattern, URLResolver, get_resolver
from playwright.sync_api import Browser, Page

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


def violations(page: Page) -> list[str]:
    """What axe finds grave on this page: rule, place, and what is wrong with it."""
    found = Axe().run(page).response["violations"]
    return [
        f"{one['id']} ({one['impact']}): {node['html'][:160]} {node['any'][0]['message'] if node['any'] else ''}"
        for one in found
        if one["impact"] in GRAVE
        for node in one["nodes"]
    ]


def test_no_page_has_a_grave_fault(browser: Browser, whole_shop: WholeShop) -> None:
    faults = {}
    for name, path, page in whole_shop.opened(browser):
        assert urlsplit(page.url).path == urlsplit(path).path, f"{name} leads to {page.url}"
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            if found := violations(page):
                faults[f"{name}, {scheme}"] = found
    assert faults == {}
