"""A lost line loses no scan and books none twice: in a real browser, against the service as it is served."""

import re
from pathlib import Path

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import Browser, Page, Route, expect

from plates.stock.models import Plate
from shop.people.models import Person, Role
from shop.people.services import shop_open
from tests.browser.conftest import Watch, until
from tests.browser.test_main_job import PASSWORD, focus_is, keys, sign_in
from tests.conftest import Urls
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory
from tests.service import free_port, serving

pytestmark = pytest.mark.browser
AT = "/scan-in/kind/STEEL-77/"
LIST = "#kept li"


def counter() -> Person:
    """A shop with one kind, whose plates go into B-14."""
    owner = shop_open(name="Corner Gearbox", owner="ada", password=PASSWORD)
    steels = FitFactory.create(shop=owner.shop, code="DRUM", tooth_side="external")
    BinFactory.create(fit=steels, code="B-14")
    KindFactory.create(fit=steels, code="STEEL-77")
    bea = PersonFactory.create(shop=owner.shop, username="bea", role=Role.COUNTER)
    bea.set_password(PASSWORD)
    bea.save()
    return owner


@pytest.fixture
def owner(site: str) -> Person:
    return counter()


def booked() -> list[int]:
    """Thicknesses in nanometres, in the order in which they were booked."""
    return list(Plate.objects.order_by("received_at").values_list("thickness_nm", flat=True))


def scanning(page: Page, name: str = "ada") -> None:
    sign_in(page, name)
    page.goto(AT)
    focus_is(page, "reading")


def lost(page: Page, readings: list[str]) -> None:
    """Scan while the line is lost: each is kept, and the field is ready again."""
    for reading in readings:
        before = page.locator(LIST).count()
        keys(page, reading)
        expect(page.locator(LIST)).to_have_count(before + 1)
        focus_is(page, "reading")
        expect(page.locator("[name=reading]:focus")).to_have_value("")


def test_a_lost_line_keeps_each_scan_and_tells_its_bin_when_it_is_back(page: Page, owner: Person) -> None:
    scanning(page)
    keys(page, ".0771")
    expect(page.locator("#tally")).to_have_text("This batch: 1")
    page.context.set_offline(True)
    lost(page, [".0769", ".0991", ".0770"])
    expect(page.locator("#kept h2")).to_have_text("Not yet sent: 3")
    expect(page.locator(".answer")).to_contain_text("lay it aside")
    expect(page.locator(".answer .bin")).to_have_text("3")
    expect(page.locator("#trouble")).to_be_hidden()
    # A label means nothing without the service: it is not taken for a reading, and stays in the field.
    keys(page, "STEEL-87")
    expect(page.locator("#trouble")).to_contain_text("A label needs the line")
    expect(page.locator(LIST)).to_have_count(3)
    page.locator("[name=reading]").first.fill("")

    page.context.set_offline(False)
    expect(page.locator(f"{LIST}.booked")).to_have_count(2)
    expect(page.locator(f"{LIST} b")).to_have_text(["B-14", "B-14"])
    refused = page.locator(f"{LIST}.refused")
    expect(refused).to_contain_text("Not booked. 0.0991 in (2.517 mm) is not within")
    expect(page.locator("#tally")).to_have_text("This batch: 3")
    assert booked() == [1_958_340, 1_953_260, 1_955_800]
    refused.get_by_role("button", name="Book .0991 in as it is").click()
    expect(page.locator(f"{LIST} b")).to_have_text(["B-14", "no bin", "B-14"])
    page.get_by_role("button", name="They lie there").click()
    expect(page.locator("#kept")).to_be_hidden()
    keys(page, ".0772")
    expect(page.locator("#tally")).to_have_text("This batch: 5")
    assert len(booked()) == 5


def test_a_scan_not_yet_sent_is_left_out_by_one_key(page: Page, owner: Person) -> None:
    scanning(page)
    page.context.set_offline(True)
    lost(page, [".0769", ".0770"])
    page.keyboard.press("Escape")
    expect(page.locator(LIST)).to_have_count(1)
    focus_is(page, "reading")
    page.context.set_offline(False)
    expect(page.locator(f"{LIST}.booked")).to_have_count(1)
    assert booked() == [1_953_260]


