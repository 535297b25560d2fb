"""Residual charts: a drift is found and said in plain words; what says nothing about gauge and hand stays out."""

import re
from datetime import UTC, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.bench import selectors
from plates.bench.models import Match
from plates.bench.proof.residuals import groups_of, points_of, sentences
from shop.people.models import Person
from tests.api import Api
from tests.bench.checks import TENTH, final_checks
from tests.factories import PersonFactory
from tests.pages.counter import Counter, words
from tests.shelves import question, shelf_of

pytestmark = pytest.mark.django_db

#: Ten that come out as predicted, from 21 February to 2 March, and ten about 0.002 in low from 3 March on.
GOOD = [4, -3, 5, -6, 2, -4, 6, -1, -5, 3]
LOW = [value - 20 for value in (3, -4, 5, -2, 1, -5, 4, 2, -3, -1)]
SAID = "run 0.0020 in (0.051 mm) low since 3 March 2026, against what was predicted: "


@pytest.fixture
def match(api: Api, owner: Person) -> Match:
    shelf_of(owner)
    found = api.post("matches/", question("0.0500 in", ["0.0770 in"] * 5)).body
    return Match.objects.select_related("shop", "person").get(pk=found["id"])


def said(match: Match) -> list[str]:
    return sentences(match.shop_id, "in")


def test_a_drift_is_said_by_method_gauge_and_person(api: Api, match: Match) -> None:
    final_checks(match, *GOOD, *LOW, gauge="F-1")
    assert said(match) == [
        f"Final readings by feeler {SAID}check the gauge and how it is held.",
        f"Final readings with gauge F-1 {SAID}check this gauge against a standard.",
        f"Final readings of {match.person.username} {SAID}read a pack together, and compare how each of you holds "
        "the gauge.",
    ]


def test_in_control_nothing_is_said(match: Match) -> None:
    final_checks(match, *GOOD, *GOOD)
    assert said(match) == []


def test_one_gauge_drifts_and_the_other_does_not(match: Match) -> None:
    final_checks(match, *GOOD, *GOOD, gauge="F-1")
    final_checks(match, *GOOD, *LOW, gauge="F-2", method="indicator")
    by_gauge = {group.name: group.sentence("in") for group in groups_of(points_of(match.shop_id), "gauge")}
    assert by_gauge["F-1"] == "" and SAID in by_gauge["F-2"]


def test_one_person_drifts_and_the_other_does_not(match: Match) -> None:
    other = PersonFactory.create(shop=match.shop, username="ina")
    final_checks(match, *GOOD, *GOOD)
    final_checks(match, *GOOD, *LOW, person=other, method="indicator")
    found = {group.name: bool(group.found) for group in groups_of(points_of(match.shop_id), "person")}
    assert found == {match.person.username: False, "ina": True}


def test_who_names_no_gauge_is_in_no_gauge_group(match: Match) -> None:
    final_checks(match, *GOOD, *LOW)
    assert groups_of(points_of(match.shop_id), "gauge") == []


def test_soaked_packs_stay_out_whether_soaked_before_or_after(api: Api, match: Match) -> None:
    """The same ten low residuals, in the chart once and then kept apart."""
    late = datetime(2026, 3, 3, 9, tzinfo=UTC)
    asked = api.post("matches/", question("0.0500 in", ["0.0770 in"] * 5, soaked=True)).body
    final_checks(match, *GOOD)
    final_checks(match, *LOW[:5], first=late, soaked=True)
    final_checks(Match.objects.get(pk=asked["id"]), *LOW[5:], first=late)
    assert said(match) == []
    (group,) = groups_of(points_of(match.shop_id), "method")
    assert (len(group.points), len(group.apart), {point.apart for point in group.apart}) == (10, 10, {"soaked"})


def test_comebacks_stay_out(api: Api, match: Match) -> None:
    back = Match.objects.get(pk=api.post("matches/", question("0.0500 in", ["0.0770 in"] * 5)).body["id"])
    back.comeback_of = match
    back.save()
    final_checks(match, *GOOD)
    final_checks(back, *LOW, first=datetime(2026, 3, 3, 9, tzinfo=UTC))
    assert said(match) == []
    assert {row["apart"] for row in api.get("residuals/").body["results"]} == {"", "comeback"}


