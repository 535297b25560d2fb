"""The same pack, mirrored: as clearance and as stack height, in inches and in millimetres, has the same answers."""

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plates.lengths import INCH, length_parse
from shop.people.models import Person
from tests.api import Api
from tests.factories import KindFactory, shelve
from tests.shelves import Shelf, nm, shelf_of

pytestmark = pytest.mark.django_db


def text(length_nm: int, unit: str) -> str:
    """Exactly this length, a whole number of tenths of a thou, in inches or in millimetres."""
    if unit == "in":
        tenths, rest = divmod(length_nm * 10**4, INCH)
        assert rest == 0
        return f"{tenths // 10**4}.{tenths % 10**4:04} in"
    return nm(length_nm)


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    made = shelf_of(owner)
    for size in ("0.0760", "0.0771", "0.0771", "0.0783", "0.0800", "0.0832"):
        shelve(owner, made.kind, f"{size} in")
    return made


def _answer(match: dict[str, Any], mirror: int) -> list[Any]:
    """Everything about the options; heights are turned into the clearances that they leave."""
    return [
        (
            option["number"], option["way"], option["changes"], option["confidence"], option["u"],
            round(option["probability"], 9), abs(mirror - option["predicted"]["nm"]),
            sorted(row["plate"] for row in option["in"]), option["out"],
        )
        for option in match["options"]
    ]  # fmt: skip


SIZES = st.integers(720, 830).map(lambda tenths: tenths * 2540)


@settings(max_examples=12, deadline=None, database=None, suppress_health_check=list(HealthCheck))
@given(
    clearance=st.integers(300, 1100).map(lambda tenths: tenths * 2540),
    steels=st.lists(SIZES, min_size=4, max_size=4),
    must_go=st.booleans(),
)
def test_the_same_pack_four_times(
    api: Api, shelf: Shelf, clearance: int, steels: list[int], must_go: bool
) -> None:
    low, high = length_parse("0.040 in"), length_parse("0.060 in")
    top = length_parse("2 in")  # what a stack of this height would leave no clearance in
    answers, verdicts = [], []
    for measures in ("gap", "height"):
        for unit in ("in", "mm"):
            mirror = 0 if measures == "gap" else top
            span = (low, high) if measures == "gap" else (top - high, top - low)
            code = _spec_once(api, shelf, measures, unit, *span)
            installed: list[Any] = [text(one, unit) for one in steels]
            installed[0] = {"thickness": installed[0], "must_go": must_go}
            reading = text(abs(mirror - clearance), unit)
            body = {"spec": code, "readings": [reading] * 3, "method": "depth", "installed": {"steels": installed}}
            match = api.post("matches/", body).body
            answers.append(_answer(match, mirror))
            tight = {"high": "low", "low": "high"} if measures == "height" else {}
            verdicts.append(tight.get(match["verdict"], match["verdict"]))
            shortfall = match["shortfall"]
            answers[-1].append(shortfall and shortfall["would_close"])
    assert answers[1:] == answers[:1] * 3
    assert verdicts[1:] == verdicts[:1] * 3


def _spec_once(api: Api, shelf: Shelf, measures: str, unit: str, low_nm: int, high_nm: int) -> str:
    code = f"{measures}-{unit}"
    if api.get(f"specs/{code}/").status == 404:
        window = {"source": "manual", "low": text(low_nm, unit), "high": text(high_nm, unit), "reference": "p. 1"}
        slots = [{"name": "steels", "role": "steel", "fit": shelf.steels.code, "count": 4, "swap": True}]
        body = {"code": code, "title": "M", "measures": measures, "window": window, "slots": slots}
        assert api.post("specs/", body).status == 201
    return code


def test_kinds_of_one_fit_serve_alike(api: Api, shelf: Shelf) -> None:
    """A plate is a plate: of which kind it is catalogued makes no difference to the answer."""
    other = KindFactory.create(fit=shelf.steels, nominal_nm=length_parse("0.079 in"))
    shelve(shelf.person, other, "0.0790 in")
    code = _spec_once(api, shelf, "gap", "in", length_parse("0.040 in"), length_parse("0.060 in"))
    body = {"spec": code, "readings": ["0.0620 in"] * 2, "method": "depth", "installed": {"steels": ["0.0670 in"] * 4}}
    first = api.post("matches/", body).body["options"][0]
    assert (first["in"][0]["kind"], first["predicted"]["in"]) == (other.code, "0.0500")
