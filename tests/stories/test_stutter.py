"""The scanner stutters: the same take arrives twice."""

import pytest
from django.core.management import call_command

from shop.people.models import Person
from tests.api import Api
from tests.shelves import question, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def match(api: Api, owner: Person) -> str:
    shelf_of(owner).stock(*["0.0771 in"] * 6)
    asked: str = api.post("matches/", question("0.0740 in", ["0.0700 in"] * 5)).body["id"]
    return asked


def test_under_one_key_there_is_one_slip_and_one_set_of_lines(api: Api, match: str) -> None:
    first, second = (api.post(f"matches/{match}/take/", {"option": 1}, key="press-1") for _ in range(2))
    assert first == second
    assert (first.status, first.body["state"]) == (200, "taken")
    lines = api.get("ledger/", match=match).body["results"]
    assert sorted(line["plate"] for line in lines) == sorted(row["plate"] for row in first.body["slip"])
    call_command("ledger_verify")


def test_under_two_keys_the_second_is_told_that_it_is_done(api: Api, match: str) -> None:
    first, second = (api.post(f"matches/{match}/take/", {"option": 1}, key=key) for key in ("press-1", "press-2"))
    assert (first.status, second.status, second.code) == (200, 409, "wrong_state")
    assert api.get("plates/", state="taken").body["count"] == len(first.body["slip"])


def test_an_ask_with_a_take_is_one_question(api: Api, match: str) -> None:
    ask = question("0.0740 in", ["0.0700 in"] * 5, take=True)
    first, second = (api.post("matches/", ask, key="press-3") for _ in range(2))
    assert first == second
    assert first.body["state"] == "taken"
    assert api.get("matches/").body["count"] == 2
