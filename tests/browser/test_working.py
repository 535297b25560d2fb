"""What takes seconds says so at once, is sent once however often it is pressed, and again when it failed."""

import re

import pytest
from playwright.sync_api import Page, Route, expect

from plates.bench.models import Match
from plates.catalogue.models import Kind
from shop.people.models import Person
from tests.browser.conftest import Watch
from tests.browser.test_flows import asked
from tests.browser.test_main_job import sign_in
from tests.browser.test_preview import owner

pytestmark = pytest.mark.browser
owner = owner
CSV = "code,fit,role,nominal\nSTEEL-81,DRUM,steel,0.0810 in\n"
#: What a nervous hand does; the page is left at once, so it cannot be asked for the second press.
TWICE = "(button) => { button.click(); button.click(); }"


def test_packs_are_planned_once_and_taken_once(page: Page, watch: Watch, owner: Person) -> None:
    for _ in range(2):
        asked(owner, job="J-1")
    sign_in(page, "ada")
    page.goto("/matches/?job=J-1")
    sent: list[str] = []
    page.on("request", lambda request: sent.append(request.method))
    for button, shown in (("Plan these together", "2 packs planned together"), ("Take all", "Taken for")):
        form = page.locator("form[data-working]")
        expect(form).to_have_attribute("data-working", re.compile(r"^Working out the plan: .*, \d+ at most\.$"))
        with page.expect_navigation():
            page.get_by_role("button", name=button).evaluate(TWICE)
        expect(page.locator("main")).to_contain_text(shown)
    assert sent.count("POST") == 2 and Match.objects.filter(state="taken").exists()
    watch.check()


@pytest.fixture
def file(page: Page, owner: Person) -> Page:
    sign_in(page, "ada")
    page.clock.install()
    page.goto("/import/kinds/")
    page.set_input_files("#file", {"name": "kinds.csv", "mimeType": "text/csv", "buffer": CSV.encode()})
    return page


@pytest.fixture
def came(file: Page) -> list[Route]:
    """Requests of the form wait: each as it came, to be let go or dropped."""
    routes: list[Route] = []
    file.route("**/import/kinds/", lambda route: routes.append(route))
    return routes


def test_it_says_so_meanwhile_and_a_lost_line_ends_it(file: Page, came: list[Route]) -> None:
    check, said = file.get_by_role("button", name="Check the file"), file.locator("[role=status].working")
    check.evaluate(TWICE)
    file.clock.run_for(3_000)
    expect(said).to_have_text("Reading the file: some seconds for thousands of rows. 3 s")
    expect(said.locator("[aria-hidden=true]")).to_have_text("3 s")
    file.locator("form.import").evaluate("(form) => form.requestSubmit()")
    expect(said).to_have_count(1)
    assert len(came) == 1
    came[0].abort()
    expect(file.locator("#trouble")).to_contain_text("That did not arrive")
    expect(said).to_have_count(0)
    check.click()
    expect(said).to_have_count(1)
    came[1].continue_()
    expect(file.get_by_role("button", name="Write all 1")).to_be_visible()
    expect(said).to_have_count(0)
    assert not Kind.objects.filter(code="STEEL-81").exists()


@pytest.mark.parametrize("way", ["come back to", "stopped by hand"])
def test_it_may_be_sent_again_when_no_answer_is_to_come(file: Page, came: list[Route], way: str) -> None:
    """A Chromium that is driven keeps no page to come back to: the event of one is given to it by hand."""
    said = file.locator(".working")
    file.get_by_role("button", name="Check the file").click()
    file.clock.run_for(59_000)
    expect(said).to_contain_text("59 s")
    if way == "come back to":
        file.evaluate("dispatchEvent(new PageTransitionEvent('pageshow', { persisted: true }))")
    else:
        file.clock.run_for(2_000)
    expect(said).to_have_count(0)
