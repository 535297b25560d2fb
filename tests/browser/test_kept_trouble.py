"""Scans that were kept, when more goes wrong than the line: the service fails on one, the store is full, two tabs."""

import re

import pytest
from playwright.sync_api import Page, Request, Route, expect

from plates.catalogue.models import Kind
from shop.people.models import Person
from tests.browser.conftest import Watch, until
from tests.browser.test_kept_scans import AT, LIST, booked, counter, lost, scanning
from tests.browser.test_main_job import focus_is, keys

pytestmark = pytest.mark.browser
READ = [".0769", ".0771", ".0770"]
READ_NM = [1_953_260, 1_958_340, 1_955_800]
FILL = """() => {
  for (let size = 1 << 22; size; size >>= 1) {
    try { for (;;) localStorage.setItem(`fill${localStorage.length}`, "x".repeat(size)); } catch { }
  }
}"""
FREE = "() => Object.keys(localStorage).filter((id) => /^fill/.test(id)).forEach((id) => localStorage.removeItem(id))"


@pytest.fixture
def owner(site: str) -> Person:
    return counter()


def time_passes(page: Page) -> None:
    """Enough of it for whatever is sent again by itself, and for that to be seen here: this asks later."""
    page.clock.run_for(4000)
    page.evaluate("fetch('/healthz').then((answer) => answer.status)")


def failing(page: Page, reading: str, status: int) -> list[str]:
    """Answer scans of this reading with the status, and any other by the service. Returns the bodies that came."""
    came: list[str] = []

    def answer(route: Route) -> None:
        body = route.request.post_data or ""
        if route.request.method == "POST" and f"reading={reading}&" in body:
            came.append(body)
            route.fulfill(status=status, content_type="text/html", body="<h1>No</h1>")
        else:
            route.continue_()

    page.route(re.compile(AT), answer)
    return came


def test_one_that_the_service_fails_on_lets_the_others_go_on(page: Page, owner: Person) -> None:
    page.clock.install()
    scanning(page)
    came = failing(page, ".0771", 500)
    page.context.set_offline(True)
    lost(page, READ)
    page.context.set_offline(False)
    expect(page.locator(f"{LIST}.booked")).to_have_count(2)
    failed = page.locator(f"{LIST}.failed")
    expect(failed).to_contain_text("The service failed on this one, the others go on.")
    assert booked() == [READ_NM[0], READ_NM[2]]
    time_passes(page)  # it is not sent again and again by itself
    assert len(came) == 1
    failed.get_by_role("button", name="Try again").click()
    expect(failed).to_have_count(1)
    assert len(came) == 2
    page.unroute(re.compile(AT))
    page.reload()  # the next page tries again by itself
    expect(page.locator(f"{LIST}.booked")).to_have_count(3)
    assert sorted(booked()) == sorted(READ_NM)
    first, second = (re.search(r"key=([^&]+)", body) for body in came)
    assert first and second and first[1] == second[1]


def test_what_was_booked_although_the_service_failed_is_not_booked_again(page: Page, owner: Person) -> None:
    scanning(page)

    def swallow(route: Route) -> None:
        if route.request.method == "POST":
            route.fetch()
            route.fulfill(status=500, content_type="text/html", body="<h1>No</h1>")
        else:
            route.continue_()

    page.route(re.compile(AT), swallow)
    keys(page, ".0771")
    failed = page.locator(f"{LIST}.failed")
    expect(failed).to_contain_text("sent again, it counts once")
    page.unroute(re.compile(AT))
    failed.get_by_role("button", name="Try again").click()
    expect(page.locator(f"{LIST}.booked b")).to_have_text("B-14")
    assert booked() == [READ_NM[1]]


def test_one_put_aside_stays_until_a_person_says_that_it_is_done(page: Page, owner: Person) -> None:
    scanning(page)
    page.context.set_offline(True)
    lost(page, READ[:2])
    Kind.objects.update(code="STEEL-78")  # nobody answers to the old code
    page.context.set_offline(False)
    failed = page.locator(f"{LIST}.failed")
    expect(failed).to_have_count(2)
    failed.first.get_by_role("button", name="Put it aside").click()
    aside = page.locator(f"{LIST}.aside")
    expect(aside).to_contain_text("Put aside, with this written on it")
    page.goto("/")
    expect(aside).to_contain_text(".0769 · STEEL-77")
    aside.get_by_role("button", name="That is done").click()
    expect(page.locator(LIST)).to_have_count(1)
    assert booked() == []


