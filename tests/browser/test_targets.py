"""Every page on a telephone and on the counter's screen: large enough to hit with oily hands, and never wider."""

from typing import Any

import pytest
from playwright.sync_api import Browser

from tests.browser.conftest import WholeShop

pytestmark = pytest.mark.browser
#: The house's measure in CSS pixels; WCAG 2.2 AA asks for 24 (success criterion 2.5.8).
LEAST = 44

#: What can be pressed, and is smaller. A box is as large as the label around it. A link in a sentence is exempt, as in
#: the criterion: it is laid out inline, and the block around it has words beside its links. What lies off the screen
#: until it has the focus (the skip link) or for ever (the button that Enter presses) is not there to be hit.
SMALL = """(least) => {
  const inSentence = (one) => {
    if (!one.matches("a") || getComputedStyle(one).display !== "inline") return false;
    let block = one.parentElement;
    while (getComputedStyle(block).display.startsWith("inline")) block = block.parentElement;
    const rest = block.cloneNode(true);
    rest.querySelectorAll("a, button").forEach((link) => link.remove());
    return /[\\p{L}\\p{N}]/u.test(rest.textContent);
  };
  const seen = (one) => one.checkVisibility() && one.getBoundingClientRect().right > 0;
  return [...document.querySelectorAll("a, button, input:not([type=hidden]), select, textarea, summary")]
    .filter(seen)
    .filter((one) => !inSentence(one))
    .map((one) => (one.matches("[type=checkbox], [type=radio]") && one.closest("label")) || one)
    .map((one) => ({ html: one.outerHTML.slice(0, 120), box: one.getBoundingClientRect() }))
    .filter(({ box }) => box.width < least - 0.01 || box.height < least - 0.01)
    .map(({ html, box }) => `${box.width.toFixed(1)} x ${box.height.toFixed(1)}: ${html}`);
}"""


@pytest.mark.parametrize("size", [(390, 844), (1280, 800)], ids=["telephone", "counter"])
def test_targets_are_large_and_no_page_runs_off_the_screen(
    browser: Browser, whole_shop: WholeShop, size: tuple[int, int]
) -> None:
    faults: dict[str, Any] = {}
    wide, high = size
    for name, _, page in whole_shop.opened(browser, viewport={"width": wide, "height": high}):
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true })")
        if small := page.evaluate(SMALL, LEAST):
            faults[name] = small
        if (runs := page.evaluate("document.scrollingElement.scrollWidth")) > wide:
            faults[f"{name}, wide"] = runs
    assert faults == {}
