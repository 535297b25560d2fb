"""What a shop sets for itself is what its next question is reckoned with; what was asked before keeps its figures."""

import math
from typing import Any

import pytest

from plates.bench.models import Match
from plates.lengths import INCH
from plates.measuring.figures import figures_of
from plates.measuring.uncertainty import TO_BEGIN_WITH
from shop.people.models import Person
from shop.people.settings import settings_change
from tests.api import Api
from tests.bench.test_budget import adds_up
from tests.bench.test_pull_check import FIVE, LOOSE, pull, take
from tests.bench.test_pull_check import shelf as shelf
from tests.factories import KindFactory, PersonFactory, shelve
from tests.shelves import Shelf, question

pytestmark = pytest.mark.django_db

TENTH = INCH // 10_000
#: Legs of a right-angled triangle of whole numbers: 3, 4, 12 and 13 tenths of a thou.
EACH = {"u_feeler_nm": 12 * TENTH, "u_stacked_nm": 4 * TENTH, "u_micrometer_nm": 3 * TENTH}


def asked(api: Api, **more: Any) -> dict[str, Any]:
    reply = api.post("matches/", {**question(LOOSE, FIVE, max_changes=1), **more})
    assert reply.status == 201, reply.body
    return reply.body


def u_of(match: dict[str, Any]) -> float:
    """u of its option of one change, in tenths of a thou."""
    (option,) = [one for one in match["options"] if one["changes"] == 1]
    return option["u"]["nm"] / TENTH


def test_a_new_shop_has_the_figures_to_begin_with(owner: Person) -> None:
    assert figures_of(owner.shop) == TO_BEGIN_WITH


def test_reading_micrometer_and_stacking(api: Api, owner: Person, shelf: Shelf) -> None:
    """Two plates move: √(12² + 2·(3² + 4²)) = √194."""
    shelf.stock("0.0771 in")
    before = asked(api)
    settings_change(person=owner, **EACH)
    after = asked(api)
    assert u_of(after) == pytest.approx(math.sqrt(194), abs=1e-3)
    assert after["u"]["nm"] == 12 * TENTH
    for match in (before, after):
        adds_up(match["options"][-1])
    # What was asked before stands as it was, and so does its budget.
    again = api.get(f"matches/{before['id']}/").body
    assert again["options"] == before["options"]


def test_a_single_reading_adds_what_the_shop_says(api: Api, owner: Person, shelf: Shelf) -> None:
    settings_change(person=owner, u_feeler_nm=12 * TENTH, u_single_nm=5 * TENTH)
    assert asked(api, readings=[LOOSE])["u"]["nm"] == 13 * TENTH


def test_the_spread_that_readings_may_have(api: Api, owner: Person, shelf: Shelf) -> None:
    spread = {**question(LOOSE, FIVE), "readings": ["0.0600 in", "0.0640 in", "0.0660 in"]}
    assert api.post("matches/", spread).code == "suspect_reading"
    settings_change(person=owner, spread_nm=60 * TENTH)
    assert api.post("matches/", spread).status == 201
    narrow = {**spread, "readings": ["0.0600 in", "0.0640 in", "0.0661 in"]}
    assert api.post("matches/", narrow).code == "suspect_reading"


def test_two_readings_agree_by_the_figures_of_the_shop(api: Api, owner: Person, shelf: Shelf) -> None:
    """They may differ by 2·√2·u: 0.0042 in at u 0.0015, 0.0014 at 0.0005."""
    two = {**question(LOOSE, FIVE), "readings": ["0.0640 in", "0.0665 in"]}
    assert api.post("matches/", two).status == 201
    settings_change(person=owner, u_feeler_nm=5 * TENTH)
    assert api.post("matches/", two).code == "suspect_reading"


def test_which_plate_left_by_the_micrometer_of_the_shop(api: Api, owner: Person, shelf: Shelf) -> None:
    """.0010 apart is another plate at u 0.0002 (0.00057), the same one at 0.0004 (0.00113)."""
    shelf.stock("0.0771 in")
    assert pull(api, take(api), "0.0761 in").code == "pull_mismatch"
    settings_change(person=owner, u_micrometer_nm=4 * TENTH)
    shelve(owner, KindFactory.create(fit=shelf.steels), "0.0771 in")
    assert pull(api, take(api), "0.0761 in").status == 200


def test_the_figures_of_one_shop_are_none_of_anothers(owner: Person) -> None:
    other = PersonFactory.create()
    settings_change(person=owner, **EACH)
    assert figures_of(other.shop) == TO_BEGIN_WITH


def test_a_question_from_before_there_were_such_settings_has_the_figures_to_begin_with(
    api: Api, owner: Person, shelf: Shelf
) -> None:
    shelf.stock("0.0771 in")
    asked_then = asked(api)
    row = Match.objects.get(pk=asked_then["id"])
    del row.question["figures"]
    for option in row.options:
        del option["micrometer_u_nm"], option["stacked_u_nm"]
    row.save()
    settings_change(person=owner, **EACH)
    assert api.get(f"matches/{row.pk}/").body["options"] == asked_then["options"]
    assert api.post(f"matches/{row.pk}/take/", {"option": asked_then["options"][-1]["number"]}).status == 200