def test_only_the_latest_are_looked_at(match: Match) -> None:
    made = final_checks(match, *GOOD)
    found = selectors.final_checks(match.shop_id, latest=3)
    assert [check.pk for check in found] == [check.pk for check in made[-3:]]


def test_fewer_than_eight_say_nothing(match: Match) -> None:
    final_checks(match, *[-30] * 7)
    (group,) = groups_of(points_of(match.shop_id), "method")
    assert said(match) == [] and not group.enough and group.missing == 1


# --- over HTTP ------------------------------------------------------------------------------------------------


def test_the_list_and_its_filters(api: Api, match: Match) -> None:
    final_checks(match, *GOOD, gauge="F-1")
    final_checks(match, *LOW, gauge="F-2", method="indicator", first=datetime(2026, 3, 3, 9, tzinfo=UTC))
    assert api.get("residuals/").body["count"] == 20
    first = api.get("residuals/", method="feeler").body["results"][0]
    assert (first["match"], first["gauge"], first["person"], first["method"]) == (
        match.number, "F-1", match.person.username, "feeler",
    )  # fmt: skip
    assert [first[name]["in"] for name in ("predicted", "measured", "residual")] == ["0.0500", "0.0504", "0.0004"]
    for query, count in [
        ({"gauge": "F-2"}, 10), ({"person": match.person.username}, 20), ({"person": "nobody"}, 0),
        ({"since": "2026-03-03T00:00:00Z"}, 10), ({"method": "depth"}, 0),
    ]:  # fmt: skip
        assert api.get("residuals/", **query).body["count"] == count, query
    for query in ({"method": "ruler"}, {"since": "lately"}, {"colour": "red"}):
        assert api.get("residuals/", **query).status == 400
    assert Api(PersonFactory.create()).get("residuals/").body["count"] == 0


def test_the_charts_answer_limits_average_and_finding(api: Api, match: Match) -> None:
    final_checks(match, *GOOD, *LOW, gauge="F-1")
    final_checks(match, 1, 2, 3, method="depth")
    depth, feeler = api.get("residuals/charts/").body["results"]
    assert (depth["name"], depth["points"], depth["individuals"], depth["finding"]) == ("depth", 3, None, None)
    assert (feeler["name"], feeler["points"], feeler["centre"]["nm"]) == ("feeler", 20, 0)
    # Individuals: 3 times the mean moving range over 1.128 (NIST/SEMATECH e-Handbook, 6.3.2.2), by hand.
    moved = [abs(after - before) for before, after in zip([*GOOD, *LOW], [*GOOD, *LOW][1:], strict=False)]
    reach = 3 * sum(moved) / len(moved) / 1.12838 * TENTH
    assert feeler["individuals"]["high"]["nm"] == pytest.approx(reach, rel=1e-5)
    assert feeler["individuals"]["low"]["nm"] == -feeler["individuals"]["high"]["nm"]
    # EWMA: limits in the long run, 3 sigma √(λ / (2 - λ)) (6.3.2.4), λ = 0.2; each value held to 3 sigma.
    assert feeler["ewma"]["high"]["nm"] == pytest.approx(reach / 3, rel=1e-5)
    last = 0.0
    for value in [*GOOD, *LOW]:
        last = 0.2 * min(max(value * TENTH, -reach), reach) + 0.8 * last
    assert feeler["ewma"]["last"]["nm"] == pytest.approx(last, abs=1)
    # Moving range: high limit 3.267 times its mean (3 d3/d2 + 1 for two values; from memory), low limit zero.
    moving = feeler["moving_range"]
    assert moving["high"]["nm"] == pytest.approx(3.267 * sum(moved) / len(moved) * TENTH, rel=1e-3)
    assert (moving["low"]["nm"], moving["last"]["nm"]) == (0, pytest.approx(moved[-1] * TENTH, abs=1))
    assert feeler["ewma"]["outside"] > 0 and feeler["since"].startswith("2026-03-03")
    assert feeler["finding"].startswith("Final readings by feeler run 0.0020 in (0.051 mm) low since 3 March 2026")
    (gauge,) = api.get("residuals/charts/", by="gauge").body["results"]
    assert gauge["name"] == "F-1"
    for query in ({"by": "weather"}, {"colour": "red"}):
        assert api.get("residuals/charts/", **query).status == 400


