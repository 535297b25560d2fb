"""The pictures of the README: the demo shop at the counter, in the installed Chromium.

By hand: python -m tests.pictures [--only NAME ...] [--to DIRECTORY]

The demo is the same shop every time, loaded up to now, so that only dates and what hangs on them change from one run to
the next. What is pressed is found as a person finds it, by its role and its words; each scene stands by itself.
"""

import argparse
import io
import re
import shutil
import tempfile
from collections.abc import Callable, Collection
from pathlib import Path
from typing import Any, NamedTuple

from PIL import Image
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.benchmarks.shops import database, server

FOLDER = Path(__file__).resolve().parents[1] / "fixtures" / "pictures"
PASSWORD = "thin oil and clean rags"
DESK, PHONE = {"width": 1280, "height": 800}, {"width": 390, "height": 844}
#: A page has few colours and their shades; a palette of so many makes a picture a third as large.
COLOURS = 64


def typed(page: Page, text: str) -> None:
    """What a hand or a micrometer types into the field for a reading, once that has the focus."""
    page.wait_for_function("document.activeElement.name === 'reading'")
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def top(page: Page, role: Any, name: str | re.Pattern[str] = re.compile("")) -> None:
    """Scroll until the first of these stands at the upper edge."""
    page.get_by_role(role, name=name).first.evaluate("one => one.scrollIntoView({behavior: 'instant'})")


def scan_in(page: Page) -> None:
    page.goto("/scan-in/kind/QUERN-STEEL-0770/")
    for count, reading in enumerate((".0771", ".0768", ".0770"), start=1):
        typed(page, reading)
        expect(page.get_by_role("heading", name=f"This batch: {count}")).to_be_visible()


def options(page: Page, job: str = "J-2131") -> None:
    page.goto("/close-a-pack/QUERN-DIRECT/")
    typed(page, "74 .0745 .0735")
    stack = page.get_by_label("Thickness of each one in the pack").first
    expect(stack).to_be_focused()
    stack.fill(".0698 .0699 .0700 .0701 .0702")
    page.get_by_label("Job").fill(job)
    page.get_by_role("button", name="Ask the shelf").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("QUERN-DIRECT is loose")
    top(page, "article")


def slip(page: Page) -> None:
    """Taken, and the first of its plates read at the bin."""
    options(page, job="J-2132")
    page.get_by_role("button", name="Take", exact=True).first.click()
    page.get_by_role("link", name="Slip: what to fetch").click()
    left = page.get_by_role("heading", name="Read each as it leaves its bin")
    before = left.inner_text()
    on_record = re.search(r"from .*?(0\.\d{4}) in", page.get_by_role("main").inner_text(), re.DOTALL)
    assert on_record, "the slip names no plate in inches"
    typed(page, on_record[1])
    expect(left).not_to_have_text(before)
    top(page, "heading", "Read each as it leaves its bin")


def not_it(page: Page) -> None:
    """Taken, and at the bin a plate read that is none of those."""
    options(page, job="J-2133")
    page.get_by_role("button", name="Take", exact=True).first.click()
    page.get_by_role("link", name="Slip: what to fetch").click()
    typed(page, ".0860")
    expect(page.locator("#mismatch")).to_contain_text("is not it")
    top(page, "heading", "Read each as it leaves its bin")


def not_booked(page: Page) -> None:
    page.goto("/scan-in/kind/QUERN-STEEL-0770/")
    typed(page, "1.655")
    expect(page.locator("#doubt")).to_contain_text("Not booked.")


def line_lost(page: Page) -> None:
    page.goto("/scan-in/kind/QUERN-STEEL-0770/")
    page.context.set_offline(True)
    for count, reading in enumerate((".0770", ".0771"), start=1):
        typed(page, reading)
        expect(page.get_by_role("heading", name=f"Not yet sent: {count}")).to_be_visible()
    top(page, "heading", "Not yet sent")


def telephone(page: Page) -> None:
    page.goto("/close-a-pack/QUERN-DIRECT/")
    typed(page, "130 130 130")
    expect(page.get_by_label("Thickness of each one in the pack").first).to_be_focused()
    page.get_by_label("Job").fill("J-2134")
    page.get_by_role("button", name="Ask the shelf").click()
    expect(page.get_by_role("heading", name="On the telephone")).to_be_visible()
    top(page, "heading", "The shelf cannot close it")


