"""A spec says how its manual reads a pack; what was read otherwise is translated or warned about, never passed over."""

from typing import Any

import pytest

from shop.people.models import Person
from tests.api import Api, Reply
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

STEELS = ["0.0770 in"] * 5


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def spec(api: Api, shelf: Shelf, **more: Any) -> dict[str, Any]:
    slots = [
        {"name": "steels", "role": "steel", "fit": shelf.steels.code, "count": 5, "swap": True},
        {"name": "frictions", "role": "friction", "fit": shelf.frictions.code, "count": 5},
    ]
    window = {"source": "manual", "low": "0.040 in", "high": "0.060 in", "reference": "p. 1"}
    body = {"code": "BOOK", "title": "By the book", "measures": "gap", "slots": slots, "window": window, **more}
    reply = api.post("specs/", body)
    assert reply.status == 201, reply
    made: dict[str, Any] = reply.body
    return made


def ask(api: Api, reading: str = "0.0500 in", **more: Any) -> Reply:
    return api.post("matches/", question(reading, STEELS, "BOOK", **more))


def codes(reply: Reply) -> set[str]:
    return {caution["code"] for caution in reply.body["cautions"]}


def test_a_spec_keeps_its_convention(api: Api, shelf: Shelf) -> None:
    made = spec(api, shelf, reads_method="depth", reads_soak="soaked", reads_load="50 N")
    assert (made["reads_method"], made["reads_soak"], made["reads_load"]) == ("depth", "soaked", "50 N")


@pytest.mark.parametrize(
    ("reads", "how", "said"),
    [
        ({}, {}, set()),
        ({"reads_method": "feeler"}, {}, set()),
        ({"reads_method": "depth"}, {}, {"method_differs"}),
        ({"reads_soak": "dry"}, {"soaked": True}, {"soaked"}),
        ({"reads_soak": "soaked"}, {"soaked": True}, set()),
        ({"reads_soak": "soaked"}, {}, {"not_soaked"}),
        ({}, {"soaked": True}, {"soaked"}),
        ({"reads_load": "50 N"}, {}, {"load_differs"}),
        ({"reads_load": "50 N"}, {"load": "20 N"}, {"load_differs"}),
        ({"reads_load": "50 N"}, {"load": "50 n"}, set()),
        ({}, {"load": "50 N"}, {"load_unknown"}),
    ],
)
def test_what_arithmetic_cannot_take_out_is_said(
    api: Api, shelf: Shelf, reads: dict[str, str], how: dict[str, Any], said: set[str]
) -> None:
    spec(api, shelf, **reads)
    reply = ask(api, **how)
    assert reply.status == 201 and codes(reply) == said
    assert reply.body["clearance"]["in"] == "0.0500", "nothing was translated"


@pytest.mark.parametrize(
    ("reading", "verdict", "band"),
    [
        ("0.0500 in", "in_window", "window"),
        ("0.0600 in", "in_window", "window"),
        ("0.0601 in", "high", "allowed"),
        ("0.0700 in", "high", "allowed"),
        ("0.0701 in", "high", "beyond"),
        ("0.0390 in", "low", "beyond"),
    ],
)
def test_bands_beyond_the_window_are_their_own(
    api: Api, shelf: Shelf, reading: str, verdict: str, band: str
) -> None:
    """Allowed in a pack that runs, not to build to: out of the window all the same."""
    spec(api, shelf, limit_high="0.070 in")
    match = ask(api, reading).body
    assert (match["verdict"], match["band"]) == (verdict, band)
    assert ("allowed_band" in {caution["code"] for caution in match["cautions"]}) == (band == "allowed")