@pytest.mark.parametrize(("path", "queries"), [("residuals/", 3), ("residuals/charts/", 2)])
def test_twice_the_rows_take_no_more_queries(api: Api, match: Match, path: str, queries: int) -> None:
    for number in (1, 2):
        other = PersonFactory.create(shop=match.shop)
        final_checks(match, *GOOD, gauge=f"F-{number}", person=other)
        with CaptureQueriesContext(connection) as captured:
            api.get(path, **({"by": "gauge"} if "charts" in path else {}))
        assert len(captured) == queries


# --- at the counter -------------------------------------------------------------------------------------------


def test_the_page_and_home_say_it_and_draw_it(match: Match) -> None:
    final_checks(match, *GOOD, *LOW, gauge="F-1")
    final_checks(match, 100, soaked=True, first=datetime(2026, 4, 1, 9, tzinfo=UTC))
    counter = Counter(match.person)
    sentence = f"Final readings by feeler {SAID}check the gauge and how it is held."
    assert sentence in counter.open("/")
    text = counter.open("/residuals/")
    assert sentence in text and "Kept apart" in text
    assert counter.html.count("<svg") == 1 and "<title>Residuals of feeler in time order</title>" in counter.html
    assert "20 final checks from 21 February 2026 to 12 March 2026" in counter.html
    assert counter.html.count('<polyline class="run"') == 2
    steps = "from one to the next 0.0007 in on average, limit 0.0024 in, none beyond"
    assert "From one to the next" in text and steps in counter.html
    first, *_, last = re.findall(r"<tr><td\b.*?</tr>", counter.html.split("From the one before", 1)[1], flags=re.S)[:20]
    assert words(first).endswith("0.2 thou (0.005 mm)") and words(last).endswith("(+0.010 mm)"), "none before it"
    assert "The 20 points, newest first" in text and "−2.1 thou (−0.053 mm)" in text
    assert "Final readings with gauge F-1" in counter.open("/residuals/", by="gauge", name="F-1")
    assert "1 final check names no gauge and stands in no group here" in counter.text
    assert match.person.username in counter.open("/residuals/", by="person")


def test_residuals_without_any_scatter_are_drawn(match: Match) -> None:
    """Rounding to 0.0001 in is scatter all the same: limits 3 sigma and, from one to the next, d2 + 3 d3 of it."""
    final_checks(match, *[0] * 9)
    counter = Counter(match.person)
    assert "Nothing is out of line" in counter.open("/residuals/") and counter.html.count("<svg") == 1
    (group,) = groups_of(points_of(match.shop_id), "method")
    sigma = TENTH / 12**0.5
    assert group.singles.high == pytest.approx(3 * sigma)
    assert group.moving.high == pytest.approx((1.12838 + 3 * 0.8525) * sigma, rel=1e-4)


def row_of(html: str, name: str) -> list[str]:
    """The cells of the table row with this heading."""
    row = re.search(rf'<th scope="row">{name}</th>(.*?)</tr>', html)
    assert row
    return [words(cell) for cell in re.findall(r"<td\b[^>]*>(.*?)</td>", row[1])]


def test_the_page_says_which_methods_go_by_the_measured_figure(match: Match) -> None:
    final_checks(match, *GOOD, *GOOD[:9])
    counter = Counter(match.person)
    counter.open("/residuals/")
    default = "0.0015 in (0.038 mm)"
    assert row_of(counter.html, "feeler") == [default, "19", "1 more", "the figure to begin with"]
    final_checks(match, 3)
    counter.open("/residuals/")
    assert row_of(counter.html, "feeler") == [default, "20", "0.0003 in (0.008 mm)", "what was measured"]


def test_an_empty_shop_is_told_how_to_begin(owner: Person) -> None:
    assert "No final check names a method yet" in Counter(owner).open("/residuals/")


@pytest.mark.parametrize("path", ["/residuals/", "/"])
def test_pages_cost_no_more_queries_with_more_rows(match: Match, path: str) -> None:
    counter, counts = Counter(match.person), []
    for number in (1, 2):
        final_checks(match, *GOOD, *LOW, gauge=f"F-{number}", person=PersonFactory.create(shop=match.shop))
        with CaptureQueriesContext(connection) as captured:
            counter.open(path)
        counts.append(len(captured))
    assert counts[0] == counts[1] <= 8