def buying(page: Page) -> None:
    page.goto("/buying/")
    expect(page.get_by_role("button", name="Draft an order").first).to_be_visible()


def gauge(page: Page) -> None:
    """Its check found an error, and nothing is decided yet."""
    page.goto("/gauges/M-1/")
    page.get_by_role("textbox", name="Standard").fill("0.5 in")
    page.get_by_role("textbox", name="The gauge shows").fill(".5012 .5012")
    page.get_by_role("button", name="Check", exact=True).click()
    expect(page.get_by_role("button", name="Nothing yet")).to_be_visible()


def build_sheet(page: Page) -> None:
    page.goto("/jobs/J-2112/")
    page.get_by_role("link", name=re.compile(r"^Match \d")).first.click()
    page.get_by_role("link", name="Build sheet").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Build sheet")
    top(page, "heading", re.compile("Build sheet"))


def shelf(page: Page) -> None:
    page.goto("/shelf/?role=steel")
    expect(page.get_by_role("heading", name=re.compile("^Steel,")).first).to_be_visible()
    top(page, "heading", re.compile("^Steel,"))


def benches(page: Page) -> None:
    page.goto("/benches/")
    expect(page.get_by_role("heading", level=1)).to_have_text("On the benches")
    top(page, "heading", "On the benches")


class Scene(NamedTuple):
    act: Callable[[Page], None]
    size: Any
    scheme: Any = "light"
    person: str = "rosa"


SCENES = {
    "scan-in": Scene(scan_in, DESK),
    "options": Scene(options, DESK),
    "slip": Scene(slip, PHONE),
    "build-sheet": Scene(build_sheet, DESK),
    "shelf": Scene(shelf, DESK, "dark"),
    "benches": Scene(benches, PHONE),
    "not-booked": Scene(not_booked, DESK),
    "line-lost": Scene(line_lost, PHONE),
    "telephone": Scene(telephone, DESK),
    "not-it": Scene(not_it, PHONE),
    "buying": Scene(buying, DESK, person="odile"),
    "gauge": Scene(gauge, DESK),
}


def take(browser: Browser, site: str, folder: Path, names: Collection[str] = tuple(SCENES)) -> None:
    """Take the pictures of this demo shop, whose people have :data:`PASSWORD`, into ``folder``."""
    states: dict[str, Any] = {}
    for name in names:
        act, size, scheme, person = SCENES[name]
        context = browser.new_context(
            base_url=site, viewport=size, color_scheme=scheme, reduced_motion="reduce", storage_state=states.get(person)
        )
        page = context.new_page()
        if person not in states:
            page.goto("/sign-in/")
            page.get_by_label("Name").fill(person)
            page.get_by_label("Password").fill(PASSWORD)
            page.get_by_role("button", name="Sign in").click()
            expect(page.get_by_role("heading", level=1)).to_have_text("What is to be done?")
            states[person] = context.storage_state()
        act(page)
        picture = Image.open(io.BytesIO(page.screenshot(animations="disabled")))
        picture.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(folder / f"{name}.png", optimize=True)
        context.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--only", nargs="+", choices=SCENES, default=tuple(SCENES), metavar="NAME", help=", ".join(SCENES)
    )
    parser.add_argument("--to", type=Path, default=FOLDER)
    asked = parser.parse_args()
    with server() as urls, database(urls, "pictures") as own, tempfile.TemporaryDirectory() as data_dir:
        from django.utils import timezone

        from shop.demo import demo_load, passwords_set
        from tests.browser.conftest import ARGS, NAMES
        from tests.service import serving

        passwords_set(demo_load(timezone.now()), PASSWORD)
        with serving(own, Path(data_dir)) as service, sync_playwright() as playwright:
            installed = next(filter(None, map(shutil.which, NAMES)), None)
            browser = playwright.chromium.launch(executable_path=installed, args=ARGS)
            take(browser, service.address, asked.to, asked.only)


if __name__ == "__main__":
    main()
