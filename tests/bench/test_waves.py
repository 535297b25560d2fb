"""Wave plates: the reading is translated to the convention of the window, never without a word."""

from typing import Any

import pytest

from plates.lengths import THOU
from shop.people.models import Person
from tests.api import Api, Reply
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

WINDOWS = {"gap": ("0.040 in", "0.060 in"), "height": ("1.040 in", "1.060 in")}
STEELS = ["0.0670 in"] * 5


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def spec(api: Api, shelf: Shelf, measures: str, waves: int = 2, **more: Any) -> None:
    low, high = WINDOWS[measures]
    fit = shelf.steels.code
    slots = [
        {"name": "steels", "role": "steel", "fit": fit, "count": 5, "swap": True},
        {"name": "wave", "role": "wave", "fit": fit, "count": waves, "nominal": "0.060 in"},
        {"name": "frictions", "role": "friction", "fit": shelf.frictions.code, "count": 5},
    ]
    body = {
        "code": "WAVED", "title": "Waved", "measures": measures, "slots": slots,
        "window": {"source": "manual", "low": low, "high": high, "reference": "p. 1"},
        "wave": {"free": "0.065 in", "flat": "0.060 in"}, "reads_wave": "flat", **more,
    }  # fmt: skip
    reply = api.post("specs/", body)
    assert reply.status == 201, reply


def ask(api: Api, reading: str, **more: Any) -> Reply:
    return api.post("matches/", question(reading, STEELS, "WAVED", **more))


def codes(reply: Reply) -> set[str]:
    return {caution["code"] for caution in reply.body["cautions"]}


@pytest.mark.parametrize(
    ("measures", "reads", "read", "shift"),
    [
        ("gap", "flat", "free", 10),  # flat = free + d
        ("gap", "free", "flat", -10),  # free = flat - d
        ("height", "free", "flat", 10),  # free = flat + d
        ("height", "flat", "free", -10),  # flat = free - d
        ("gap", "flat", "flat", 0),
        ("height", "free", "free", 0),
    ],
)
def test_two_waves_of_five_thou(api: Api, shelf: Shelf, measures: str, reads: str, read: str, shift: int) -> None:
    spec(api, shelf, measures, reads_wave=reads)
    reading = {"gap": 45, "height": 1050}[measures]
    reply = ask(api, f"{reading} thou", wave_state=read)
    assert reply.body["as_read"]["nm"] == reading * THOU
    assert reply.body["clearance"]["nm"] == (reading + shift) * THOU
    assert ("wave_translated" in codes(reply)) is (shift != 0)
    # A translation adds 0.0015 in to the feeler's own 0.0015 (common practice, no source).
    expected = 1.5 * THOU * (2**0.5 if shift else 1)
    assert reply.body["u"]["nm"] == pytest.approx(expected, abs=1)


def test_this_wave_plates_own_free_height_beats_the_catalogue(api: Api, shelf: Shelf) -> None:
    spec(api, shelf, "gap", waves=1)
    reply = ask(api, "45 thou", wave_state="free", wave_free="0.0685 in")
    assert reply.body["clearance"]["nm"] == 45 * THOU + 8 * THOU + THOU // 2


def test_unless_said_it_is_taken_as_the_window_is_with_a_caution(api: Api, shelf: Shelf) -> None:
    spec(api, shelf, "gap")
    reply = ask(api, "45 thou")
    assert reply.body["clearance"] == reply.body["as_read"]
    assert "wave_assumed" in codes(reply)


def test_a_window_that_does_not_say_is_never_translated_and_says_so(api: Api, shelf: Shelf) -> None:
    spec(api, shelf, "gap", reads_wave=None)
    reply = ask(api, "45 thou", wave_state="free")
    assert reply.body["clearance"] == reply.body["as_read"]
    assert codes(reply) == {"wave_untranslated"}


def test_a_translation_without_figures_is_refused(api: Api, shelf: Shelf) -> None:
    spec(api, shelf, "gap", wave=None)
    reply = ask(api, "45 thou", wave_state="free")
    assert (reply.status, reply.code) == (422, "wave_unknown")
    assert api.get("matches/").body["count"] == 0
    assert ask(api, "45 thou", wave_state="flat").status == 201


def test_translated_below_zero_is_malformed(api: Api, shelf: Shelf) -> None:
    spec(api, shelf, "gap", reads_wave="free")
    assert ask(api, "10 thou", wave_state="flat").status == 400


def test_a_wave_plate_is_never_exchanged(api: Api, shelf: Shelf) -> None:
    """Only the steels change, although a wave plate lies on the shelf that would close the pack alone."""
    spec(api, shelf, "gap")
    kind = {"code": "W-80", "fit": shelf.steels.code, "role": "wave", "nominal": "0.080 in"}
    assert api.post("kinds/", kind).status == 201
    assert api.post("plates/", {"kind": "W-80", "readings": ["0.080 in"]}).status == 201
    installed = {"steels": STEELS, "wave": ["0.060 in"] * 2}
    match = api.post("matches/", question("70 thou", installed, "WAVED")).body
    assert match["options"] == []
    assert {row["slot"] for row in match["shortfall"]["would_close"]} == {"steels"}