@pytest.mark.parametrize(("status", "kind"), [(503, "text/html"), (409, "application/json")])
def test_a_service_that_is_down_or_busy_is_waited_for(page: Page, owner: Person, status: int, kind: str) -> None:
    scanning(page)
    page.context.set_offline(True)
    lost(page, READ)
    answers = [status]

    def answer(route: Route) -> None:
        if route.request.method == "POST" and answers:
            route.fulfill(status=answers.pop(), content_type=kind, body='{"code": "busy", "detail": "Busy."}')
        else:
            route.continue_()

    page.route(re.compile(AT), answer)
    page.context.set_offline(False)
    expect(page.locator(f"{LIST}.booked")).to_have_count(3)
    assert booked() == READ_NM  # in their order


def test_a_full_store_is_said_and_the_reading_stays_in_its_field(page: Page, owner: Person) -> None:
    scanning(page)
    page.evaluate(FILL)
    keys(page, READ[0])  # with the line there is nothing to keep
    expect(page.locator("#tally")).to_have_text("This batch: 1")
    page.context.set_offline(True)
    keys(page, READ[1])
    expect(page.locator("#trouble")).to_contain_text("No room is left in this browser")
    expect(page.locator("[name=reading]:focus")).to_have_value(READ[1])
    expect(page.locator(".htmx-request")).to_have_count(0)  # it is said before the request has failed
    page.evaluate(FREE)
    page.keyboard.press("Enter")
    expect(page.locator(LIST)).to_have_count(1)
    page.evaluate(FILL)
    keys(page, READ[2])
    expect(page.locator("#trouble")).to_contain_text("No room is left in this browser")
    expect(page.locator("[name=reading]:focus")).to_have_value(READ[2])
    page.context.set_offline(False)  # what is kept has room for its answer
    expect(page.locator(f"{LIST}.booked b")).to_have_text("B-14")
    page.keyboard.press("Enter")
    expect(page.locator("#tally")).to_have_text("This batch: 3")
    assert booked() == READ_NM


def test_two_tabs_send_each_scan_once_and_tell_the_same(page: Page, owner: Person) -> None:
    page.clock.install()
    scanning(page)
    other = page.context.new_page()
    other.goto(AT)
    focus_is(other, "reading")
    posts: list[Request] = []
    held: list[Route] = []
    page.context.on("request", lambda one: posts.append(one) if one.method == "POST" else None)
    page.context.route(re.compile(AT), lambda route: held.append(route), times=1)
    keys(page, READ[0])
    until(page, lambda: held)
    time_passes(other)  # for the other tab to send what it finds
    assert len(posts) == 1
    expect(other.locator("#kept")).to_be_hidden()
    held[0].continue_()
    expect(page.locator("#tally")).to_have_text("This batch: 1")

    page.context.set_offline(True)
    lost(page, READ[1:2])
    expect(other.locator(LIST)).to_have_count(1)
    lost(other, READ[2:])
    page.context.set_offline(False)
    for tab in (page, other):
        expect(tab.locator(f"{LIST}.booked b")).to_have_text(["B-14", "B-14"])
    assert sorted(booked()) == sorted(READ_NM)
    page.get_by_role("button", name="They lie there").click()
    expect(other.locator("#kept")).to_be_hidden()


def test_a_label_without_the_line_is_said_and_stays(page: Page, watch: Watch, owner: Person) -> None:
    scanning(page)
    page.context.set_offline(True)
    keys(page, "STEEL-87")
    expect(page.locator("#trouble")).to_contain_text("A label needs the line")
    expect(page.locator("[name=reading]:focus")).to_have_value("STEEL-87")
    expect(page.locator("#kept")).to_be_hidden()


def test_a_plate_read_the_moment_the_field_is_ready_is_not_lost(page: Page, owner: Person) -> None:
    """No hand is so fast, but a micrometer on a slow terminal: the line goes as the fresh form comes."""
    scanning(page)
    page.evaluate(
        """() => new MutationObserver((_, observer) => {
          const form = document.querySelector("#scan form[data-keep]");
          if (document.getElementById("tally").textContent !== "This batch: 1") return;
          observer.disconnect();
          form.reading.value = ".0770";
          form.requestSubmit();
        }).observe(document.body, { childList: true, subtree: true })"""
    )
    sent: list[Route] = []

    def answer(route: Route) -> None:
        if route.request.method != "POST":
            route.continue_()
        elif not sent:
            sent.append(route)
            route.continue_()
        else:
            route.abort()

    page.route(re.compile(AT), answer)
    keys(page, ".0771")
    expect(page.locator(f"{LIST} .typed")).to_have_text(".0770 · STEEL-77")
    page.unroute(re.compile(AT))
    expect(page.locator(f"{LIST}.booked")).to_have_count(1)
    assert booked() == [READ_NM[1], READ_NM[2]]
