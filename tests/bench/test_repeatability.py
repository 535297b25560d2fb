"""From twenty final checks on, the shop's own figure replaces the default of a method."""

from statistics import stdev

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.bench.models import Match
from plates.bench.repeatability import method_u_nm, repeatability
from plates.measuring.uncertainty import READING_U_NM
from shop.people.models import Person
from tests.api import Api
from tests.bench.checks import TENTH, final_checks
from tests.factories import PersonFactory
from tests.shelves import question, shelf_of

pytestmark = pytest.mark.django_db

#: Twenty residuals in tenths of a thou, with an offset that must not count.
TWENTY = [20 + value for value in [12, -8, 3, -15, 7, 10, -4, 0, -11, 6, 14, -9, 2, -3, 8, -13, 5, -1, 9, -12]]


@pytest.fixture
def match(api: Api, owner: Person) -> Match:
    shelf_of(owner)
    found = api.post("matches/", question("0.0500 in", ["0.0770 in"] * 5)).body
    return Match.objects.select_related("shop", "person").get(pk=found["id"])


def of(match: Match, method: str = "feeler") -> float | None:
    return method_u_nm(match.shop_id).get(method)


def test_nineteen_do_not_switch_and_the_twentieth_does(match: Match) -> None:
    """Type A: the standard deviation of single values about their mean (JCGM 100:2008, 4.2.2); half its square each."""
    final_checks(match, *TWENTY[:19])
    assert method_u_nm(match.shop_id) == {}
    final_checks(match, TWENTY[19])
    assert method_u_nm(match.shop_id) == {"feeler": pytest.approx(stdev(TWENTY) * TENTH / 2**0.5, rel=1e-6)}


def test_a_slip_of_the_pen_or_a_pack_built_wrongly_is_no_scatter(match: Match) -> None:
    """1.27 in for 1.27 mm: the shop reads no worse for it, and it does not count as one of the twenty either."""
    final_checks(match, *TWENTY[:19], 12_200)
    assert method_u_nm(match.shop_id) == {}
    final_checks(match, TWENTY[19])
    assert of(match) == pytest.approx(stdev(TWENTY) * TENTH / 2**0.5, rel=1e-6)


def test_what_the_plates_make_is_taken_off(match: Match) -> None:
    final_checks(match, *TWENTY[:10], u_moves_nm=3 * TENTH)
    final_checks(match, *TWENTY[10:], u_moves_nm=5 * TENTH)
    moves = (9 + 25) / 2
    assert of(match) == pytest.approx(((stdev(TWENTY) ** 2 - moves) / 2) ** 0.5 * TENTH, rel=1e-6)


def test_never_better_than_a_tenth_of_the_default(match: Match) -> None:
    """Equal residuals, or less scatter than the plates alone should make: rounding, not skill."""
    final_checks(match, *[5] * 20)
    assert of(match) == READING_U_NM["feeler"] / 10
    final_checks(match, *TWENTY, method="indicator", u_moves_nm=50 * TENTH)
    assert of(match, "indicator") == READING_U_NM["indicator"] / 10


def test_only_of_one_method_before_and_after_and_dry(match: Match) -> None:
    final_checks(match, *TWENTY[:19])
    final_checks(match, 100, soaked=True)
    final_checks(match, 100, asked_method="indicator")
    assert of(match) is None


def test_not_of_packs_that_were_soaked_when_they_were_asked(api: Api, match: Match) -> None:
    final_checks(match, *TWENTY[:19])
    soaked = api.post("matches/", question("0.0500 in", ["0.0770 in"] * 5, soaked=True)).body
    final_checks(Match.objects.get(pk=soaked["id"]), 100)
    assert of(match) is None


def test_not_of_comebacks(match: Match, api: Api) -> None:
    final_checks(match, *TWENTY[:19])
    other = Match.objects.get(pk=api.post("matches/", question("0.0500 in", ["0.0770 in"] * 5)).body["id"])
    other.comeback_of = match
    other.save()
    final_checks(other, 100)
    assert of(match) is None


def test_each_shop_has_its_own(match: Match) -> None:
    final_checks(match, *TWENTY)
    assert method_u_nm(PersonFactory.create().shop_id) == {}


def test_one_query_whatever_there_is(match: Match) -> None:
    for _ in range(3):
        final_checks(match, *TWENTY)
        with CaptureQueriesContext(connection) as captured:
            rows = repeatability(match.shop_id)
        assert len(captured) == 1
    assert [(row.method, row.checks, row.missing) for row in rows] == [
        ("indicator", 0, 20), ("depth", 0, 20), ("feeler", 60, 0), ("air", 0, 20),
    ]  # fmt: skip
