"""u of a prediction visibly changes with everything that it should.

The starting figures are common practice, no source.
"""

import math
from statistics import NormalDist
from typing import Any

import pytest

from plates.lengths import INCH, length_parse
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, KindFactory
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

TENTH = INCH / 10_000
MOVE = math.hypot(2, 5)  # a plate's micrometer, and stacked against measured height, in tenths of a thou
FIVE = ["0.0670 in"] * 5


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def asked(api: Api, reading: str = "0.0640 in", steels: Any = None, **more: Any) -> dict[str, Any]:
    match: dict[str, Any] = api.post("matches/", question(reading, steels or FIVE, **more)).body
    return match


def u_of(option: dict[str, Any]) -> float:
    """In tenths of a thou."""
    u: float = option["u"]["nm"] / TENTH
    return u


def changed(match: dict[str, Any], changes: int = 1) -> dict[str, Any]:
    (option,) = [option for option in match["options"] if option["changes"] == changes]
    return option


def near(*parts: float) -> Any:
    return pytest.approx(math.hypot(*parts), abs=0.001)


@pytest.mark.parametrize(("method", "u"), [("feeler", 15), ("indicator", 10), ("depth", 14), ("air", 20)])
def test_of_the_method(api: Api, shelf: Shelf, method: str, u: float) -> None:
    shelf.stock("0.0771 in")
    match = asked(api, method=method)
    assert match["u"]["nm"] / TENTH == near(u)
    assert u_of(changed(match)) == near(u, MOVE, MOVE)


def test_of_a_single_reading(api: Api, shelf: Shelf) -> None:
    assert asked(api, readings=["0.0640 in"])["u"]["nm"] / TENTH == near(15, 10)
    assert asked(api, readings=["0.0640 in"] * 2)["u"]["nm"] / TENTH == near(15)


def test_of_the_number_of_plates(api: Api, shelf: Shelf) -> None:
    """Each that goes out and each that goes in adds its own."""
    shelf.stock(*["0.0716 in"] * 3)
    for changes, reading in [(1, "0.0594 in"), (2, "0.0650 in"), (3, "0.0690 in")]:
        match = asked(api, reading, max_changes=changes)
        assert u_of(changed(match, changes)) == near(15, *[MOVE] * (2 * changes))


def test_of_nothing_changed(api: Api, shelf: Shelf) -> None:
    assert u_of(changed(asked(api, "0.0500 in"), 0)) == near(15)


def test_of_an_unread_plate_of_a_lot(api: Api, shelf: Shelf) -> None:
    """Range over d2 of five, 2.326, and the mean's own share."""
    body = {"kind": shelf.kind.code, "count": 6, "readings": [[f"0.077{n} in"] for n in (0, 1, 2, 3, 4)]}
    lot = api.post("lots/", body).body
    read = [plate["id"] for plate in lot["plates"] if plate["measured"]]
    api.post("hand-outs/", {"plates": read, "reason": "own_use"})
    scatter = 4 / 2.32593 * math.sqrt(1 + 1 / 5)
    assert u_of(changed(asked(api))) == near(15, MOVE, MOVE, scatter)


def test_of_the_spread_of_unmarked_plates_in_a_bin(api: Api, shelf: Shelf) -> None:
    """Nobody can tell .0770 from .0774: either may be the one in the hand, until it is read."""
    BinFactory.create(fit=shelf.steels, code="B-14")
    shelf.stock("0.0770 in", "0.0774 in")
    one = changed(asked(api))
    assert u_of(one) == near(15, MOVE, MOVE, math.sqrt((0**2 + 4**2) / 2))


def test_not_of_plates_further_than_a_thou(api: Api, shelf: Shelf) -> None:
    BinFactory.create(fit=shelf.steels, from_nm=length_parse("0.075 in"), to_nm=length_parse("0.080 in"))
    shelf.stock("0.0770 in", "0.0785 in")
    assert u_of(changed(asked(api))) == near(15, MOVE, MOVE)


def test_not_of_marked_plates(api: Api, shelf: Shelf) -> None:
    BinFactory.create(fit=shelf.steels)
    shelf.stock("0.0770 in", mark="A")
    shelf.stock("0.0774 in", mark="B")
    assert u_of(changed(asked(api))) == near(15, MOVE, MOVE)


@pytest.mark.parametrize(("tolerance", "half_width"), [(None, 25), ("0.001 in", 10)])
def test_of_a_plate_at_book_size(api: Api, shelf: Shelf, tolerance: str | None, half_width: float) -> None:
    """A rectangle of ± its tolerance: over the root of three (JCGM 100:2008, 4.3.7)."""
    if tolerance:
        KindFactory.create(fit=shelf.steels, tolerance_nm=length_parse(tolerance))
    shelf.stock("0.0871 in")
    match = asked(api, "0.0640 in", {"steels": {"nominal": True}})
    assert u_of(changed(match)) == near(15, MOVE, MOVE, half_width / math.sqrt(3))


def test_the_probability_goes_with_u(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in")
    by_method = [changed(asked(api, "0.0660 in", method=method)) for method in ("indicator", "feeler", "air")]
    found = [option["probability"] for option in by_method]
    assert found == sorted(found, reverse=True) and len(set(found)) == 3
    # JCGM 106:2012, clause 7, by the normal distribution of the standard library.
    for option in by_method:
        normal = NormalDist(option["predicted"]["nm"], option["u"]["nm"])
        inside = normal.cdf(length_parse("0.060 in")) - normal.cdf(length_parse("0.040 in"))
        assert option["probability"] == pytest.approx(inside, abs=1e-4)


def test_the_shop_says_from_when_on_it_is_sure(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0771 in")
    probability = changed(asked(api, "0.0676 in"))["probability"]
    assert 0.9 < probability < 0.95
    assert changed(asked(api, "0.0676 in"))["confidence"] == "marginal"
    api.person.shop.sure_level = 0.9
    api.person.shop.save()
    assert changed(asked(api, "0.0676 in"))["confidence"] == "sure"
