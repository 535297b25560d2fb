"""An option opens into its budget: the table adds up to the u that the search worked with."""

import math
from typing import Any

import pytest

from plates.lengths import INCH, length_parse
from plates.measuring.models import Gauge
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

TENTH = INCH / 10_000
THIN = ["0.0698 in", "0.0699 in", "0.0700 in", "0.0701 in", "0.0702 in"]
#: Limit of error of a 0-50 mm micrometer (DIN 863 extract, old edition), as a standard uncertainty in tenths of a thou.
SHARED = 4_000 / math.sqrt(3) / TENTH


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def micrometers(owner: Person, *codes: str) -> None:
    for code in codes:
        Gauge.objects.create(
            shop=owner.shop, code=code, type="micrometer", resolution_nm=INCH // 10_000, limit_nm=4_000
        )


def three(api: Api, **more: Any) -> dict[str, Any]:
    """The option of three changes."""
    match = api.post("matches/", question("0.074 in", THIN, **more)).body
    (option,) = [option for option in match["options"] if option["changes"] == 3]
    return option


def adds_up(option: dict[str, Any]) -> None:
    """Independent lines as squares, lines shared by one gauge added first."""
    shared: dict[str, float] = {}
    total = 0.0
    for part in option["budget"]:
        if part["shared"]:
            shared[part["shared"]] = shared.get(part["shared"], 0.0) + part["times"] * part["u"]["nm"]
        else:
            total += part["times"] * part["u"]["nm"] ** 2
    total += sum(u**2 for u in shared.values())
    assert math.sqrt(total) == pytest.approx(option["u"]["nm"], abs=3)


def test_without_a_gauge_the_starting_figures_stand(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0770 in", "0.0770 in", "0.0770 in")
    option = three(api)
    lines = {part["name"]: (part["times"], round(part["u"]["nm"] / TENTH, 3)) for part in option["budget"]}
    assert lines == {
        "reading by feeler": (1, 15), "stacked against measured height": (6, 5), "micrometer": (6, 2),
    }  # fmt: skip
    assert option["u"]["nm"] / TENTH == pytest.approx(math.hypot(15, *[5] * 6, *[2] * 6), abs=0.001)
    adds_up(option)


def test_one_gauge_out_and_in_costs_nothing_two_add_up(api: Api, owner: Person, shelf: Shelf) -> None:
    micrometers(owner, "M-1", "M-2")
    shelf.stock("0.0770 in", "0.0770 in", "0.0770 in", gauge="M-1")
    base = math.hypot(15, *[5] * 6)
    alone = math.sqrt(2**2 - SHARED**2)
    same, other, unknown = three(api, plates_gauge="M-1"), three(api, plates_gauge="M-2"), three(api)
    assert same["u"]["nm"] / TENTH == pytest.approx(math.hypot(base, *[alone] * 6), abs=0.001)
    assert other["u"]["nm"] / TENTH == pytest.approx(
        math.hypot(base, *[alone] * 6, 3 * SHARED, 3 * SHARED), abs=0.001
    )
    assert unknown["u"]["nm"] / TENTH == pytest.approx(
        math.hypot(base, *[alone] * 3, *[2] * 3, 3 * SHARED), abs=0.001
    )
    for option in (same, other, unknown):
        adds_up(option)
    assert [part["times"] for part in same["budget"] if part["shared"]] == [0]


def test_a_gauge_that_read_the_pack_and_its_plates(api: Api, owner: Person, shelf: Shelf) -> None:
    """Read once, put in three times: in a gap the errors work against each other."""
    micrometers(owner, "M-1")
    shelf.stock("0.0770 in", "0.0770 in", "0.0770 in", gauge="M-1")
    option = three(api, method="depth", gauge="M-1")
    whole = [math.sqrt(14**2 - SHARED**2), *[5] * 6, *[math.sqrt(2**2 - SHARED**2)] * 3, *[2] * 3, 2 * SHARED]
    assert option["u"]["nm"] / TENTH == pytest.approx(math.hypot(*whole), abs=0.001)
    adds_up(option)


def test_lots_bins_and_book_sizes_have_their_lines(api: Api, shelf: Shelf) -> None:
    span = {"from_nm": length_parse("0.085 in"), "to_nm": length_parse("0.090 in")}
    BinFactory.create(fit=shelf.steels, code="B-14", **span)
    shelf.stock("0.0870 in", "0.0874 in")
    match = api.post("matches/", question("0.0640 in", {"steels": {"nominal": True}})).body
    names = [part["name"] for part in match["options"][-1]["budget"]]
    assert "plates of B-14 that nobody can tell apart" in names and "a plate at book size" in names
    adds_up(match["options"][-1])


def test_the_guard_band_says_how_far_inside_is_sure(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0770 in", "0.0770 in", "0.0770 in")
    option = three(api)
    margin = min(
        option["predicted"]["nm"] - length_parse("0.040 in"), length_parse("0.060 in") - option["predicted"]["nm"]
    )
    assert (margin >= option["guard_band"]["nm"]) == (option["confidence"] == "sure")
    assert option["guard_band"]["nm"] == pytest.approx(1.645 * option["u"]["nm"], rel=0.01)
