"""What waits on the benches: the most urgent first, the final check one tap away."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from plates.bench.explained import EXPLAINED
from plates.bench.models import Match
from plates.bench.shown import fetch
from tests.api import Api
from tests.pages.conftest import Bench
from tests.pages.counter import Counter
from tests.shelves import question

pytestmark = pytest.mark.django_db
LOOSE = ["0.0700 in"] * 5


def ask(bench: Bench, job: str = "J-7") -> Match:
    asked = Api(bench.owner).post("matches/", question("0.0740 in", LOOSE, job=job)).body
    return Match.objects.get(pk=asked["id"])


def test_taken_stand_before_open_and_a_job_with_several_packs_is_offered_a_plan(counter: Counter, bench: Bench) -> None:
    api = Api(bench.owner)
    one, _, three = ask(bench), ask(bench), ask(bench, "J-8")
    assert api.post(f"matches/{one.pk}/take/", {"option": 2}).status == 200
    text = counter.open("/benches/")
    assert "Job J-7 has" not in text  # one of the two is taken
    ask(bench)
    text = counter.open("/benches/")
    assert "Job J-7 has 2 packs waiting" in text
    assert text.index("Taken: the final check is due") < text.index("Open: asked, nothing taken")
    assert text.index("Match 4") < text.index(f"Match {three.number}")
    assert f'href="/matches/{one.number}/final/"' in counter.html and "predicted 0." in text


def test_a_hold_shows_the_time_it_has_left_by_the_servers_clock(counter: Counter, bench: Bench) -> None:
    one = ask(bench)
    assert Api(bench.owner).post(f"matches/{one.pk}/hold/", {"option": 1}).status == 200
    for path in ("/benches/", "/matches/1/"):
        assert " min left" in counter.open(path)
        assert '<time datetime="20' in counter.html and 'data-now="20' in counter.html
    assert "Held: time runs out" in counter.open("/benches/")
    Match.objects.update(held_until=timezone.now() - timedelta(minutes=1))
    assert "Held" not in counter.open("/benches/") and "Open: asked, nothing taken" in counter.text


def test_nothing_waits(counter: Counter) -> None:
    assert "No pack is waiting." in counter.open("/benches/")


def test_its_queries_stay_the_same_with_twice_the_packs(counter: Counter, bench: Bench) -> None:
    counts = []
    for _ in range(2):
        ask(bench)
        with CaptureQueriesContext(connection) as caught:
            counter.open("/benches/")
        counts.append(len(caught))
    assert counts == [6, 6]


def test_bins_stand_in_the_order_in_which_one_walks_along_them() -> None:
    row = {"plate": "x", "source": "", "slot": "steels", "kind": "S", "thickness_nm": 1}
    codes = ("B-14", "A-3", "B-2", "B-2-10", "B-2-9", None)
    places = [one.place for one in fetch({**row, "bin": code} for code in codes)]
    assert places == ["A-3", "B-2", "B-2-9", "B-2-10", "B-14", "the unsorted plates"]


def test_a_slip_has_lines_to_charge_its_job_with(counter: Counter, bench: Bench) -> None:
    bench.kind.unit_cost = "2.50"
    bench.kind.save(update_fields=["unit_cost"])
    one = ask(bench)
    option = next(each for each in one.options if each["changes"] == 2)
    assert Api(bench.owner).post(f"matches/{one.pk}/take/", {"option": option["number"]}).status == 200
    text = counter.open("/matches/1/slip/")
    assert "To charge to job J-7. Cost is what the shop paid, not a price." in text
    assert "2STEEL-772.505.00" in text.replace(" ", "")
    bench.kind.unit_cost = None
    bench.kind.save(update_fields=["unit_cost"])
    assert "2STEEL-77notgiven" in counter.open("/matches/1/slip/").replace(" ", "")


def test_figures_explain_themselves_with_their_source(counter: Counter, bench: Bench) -> None:
    ask(bench)
    text = counter.open("/matches/1/")
    for figure in ("window", "prediction", "u", "probability", "margin"):
        one = EXPLAINED[figure]
        assert one.formula in text.replace("&lt;", "<") and f"By: {one.source}." in text, figure
