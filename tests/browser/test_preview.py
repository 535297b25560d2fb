"""What the shelf would answer, while the form is being filled in; and the time that is left of a hold."""

import re

import pytest
from playwright.sync_api import Page, Route, expect

from shop.people.models import Person, Shop
from shop.people.services import shop_open
from tests.api import Api
from tests.browser.conftest import Watch, until
from tests.browser.test_main_job import PASSWORD, focus_is, keys, sign_in
from tests.factories import BinFactory, FitFactory, KindFactory, pack, shelve
from tests.shelves import question

pytestmark = pytest.mark.browser
AT = "/close-a-pack/PACK/"


@pytest.fixture
def owner(site: str) -> Person:
    ada = shop_open(name="Corner Gearbox", owner="ada", password=PASSWORD)
    steels = FitFactory.create(shop=ada.shop, code="DRUM", tooth_side="external")
    pack(ada, steels, FitFactory.create(shop=ada.shop, code="HUB"))
    BinFactory.create(fit=steels, code="B-14")
    shelve(ada, KindFactory.create(fit=steels, code="STEEL-77"), "0.0771 in", "0.0771 in", "0.0768 in")
    return ada


def test_the_answer_so_far_stands_until_the_next_one_is_there(page: Page, watch: Watch, owner: Person) -> None:
    sign_in(page, "ada")
    page.goto(AT)
    focus_is(page, "reading")
    keys(page, "74")
    so_far, preview = page.locator("#so-far"), page.locator("#preview")
    expect(so_far).to_contain_text("Loose: ")
    expect(preview).to_contain_text("0.0740 in")
    held: list[Route] = []
    page.route(re.compile("/preview/"), lambda route: held.append(route), times=1)
    focus_is(page, "reading")
    keys(page, "76")
    expect(page.locator("[name=reading-kept]")).to_have_count(2)
    until(page, lambda: held)
    expect(so_far).to_contain_text("Loose: ")  # of the first reading, while the second is under way
    expect(preview).to_contain_text("0.0740 in")
    held[0].continue_()
    page.unroute(re.compile("/preview/"))
    expect(preview).to_contain_text("0.0750 in")
    watch.check()


def test_on_a_phone_the_answer_stands_at_the_readings(page: Page, watch: Watch, owner: Person) -> None:
    sign_in(page, "ada")
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(AT)
    focus_is(page, "reading")
    keys(page, "74")
    expect(page.locator("#so-far")).to_contain_text("Loose: ")
    field, said, details = (page.locator(one).bounding_box() for one in ("#id_reading", "#so-far", "#preview"))
    assert field and said and details
    assert field["y"] < said["y"] < field["y"] + 300 and details["y"] > said["y"]
    expect(page.locator("#so-far")).to_be_in_viewport()
    watch.check()


def test_the_time_left_of_a_hold_ticks_by_the_clock_of_the_service(page: Page, watch: Watch, owner: Person) -> None:
    Shop.objects.update(lock_minutes=480)  # or the page would lock itself first
    api = Api(owner)
    match = api.post("matches/", question("0.0740 in", ["0.0700 in"] * 5)).body
    assert api.post(f"matches/{match['id']}/hold/", {"option": match["options"][0]["number"]}).status == 200
    sign_in(page, "ada")
    page.clock.install(time="2001-02-03T04:05:06")  # this machine's clock is off, and does not matter
    page.goto("/matches/1/")
    left = page.locator("time[data-now]")
    expect(left).to_have_text(re.compile(r"\d+ (h|min)"))
    hours = re.compile(r"(?:(\d+) h )?(\d+) min")

    def minutes() -> int:
        found = hours.search(left.inner_text())
        assert found, left.inner_text()
        return int(found[1] or 0) * 60 + int(found[2])

    before = minutes()
    page.clock.run_for(180_000)
    assert minutes() in (before - 3, before - 4)
    page.clock.run_for(before * 60_000)
    expect(left).to_have_text("none: it ran out, load the page again")
