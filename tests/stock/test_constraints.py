"""The rules of stock and bench stand in the database itself."""

from collections.abc import Callable
from typing import Any

import pytest

from plates.bench.models import Job, Match
from plates.lengths import THOU, length_parse
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Bin, HandOut, Lot, Plate
from shop.people.models import Person
from tests.factories import BinFactory, FitFactory, KindFactory
from tests.refused import broken, refused_by
from tests.shelves import Shelf, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def _bin(shelf: Shelf, low: int, high: int, **more: Any) -> Bin:
    return BinFactory.create(**{"fit": shelf.steels, "from_nm": low * THOU, "to_nm": high * THOU, **more})


def test_bins_of_one_fit_and_role_never_overlap(shelf: Shelf) -> None:
    _bin(shelf, 76, 77)
    for low, high in [(76, 77), (75, 78), (76, 78), (75, 77)]:
        with refused_by("bin_overlap"):
            _bin(shelf, low, high)
    with refused_by("bin_overlap"):
        _bin(shelf, 76, 77, from_nm=77 * THOU - 1, to_nm=78 * THOU)


def test_bins_may_touch_and_stand_beside_those_of_other_fits_and_roles(shelf: Shelf) -> None:
    _bin(shelf, 76, 77)
    _bin(shelf, 77, 78)
    _bin(shelf, 75, 76)
    _bin(shelf, 76, 77, role="friction")
    _bin(shelf, 76, 77, fit=FitFactory.create(shop=shelf.person.shop))
    _bin(shelf_of(FitFactory.create().shop.people.create(username="other", role="owner")), 76, 77)
    assert Bin.objects.count() == 6


def test_a_bin_spans_something_and_has_its_own_code(shelf: Shelf) -> None:
    with refused_by("bin_span"):
        _bin(shelf, 77, 77)
    _bin(shelf, 76, 77, code="B-1")
    with refused_by("bin_code"):
        _bin(shelf, 78, 79, code="B-1")


def _plate(shelf: Shelf, **more: Any) -> Plate:
    plain: dict[str, Any] = {
        "shop": shelf.person.shop, "kind": shelf.kind, "fit": shelf.steels, "role": "steel", "state": "on_shelf",
        "condition": "new", "thickness_nm": length_parse("0.077 in"), "spread_nm": 0, "revision": 1,
    }  # fmt: skip
    return Plate.objects.create(**{**plain, **more})


def _match(shelf: Shelf, **more: Any) -> Match:
    plain: dict[str, Any] = {
        "shop": shelf.person.shop, "spec": shelf.spec, "person": shelf.person, "number": 1, "method": "feeler",
        "readings": [], "as_read_nm": 1, "clearance_nm": 1, "u_nm": 0, "low_nm": 1, "high_nm": 3, "target_nm": 2,
        "source": "rule", "faces": 10, "verdict": "low", "question": {},
    }  # fmt: skip
    return Match.objects.create(**{**plain, **more})


def _lot(shelf: Shelf, **more: Any) -> Lot:
    person = shelf.person
    plain = {"shop": person.shop, "kind": shelf.kind, "received_by": person, "mean_nm": 1, "spread_nm": 0}
    return Lot.objects.create(**{**plain, "count": 5, "measured": 1, **more})


def _hand_out(shelf: Shelf, **more: Any) -> HandOut:
    return HandOut.objects.create(shop=shelf.person.shop, person=shelf.person, reason="cash", **more)


@pytest.mark.parametrize(
    ("name", "make"),
    [
        ("plate_made_key", _plate),
        ("lot_made_key", _lot),
        ("handout_made_key", _hand_out),
        ("match_made_key", lambda shelf, made_key: _match(shelf, made_key=made_key, number=Match.objects.count())),
    ],
)
def test_what_a_key_made_keeps_it(shelf: Shelf, name: str, make: Callable[..., object]) -> None:
    make(shelf, made_key="person:key")
    with refused_by(name):
        make(shelf, made_key="person:key")


def test_one_job_a_code(shelf: Shelf) -> None:
    Job.objects.create(shop=shelf.person.shop, number=1, code="J-1")
    with refused_by("job_code"):
        Job.objects.create(shop=shelf.person.shop, number=2, code="J-1")


def test_a_ledger_line_has_its_place_to_itself(shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.077 in")
    line = LedgerLine.objects.get(plate=plate)
    again = {field.attname: getattr(line, field.attname) for field in line._meta.concrete_fields if not field.generated}
    with refused_by("ledger_seq"):
        LedgerLine.objects.create(**{**again, "id": plate.pk})


@pytest.mark.parametrize(
    ("name", "make"),
    [
        ("plate_lengths", lambda shelf: _plate(shelf, thickness_nm=0)),
        ("plate_lengths", lambda shelf: _plate(shelf, spread_nm=-1)),
        ("plate_held_until", lambda shelf: _plate(shelf, state="held")),
        ("lot_measured", lambda shelf: _lot(shelf, measured=6)),
        ("lot_measured", lambda shelf: _lot(shelf, measured=0)),
        ("match_window", lambda shelf: _match(shelf, target_nm=4)),
        ("match_held_until", lambda shelf: _match(shelf, state="held")),
        ("plate_kind", lambda shelf: _plate(shelf, kind=KindFactory.create())),
        ("plate_bin", lambda shelf: _plate(shelf, bin=BinFactory.create())),
        ("match_spec", lambda shelf: _match(shelf, spec=shelf_of(
            FitFactory.create().shop.people.create(username="other", role="owner")
        ).spec)),
    ],
)  # fmt: skip
def test_what_no_request_can_break(shelf: Shelf, name: str, make: Callable[[Shelf], object]) -> None:
    with broken(name):
        make(shelf)