def test_a_gauge_tells_what_stands_against_it(api: Api, shelf: Shelf) -> None:
    assert api.post("gauges/", {"code": "F-1", "type": "feeler"}).status == 201
    assert codes(api.post("matches/", question("0.050 in", STEELS, gauge="F-1"))) == {"gauge_unchecked"}
    assert codes(api.post("matches/", question("0.050 in", STEELS, gauge="F-9"))) == {"gauge_unknown"}
    assert codes(api.post("matches/", question("0.050 in", STEELS, gauge="F-1", method="depth"))) >= {"gauge_type"}
    assert api.post("gauges/F-1/withdraw/", {"reason": "bent"}).status == 200
    reply = api.post("matches/", question("0.050 in", STEELS, gauge="F-1"))
    assert (reply.status, reply.code) == (422, "gauge_withdrawn")


def test_a_zero_error_in_force_is_taken_off_the_plates(api: Api, shelf: Shelf) -> None:
    """Read .0003 high: each plate is .0003 thinner, so more room is left when it goes out."""
    assert api.post("gauges/", {"code": "M-1", "type": "micrometer"}).status == 201
    check = {"standard": "0.5000 in", "readings": ["0.5003 in"], "then": "in_force"}
    assert api.post("gauges/M-1/checks/", check).status == 201
    shelf.stock("0.0871 in")
    plain = api.post("matches/", question("0.0680 in", STEELS)).body
    corrected = api.post("matches/", question("0.0680 in", STEELS, plates_gauge="M-1")).body
    off = [
        one["predicted"]["nm"] - other["predicted"]["nm"]
        for one, other in zip(plain["options"], corrected["options"], strict=True)
    ]
    assert off == [7_620]  # 0.0003 in
    assert "zero_taken_off" in {caution["code"] for caution in corrected["cautions"]}


def test_a_final_check_hears_of_its_gauge(api: Api, shelf: Shelf) -> None:
    """In the window, where nothing is searched any more, as well as outside it."""
    assert api.post("gauges/", {"code": "F-1", "type": "feeler"}).status == 201
    match = api.post("matches/", question("0.050 in", STEELS)).body
    final = {"readings": ["0.0500 in"] * 3, "method": "feeler", "gauge": "F-1"}
    assert api.post("gauges/F-1/withdraw/", {"reason": "bent"}).status == 200
    refused = api.post(f"matches/{match['id']}/final/", final)
    assert (refused.status, refused.code) == (422, "gauge_withdrawn")
    assert api.post("gauges/F-1/return/", {}).status == 200
    closed = api.post(f"matches/{match['id']}/final/", final)
    assert (closed.body["state"], codes(closed)) == ("closed", {"gauge_unchecked"})


def test_the_second_reading_hears_of_its_gauge_and_counts_in_u(api: Api, shelf: Shelf) -> None:
    """Of an indicator and of air the mean is no better than the root mean square of .0010 and .0020."""
    assert api.post("gauges/", {"code": "F-1", "type": "feeler"}).status == 201
    second = {"readings": ["0.0505 in"] * 2, "method": "air", "gauge": "F-9"}
    reply = api.post("matches/", question("0.050 in", STEELS, method="indicator", second=second))
    assert reply.body["u"]["nm"] == pytest.approx(25_400 * (1 + 4) ** 0.5 / 2**0.5, abs=1)
    assert codes(reply) == {"gauge_unknown"}
    assert api.post("gauges/F-1/withdraw/", {"reason": "bent"}).status == 200
    withdrawn = {**second, "method": "feeler", "gauge": "F-1"}
    assert api.post("matches/", question("0.050 in", STEELS, second=withdrawn)).code == "gauge_withdrawn"


def test_nothing_is_left_of_a_plate_thinner_than_the_zero_error(api: Api, shelf: Shelf) -> None:
    assert api.post("gauges/", {"code": "M-1", "type": "micrometer"}).status == 201
    check = {"standard": "0.5000 in", "readings": ["0.5003 in"], "then": "in_force"}
    assert api.post("gauges/M-1/checks/", check).status == 201
    reply = api.post("matches/", question("0.0680 in", ["0.0770 in"] * 4 + ["0.0003 in"], plates_gauge="M-1"))
    assert (reply.status, reply.code) == (400, "malformed")
