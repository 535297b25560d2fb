"""Two benches are shown the last .0771."""

import pytest
from django.core.management import call_command

from shop.people.models import Person
from tests.api import Api
from tests.factories import PersonFactory
from tests.shelves import question, shelf_of

pytestmark = pytest.mark.django_db


def test_the_first_take_wins_and_the_second_is_shown_its_next_best(owner: Person) -> None:
    first, second = (Api(PersonFactory.create(shop=owner.shop, role="bench")) for _ in range(2))
    last, next_best = (str(plate.pk) for plate in shelf_of(owner).stock("0.0771 in", "0.0766 in"))
    asks = [bench.post("matches/", question("0.0601 in", ["0.0670 in"] * 5)).body for bench in (first, second)]
    assert [ask["options"][0]["in"][0]["plate"] for ask in asks] == [last, last]

    status, won = first.post(f"matches/{asks[0]['id']}/take/", {"option": 1})
    assert (status, won["state"], [row["plate"] for row in won["slip"]]) == (200, "taken", [last])

    status, told = second.post(f"matches/{asks[1]['id']}/take/", {"option": 1})
    assert (status, told["code"]) == (409, "stock_moved")
    (fresh,) = [option for option in told["options"] if option["changes"] == 1]
    assert [row["plate"] for row in fresh["in"]] == [next_best]
    shown = [option["number"] for option in asks[1]["options"]]
    assert fresh["number"] > max(shown)

    # The old number is never used again; the fresh one is there to be taken.
    again = second.post(f"matches/{asks[1]['id']}/take/", {"option": 1})  # its old number is never used again
    assert (again.status, again.code) == (409, "stock_moved")
    taken = second.post(f"matches/{asks[1]['id']}/take/", {"option": fresh["number"]}).body
    assert [row["plate"] for row in taken["slip"]] == [next_best]
    call_command("ledger_verify")
