"""The week's buying by weeks of supply, with a fill-to level set by hand."""

from typing import Any

import pytest

from shop.people.models import Person
from tests.api import Api
from tests.factories import KindFactory
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    """.087: 26 used in 13 weeks, 4 on the shelf of which 3 are held; packs of five."""
    shelf = shelf_of(owner, 6)
    kind = KindFactory.create(fit=shelf.steels, code="S-087", nominal_nm=2_209_800, pack_size=5)
    made = shelf._replace(kind=kind)
    api = Api(owner)
    for plate in made.stock(*["0.0870 in"] * 26):
        api.post(f"plates/{plate.pk}/scrap/", {"reason": "used up"})
    made.stock(*["0.0870 in"] * 4)
    rule = {
        "fit": shelf.steels.code, "role": "steel", "nominal": "0.0870 in", "method": "weeks", "lead_weeks": 2,
        "safety_weeks": 1, "fill_to": 10,
    }  # fmt: skip
    assert api.post("buy-rules/", rule).status == 201
    held = api.post("matches/", question("0.0965 in", ["0.0770 in"] * 6)).body
    three = next(option for option in held["options"] if option["changes"] == 3)
    assert api.post(f"matches/{held['id']}/hold/", {"option": three["number"]}).status == 200
    return made


def row(api: Api) -> dict[str, Any]:
    (found,) = [one for one in api.get("buying/").body["results"] if one["kind"] == "S-087"]
    return found


def test_need_nine_buy_ten(api: Api, shelf: Shelf) -> None:
    found = row(api)
    figures = {name: found[name] for name in ("on_shelf", "held", "on_order", "taken_13w", "free", "buy_below", "buy")}
    assert figures == {
        "on_shelf": 4, "held": 3, "on_order": 0, "taken_13w": 26, "free": 1, "buy_below": 6, "buy": 10
    }  # fmt: skip
    assert (found["pack_size"], found["fill_to"]) == (5, 10)
    assert found["reasons"] == [
        "free 1 (4 on the shelf, 3 of them held): below 6",
        "26 used and 0 missed in 13 weeks: 2 a week; 3 weeks of supply (lead and safety) are 6",
        "fill to 10: 9, in packs of 5: 10",
    ]


def test_with_a_second_job_waiting_for_two_fifteen(api: Api, shelf: Shelf) -> None:
    """The miss is demand, too: it lifts buy-below to 7, and fill-to stays as it was set."""
    asked = api.post("matches/", {**question("0.089 in", ["0.0770 in"] * 6), "job": "1183"}).body
    assert asked["options"] == []
    found = row(api)
    assert (found["waiting"], found["free"], found["buy_below"], found["buy"]) == (2, -1, 7, 15)
