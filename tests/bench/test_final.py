"""The final check: did it come out as predicted?"""

from typing import Any

import pytest
from django.core.management import call_command

from shop.people.models import Person
from tests.api import Api
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def final(api: Api, match: dict[str, Any], *readings: str) -> Any:
    return api.post(f"matches/{match['id']}/final/", {"readings": list(readings), "method": "feeler"})


@pytest.fixture
def taken(api: Api, shelf: Shelf) -> dict[str, Any]:
    """One .0771 for a .0670: .0640 becomes .0539. A second .0771 stays on the shelf."""
    shelf.stock("0.0771 in", "0.0771 in")
    ask = question("0.0640 in", ["0.0670 in"] * 5, take=True, job="J-1", max_changes=1)
    match: dict[str, Any] = api.post("matches/", ask).body
    assert match["options"][0]["predicted"]["in"] == "0.0539"
    return match


@pytest.mark.parametrize(("reading", "residual"), [("0.0545 in", "0.0006"), ("0.0531 in", "-0.0008")])
def test_in_the_window_it_is_closed_with_its_residual(
    api: Api, taken: dict[str, Any], reading: str, residual: str
) -> None:
    status, match = final(api, taken, reading, reading)
    assert (status, match["state"], match["residual"]["in"]) == (200, "closed", residual)
    assert final(api, taken, reading).code == "wrong_state"


def test_outside_it_is_open_again_with_the_new_reading_and_stack(api: Api, taken: dict[str, Any]) -> None:
    match = final(api, taken, "0.0640 in", "0.0642 in").body
    assert (match["state"], match["residual"]["in"], match["clearance"]["in"]) == ("open", "0.0102", "0.0641")
    assert match["verdict"] == "high"
    fresh = match["options"]
    assert fresh and min(option["number"] for option in fresh) > 1
    # The plate that went in is part of the stack now, and the second .0771 goes in for another .0670.
    one = next(option for option in fresh if option["changes"] == 1)
    assert [row["thickness"]["in"] for row in one["out"]] == ["0.0670"]
    assert [row["thickness"]["in"] for row in one["in"]] == ["0.0771"]
    taken_plates = {row["plate"] for row in taken["slip"]}
    assert not taken_plates & {row["plate"] for row in one["in"]}
    again = api.post(f"matches/{match['id']}/take/", {"option": one["number"]})
    assert (again.status, again.body["state"]) == (200, "taken")
    assert final(api, match, "0.0541 in").body["state"] == "closed"
    assert api.get("plates/", state="taken").body["count"] == 2
    call_command("ledger_verify")


def test_a_pack_with_nothing_to_do_is_proved_too(api: Api, shelf: Shelf) -> None:
    match = api.post("matches/", question("0.0500 in", ["0.0770 in"] * 5)).body
    proved = final(api, match, "0.0503 in").body
    assert (proved["state"], proved["residual"]["in"]) == ("closed", "0.0003")


def test_an_open_one_out_of_the_window_has_nothing_to_prove(api: Api, shelf: Shelf) -> None:
    match = api.post("matches/", question("0.0640 in", ["0.0670 in"] * 5)).body
    assert final(api, match, "0.0500 in").code == "wrong_state"


def test_readings_that_contradict_each_other_prove_nothing(api: Api, taken: dict[str, Any]) -> None:
    assert final(api, taken, "0.0500 in", "0.0551 in").code == "suspect_reading"
    assert api.get(f"matches/{taken['id']}/").body["state"] == "taken"