def test_an_answer_that_is_lost_after_the_booking_is_told_again_and_books_once(page: Page, owner: Person) -> None:
    scanning(page)

    def swallow(route: Route) -> None:
        if route.request.method == "POST":
            route.fetch()
            route.abort()
            page.unroute(re.compile(AT), swallow)
        else:
            route.continue_()

    page.route(re.compile(AT), swallow)
    keys(page, ".0771")
    expect(page.locator(f"{LIST}.booked b")).to_have_text("B-14")
    expect(page.locator("#tally")).to_have_text("This batch: 1")
    assert booked() == [1_958_340]


def test_a_service_that_goes_down_and_comes_up_again(browser: Browser, fresh_db: Urls, tmp_path: Path) -> None:
    """The page is loaded anew in between, so what was kept is all that there is."""
    port = free_port()
    page = browser.new_context(base_url=f"http://127.0.0.1:{port}").new_page()
    with serving(fresh_db, tmp_path / "data", port=port):
        counter()
        scanning(page)
    lost(page, [".0769", ".0770"])
    with serving(fresh_db, tmp_path / "data", port=port):
        page.goto("/")
        expect(page.locator(f"{LIST} b")).to_have_text(["B-14", "B-14"])
    page.context.close()
    assert booked() == [1_953_260, 1_955_800]


def test_what_one_person_typed_waits_for_that_person(page: Page, owner: Person) -> None:
    """The session ends in the middle of a scan; another one comes to the terminal, then the first is back."""
    scanning(page)
    page.locator("[name=reading]").first.evaluate("field => { field.value = '.0771'; }")
    Session.objects.all().delete()
    page.keyboard.press("Enter")
    focus_is(page, "username")
    assert booked() == []
    sign_in(page, "bea")
    expect(page.locator("#kept")).to_contain_text("Not yet sent: 1 of ada. Kept here until ada signs in again.")
    page.goto(AT)
    focus_is(page, "reading")
    keys(page, ".0769")
    expect(page.locator("#tally")).to_have_text("This batch: 1")
    assert booked() == [1_953_260]
    page.get_by_role("button", name="Change person").click()
    focus_is(page, "username")
    page.keyboard.type("ada")
    page.keyboard.press("Tab")
    keys(page, PASSWORD)
    expect(page.locator(f"{LIST} b")).to_have_text(["B-14"])
    first = Plate.objects.get(thickness_nm=1_958_340)
    assert first.lines.get().person == owner


def test_a_page_left_open_never_books_for_who_signed_in_since(page: Page, owner: Person) -> None:
    scanning(page)
    other = page.context.new_page()
    Session.objects.all().delete()
    sign_in(other, "bea")
    keys(page, ".0771")
    expect(page.locator("#kept")).to_contain_text("Not yet sent: 1")
    expect(page.locator("#kept")).to_contain_text("Load it again")
    assert booked() == []
    page.reload()
    expect(page.locator("#kept")).to_contain_text("1 of ada")


def test_plates_read_faster_than_the_service_answers_are_all_booked(page: Page, owner: Person) -> None:
    """The second is read, twice Enter, while the first is under way; the third is half typed as its answer comes."""
    scanning(page)
    held: list[Route] = []
    page.route(re.compile(AT), lambda route: held.append(route), times=1)
    keys(page, ".0771")
    keys(page, ".0769")
    page.keyboard.press("Enter")
    page.keyboard.type(".07")
    expect(page.locator("[name=reading]:focus")).to_have_value(".07")
    until(page, lambda: held)
    held[0].continue_()
    expect(page.locator(f"{LIST}.booked")).to_have_count(1)
    expect(page.locator("#tally")).to_have_text("This batch: 2")
    focus_is(page, "reading")
    keys(page, "70")
    expect(page.locator("#tally")).to_have_text("This batch: 3")
    assert booked() == [1_958_340, 1_953_260, 1_955_800]


def test_back_and_a_second_enter_book_nothing_more(page: Page, watch: Watch, owner: Person) -> None:
    scanning(page)
    keys(page, ".0771")
    page.keyboard.press("Enter")
    expect(page.locator("#tally")).to_have_text("This batch: 1")
    page.get_by_role("link", name="Home", exact=True).click()
    page.go_back()
    expect(page.locator("#tally")).to_have_text("This batch: 1")
    focus_is(page, "reading")
    keys(page, ".0769")
    expect(page.locator("#tally")).to_have_text("This batch: 2")
    assert len(booked()) == 2
    watch.check()
