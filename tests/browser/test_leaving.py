"""What the browser keeps, and where: nothing of a badge in an address, nothing of the pages after a sign-out."""

from typing import Any

import pytest
from playwright.sync_api import Page, expect

from shop.people.badges import badge_make
from shop.people.models import Person
from tests.browser.conftest import Watch
from tests.browser.test_main_job import bench, sign_in

pytestmark = pytest.mark.browser
bench = bench


@pytest.mark.parametrize("path", ["/find/", "/kinds/", "/scan-in/", "/scan-in/kind/STEEL-77/"])
def test_a_badge_scanned_into_a_search_or_a_reading_leaves_the_page_in_no_address(
    page: Page, watch: Watch, bench: Person, path: str
) -> None:
    """The last is no search: what is typed there is shown in both units while it is typed."""
    badge, asked = badge_make(person=bench, username="ada"), list[str]()
    sign_in(page, "ada")
    page.goto(path)
    page.on("request", lambda request: asked.append(request.url))
    page.wait_for_function("document.activeElement.matches('input')")  # else the first letters go nowhere
    page.keyboard.type(badge, delay=5)
    page.wait_for_timeout(400)  # longer than the wait of the echo, which must not ask
    page.wait_for_load_state("networkidle")  # of the first letters, typed slowly, a page may ask
    page.keyboard.press("Enter")
    if path.startswith("/scan-in/kind/"):
        expect(page.get_by_role("alert").first).to_be_visible()
    else:
        expect(page.get_by_role("alert").first).to_contain_text("That was a badge")
        assert page.url.endswith("/find/?badge")
    assert asked and not [url for url in asked if badge[3:] in url]
    watch.check()


def test_whoever_signs_out_leaves_nothing_half_typed_in_the_tab(page: Page, watch: Watch, bench: Person) -> None:
    """The scans that wait for the line stay: they are in the browser's storage on purpose."""
    sign_in(page, "ada")
    page.goto("/add/bin/")
    page.get_by_label("Bin").fill("C-2")
    page.evaluate("document.dispatchEvent(new Event('keep-typed')); localStorage.setItem('waits', '1')")
    assert "C-2" in page.evaluate("sessionStorage.getItem('typed')")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    assert page.evaluate("[sessionStorage.getItem('typed'), localStorage.getItem('waits')]") == [None, "1"]
    watch.check()


def out_of_cache(page: Page) -> bool:
    """Whether another tab that opens the door finds its styles in the cache of the browser."""
    tab, found = page.context.new_page(), dict[str, bool]()
    devtools = page.context.new_cdp_session(tab)
    devtools.on("Network.responseReceived", lambda got: found.update(_kept(got["response"])))
    devtools.send("Network.enable")
    tab.goto("/sign-in/")
    tab.close()
    return next(kept for url, kept in found.items() if url.endswith("counter.css"))


def _kept(response: dict[str, Any]) -> dict[str, bool]:
    return {response["url"]: bool(response.get("fromDiskCache"))}


def test_a_sign_out_clears_the_cache_of_the_browser(page: Page, bench: Person) -> None:
    """Over loopback, too. What a tab that stays open has in memory of styles and scripts, it keeps."""
    sign_in(page, "ada")
    page.get_by_role("button", name="Change person").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    assert out_of_cache(page)
    sign_in(page, "ada")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    assert not out_of_cache(page)
