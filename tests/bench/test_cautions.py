"""What a rebuilder hears before trusting a number."""

from typing import Any

import pytest

from plates.catalogue.windows import window_manual
from shop.people.models import Person
from tests.api import Api
from tests.factories import pack
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

FIVE = ["0.0670 in"] * 5


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def heard(api: Api, reading: str, **more: Any) -> set[str]:
    reply = api.post("matches/", question(reading, FIVE, **more))
    assert reply.status == 201, reply
    assert all(caution["text"].endswith((".", "?")) for caution in reply.body["cautions"])
    return {caution["code"] for caution in reply.body["cautions"]}


def test_nothing_to_say(api: Api, shelf: Shelf) -> None:
    assert heard(api, "0.0500 in") == set()


@pytest.mark.parametrize(
    ("reading", "expected"),
    [
        # The target is .050; in the pack are .067, and book sizes of .077 and .080.
        ("0.1170 in", True),
        ("0.1400 in", True),
        ("3.556001 mm", False),
        ("0.1070 in", True),
        ("2.717799 mm", False),
    ],
)
def test_count_first_within_ten_thou_of_a_plate(api: Api, shelf: Shelf, reading: str, expected: bool) -> None:
    assert ("count_first" in heard(api, reading)) is expected


@pytest.mark.parametrize(
    ("reading", "method", "expected"),
    [
        ("0.2400 in", "feeler", False),
        ("6.096001 mm", "feeler", True),
        ("0.0015 in", "feeler", False),
        ("0.038099 mm", "feeler", True),
        ("0.038099 mm", "indicator", False),
    ],
)
def test_far_out(api: Api, shelf: Shelf, reading: str, method: str, expected: bool) -> None:
    """Above four times the window's high, or by feeler below what a feeler can be."""
    assert ("far_out" in heard(api, reading, method=method)) is expected


def test_a_single_reading(api: Api, shelf: Shelf) -> None:
    assert "single_reading" in heard(api, "0.0500 in", readings=["0.0500 in"])
    assert "single_reading" not in heard(api, "0.0500 in", readings=["0.0500 in"] * 2)


def test_soaked(api: Api, shelf: Shelf) -> None:
    assert "soaked" in heard(api, "0.0500 in", soaked=True)


def _narrow(shelf: Shelf, high: str) -> None:
    window = window_manual(low="0.050 in", high=high, reference="p. 1")
    pack(shelf.person, shelf.steels, shelf.frictions, code="NARROW", window=window)


def test_a_gauge_too_coarse_names_the_one_that_could(api: Api, shelf: Shelf) -> None:
    """± 0.0025 in is 1.67 u by feeler and 2.5 u by indicator."""
    _narrow(shelf, "0.055 in")
    match = api.post("matches/", question("0.0525 in", FIVE, "NARROW")).body
    (text,) = [caution["text"] for caution in match["cautions"] if caution["code"] == "gauge_too_coarse"]
    assert "indicator" in text and "air" not in text
    assert match["options"][0]["confidence"] == "marginal"
    assert "gauge_too_coarse" not in heard(api, "0.0525 in", spec="NARROW", method="indicator")


def test_a_window_that_no_gauge_can_hold(api: Api, shelf: Shelf) -> None:
    _narrow(shelf, "0.051 in")
    assert "gauge_too_coarse" in heard(api, "0.0505 in", spec="NARROW", method="indicator")


@pytest.mark.parametrize(("flag", "code"), [({"adjustable": False}, "no_adjustment"), ({"set_only": True}, "set_only")])
def test_a_pack_that_is_not_adjusted(api: Api, shelf: Shelf, flag: dict[str, bool], code: str) -> None:
    pack(shelf.person, shelf.steels, shelf.frictions, code="FIXED", **flag)
    shelf.stock(*["0.0771 in"] * 5)
    match = api.post("matches/", question("0.0640 in", FIVE, "FIXED", take=True)).body
    assert (match["state"], match["options"], match["shortfall"]) == ("open", [], None)
    assert code in {caution["code"] for caution in match["cautions"]}
    inside = api.post("matches/", question("0.0500 in", FIVE, "FIXED")).body
    assert code not in {caution["code"] for caution in inside["cautions"]}
    assert [option["changes"] for option in inside["options"]] == [0]


@pytest.mark.parametrize(("second", "status"), [("0.0690 in", 201), ("1.752601 mm", 422)])
def test_readings_may_spread_a_quarter_of_the_window(api: Api, shelf: Shelf, second: str, status: int) -> None:
    assert api.post("matches/", question("", FIVE, readings=["0.0640 in", "0.0640 in", second])).status == status


@pytest.mark.parametrize(("second", "status"), [("0.0555 in", 201), ("1.409701 mm", 422)])
def test_or_three_thou_in_a_narrow_one(api: Api, shelf: Shelf, second: str, status: int) -> None:
    _narrow(shelf, "0.055 in")
    reply = api.post("matches/", question("", FIVE, "NARROW", readings=["0.0525 in", "0.0525 in", second]))
    assert reply.status == status
    assert reply.status == 201 or reply.code == "suspect_reading"
