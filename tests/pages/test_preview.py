"""*Close a pack* answers while the form is still being filled in, and keeps nothing of it."""

import re
from datetime import timedelta

import pytest
from django.apps import apps
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from plates.bench.models import Match
from plates.stock.models import Plate
from tests.api import Api
from tests.factories import PersonFactory, shelve
from tests.pages.conftest import Bench
from tests.pages.counter import Counter
from tests.shelves import question

pytestmark = pytest.mark.django_db
AT = "/close-a-pack/PACK/"
LOOSE = {"reading": "74 74 74", "slot1": ".0698 .0699 .0700 .0701 .0702"}


def previewed(counter: Counter, **typed: str) -> str:
    """What stands beside the form while this is in its fields."""
    counter.open(AT)
    form = counter.form(AT)
    return counter.post(f"{AT}preview/", {**form["fields"], **typed})


def rows() -> dict[str, list[object]]:
    """Every row of every table but the sessions."""
    models = [model for model in apps.get_models() if model._meta.app_label != "sessions"]
    return {model._meta.label: list(model._base_manager.order_by("pk").values()) for model in models}


def test_the_options_stand_there_before_the_shelf_is_asked(counter: Counter) -> None:
    text = previewed(counter, **LOOSE)
    assert re.search(r"Loose: \d options, the first 7\.3 thou \(0\.\d+ mm\) inside\.", text)
    assert "Not kept yet: ask the shelf to take or hold." in text
    assert "Predicted 0.0527 in" in text and "3 from B-14" in text
    assert re.search(r"7\.3 thou \(0\.\d+ mm\) inside the nearer limit; 99\.\d % likely", text)
    assert "<form" not in counter.html and "autofocus" not in counter.html
    assert counter.html.count('class="drawing stack"') >= 1 and 'class="drawing scale"' in counter.html


def test_it_offers_what_asking_offers(counter: Counter) -> None:
    told = re.findall(r"Predicted [0-9.]+ in", previewed(counter, **LOOSE))
    counter.open(AT)
    counter.send(AT, {**LOOSE, "go": "ask"})
    assert counter.path == "/matches/1/"
    assert told and told == re.findall(r"Predicted [0-9.]+ in", counter.text)


@pytest.mark.parametrize("reading", ["74 74 74", "120"])
def test_a_preview_writes_nothing(counter: Counter, bench: Bench, reading: str) -> None:
    """Neither a match, a job, a number, nor a miss where the shelf cannot close it; a hold that ran out stays one."""
    api = Api(bench.owner)
    held = api.post("matches/", question("0.0740 in", ["0.0700 in"] * 5)).body
    assert api.post(f"matches/{held['id']}/hold/", {"option": 1}).status == 200
    past = timezone.now() - timedelta(minutes=1)
    Plate.objects.filter(state="held").update(held_until=past)
    Match.objects.filter(state="held").update(held_until=past)
    before = rows()
    text = previewed(counter, **{**LOOSE, "reading": reading, "job": "J-NEW"})
    assert ("Predicted" in text) == (reading != "120") and ("the shelf cannot close it" in text) == (reading == "120")
    assert rows() == before


@pytest.mark.parametrize(
    "typed",
    [
        {"reading": ""},
        {"reading": "7x"},
        {"reading": "74", "slot1": ".07"},
        {"reading": "74", "job": "no such code!"},
    ],
)
def test_without_enough_figures_there_is_none(counter: Counter, typed: dict[str, str]) -> None:
    text = previewed(counter, **typed)
    assert "Options appear here as soon as the readings suffice." in text and "Predicted" not in text


def test_readings_that_contradict_each_other_are_told(counter: Counter) -> None:
    text = previewed(counter, reading="74 95 74")
    assert "No preview. The readings spread over" in text and "Predicted" not in text


def test_who_may_not_ask_sees_no_preview(bench: Bench) -> None:
    other = Counter(PersonFactory.create(shop=bench.owner.shop, role="buyer"))
    assert "Predicted" not in other.post(f"{AT}preview/", {**LOOSE, "method": "feeler"})


def test_only_posts_are_answered(counter: Counter) -> None:
    counter.open(f"{AT}preview/")
    assert counter.status == 405


def test_its_queries_stay_the_same_with_twice_the_plates(counter: Counter, bench: Bench) -> None:
    counts = []
    for _ in range(2):
        counter.open(AT)
        fields = {**counter.form(AT)["fields"], **LOOSE}
        with CaptureQueriesContext(connection) as caught:
            assert "Predicted" in counter.post(f"{AT}preview/", fields)
        counts.append(len(caught))
        shelve(bench.owner, bench.kind, "0.0770 in", "0.0769 in", "0.0768 in")
    assert counts[0] == counts[1] == 11, counts
