"""The stack is drawn while a pack spec is typed, from whatever can be read of it."""

import pytest

from tests.factories import FitFactory
from tests.pages.conftest import Bench
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db

STEELS = {"slot0-name": "steels", "slot0-role": "steel", "slot0-fit": "DRUM", "slot0-count": "3", "slot0-nominal": "77"}
LINED = {"slot1-name": "steels", "slot1-role": "friction", "slot1-count": "2"}


def drawn(counter: Counter, **fields: str) -> str:
    counter.post("/add/spec/drawing/", fields)
    assert counter.status == 200
    return counter.html


def test_the_page_asks_for_the_drawing(counter: Counter) -> None:
    counter.open("/add/spec/")
    assert 'hx-post="/add/spec/drawing/"' in counter.html


def test_nothing_typed_draws_nothing(counter: Counter) -> None:
    assert "svg" not in drawn(counter)
    assert "svg" not in drawn(counter, **{**STEELS, "slot0-count": "many"})


def test_plates_come_before_the_window(counter: Counter) -> None:
    svg = drawn(counter, **STEELS, **LINED)
    assert svg.count('class="plate steel"') == 3 and svg.count('class="plate friction') == 2
    assert "no window yet" in svg and 'class="window"' not in svg


@pytest.mark.parametrize(
    ("said", "target"),
    [
        ({"source": "rule"}, "0.0200 in"),
        ({"source": "manual", "low": "40", "high": "60"}, "0.0500 in"),
        ({"source": "manual", "low": "40", "high": "60", "target": "45"}, "0.0450 in"),
        ({"source": "manual", "low": "40", "high": "60", "target": "75"}, "0.0500 in"),
    ],
)
def test_the_window_appears_once_it_is_known(counter: Counter, said: dict[str, str], target: str) -> None:
    svg = drawn(counter, **STEELS, **LINED, measures="gap", **said)
    assert target in svg and 'class="window"' in svg


@pytest.mark.parametrize("said", [{"low": "60", "high": "40"}, {"low": "x", "high": "60"}, {"source": "rule"}])
def test_a_window_that_cannot_be_is_left_out(counter: Counter, said: dict[str, str]) -> None:
    said = {"source": "manual", "measures": "height", **said}
    assert 'class="window"' not in drawn(counter, **STEELS, **said)


def test_a_fit_of_another_shop_is_none(bench: Bench, counter: Counter) -> None:
    FitFactory.create(code="THEIRS", tooth_side="external")
    ours, theirs = drawn(counter, **STEELS), drawn(counter, **{**STEELS, "slot0-fit": "THEIRS"})
    bare = drawn(counter, **{**STEELS, "slot0-fit": ""})
    assert theirs == bare != ours
