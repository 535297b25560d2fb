"""The tone of each scan, by what the page plays: the browser's sound is taken down instead of heard."""

import pytest
from playwright.sync_api import Page, expect

from plates.stock.models import Bin
from shop.people.models import Person
from tests.browser.conftest import Watch
from tests.browser.test_kept_scans import AT, counter, lost
from tests.browser.test_main_job import focus_is, keys, sign_in

pytestmark = pytest.mark.browser
TAKEN_DOWN = """
window.heard = [];
window.AudioContext = class { constructor() { this.currentTime = 0; this.destination = {}; } };
window.GainNode = class { connect(to) { return to; } };
window.OscillatorNode = class {
  constructor(sound, { frequency }) { this.frequency = frequency; }
  connect(to) { return to; }
  start(at) { window.heard.push([this.frequency, at]); }
  stop() {}
};
"""


@pytest.fixture
def owner(site: str) -> Person:
    return counter()


def heard(page: Page) -> list[int]:
    """What was played since it was last asked for, in hertz."""
    notes: list[list[int]] = page.evaluate("window.heard.splice(0)")
    starts = [at for _, at in notes]
    assert len(set(starts)) == len(starts), "two notes of one tone at once"
    return [hertz for hertz, _ in notes]


def test_each_answer_has_a_tone_of_its_own_until_it_is_muted(page: Page, watch: Watch, owner: Person) -> None:
    page.add_init_script(TAKEN_DOWN)
    sign_in(page, "ada")
    page.goto(AT)
    focus_is(page, "reading")
    keys(page, ".0771")
    expect(page.locator("#tally")).to_have_text("This batch: 1")
    tones = {"booked": heard(page)}
    Bin.objects.update(from_nm=1, to_nm=2)
    keys(page, ".0770")
    expect(page.locator("#tally")).to_have_text("This batch: 2")
    tones["warning"] = heard(page)
    keys(page, "nonsense")
    expect(page.locator(".answer .none")).to_have_text("not booked")
    tones["refused"] = heard(page)
    assert all(tones.values()) and len({tuple(notes) for notes in tones.values()}) == 3

    mute = page.get_by_role("button", name="Sound off")
    expect(mute).to_have_attribute("aria-pressed", "false")
    mute.click()
    expect(mute).to_have_attribute("aria-pressed", "true")
    focus_is(page, "reading")
    page.locator("[name=reading]").first.fill("")
    keys(page, ".0769")
    expect(page.locator("#tally")).to_have_text("This batch: 3")
    page.goto(AT)  # and on the next page
    focus_is(page, "reading")
    keys(page, ".0768")
    expect(page.locator("#tally")).to_have_text("This batch: 1")
    assert heard(page) == []
    page.get_by_role("button", name="Sound off").click()
    focus_is(page, "reading")
    keys(page, ".0767")
    expect(page.locator("#tally")).to_have_text("This batch: 2")
    assert heard(page) == tones["warning"]
    watch.check()


def test_a_scan_that_is_kept_is_heard_and_so_is_its_refusal(page: Page, owner: Person) -> None:
    page.add_init_script(TAKEN_DOWN)
    sign_in(page, "ada")
    page.goto(AT)
    focus_is(page, "reading")
    page.context.set_offline(True)
    for reading in (".0771", ".0991"):
        lost(page, [reading])
        assert heard(page) == [660, 440]
    page.context.set_offline(False)
    expect(page.locator("#kept li.refused")).to_have_count(1)
    assert heard(page) == [220]
