"""A plausible reading that is further from nominal than usual: a word on it, no refusal.

The bands are common practice, no source: new steel ±0.0025 in, used steel +0.001/-0.004, new friction ±0.004.
"""

from typing import Any

import pytest

from plates.lengths import length_parse
from shop.people.models import Person
from tests.api import Api
from tests.factories import FitFactory, KindFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def alone(owner: Person) -> None:
    """Steels and frictions of one size only, so that readings are plausible as far as 0.010 in away."""
    fit = FitFactory.create(shop=owner.shop, code="DRUM")
    KindFactory.create(fit=fit, code="S-77")
    KindFactory.create(fit=fit, code="F-80", role="friction", lined_faces=2, nominal_nm=length_parse("0.080 in"))
    KindFactory.create(fit=fit, code="P-77", role="pressure")


def unusual(api: Api, kind: str, reading: str, condition: str = "new") -> str:
    """The text of the warning, or nothing."""
    reply = api.post("plates/", {"kind": kind, "readings": [reading], "condition": condition})
    assert (reply.status, reply.body["state"]) == (201, "on_shelf"), reply
    return next((one["text"] for one in reply.body["warnings"] if one["code"] == "unusual"), "")


@pytest.mark.parametrize(
    ("kind", "condition", "within", "beyond"),
    [
        ("S-77", "new", ["0.0745 in", "0.0795 in"], ["1.892299 mm", "2.019301 mm"]),
        ("S-77", "used", ["0.0730 in", "0.0780 in"], ["1.854199 mm", "1.981201 mm"]),
        ("F-80", "new", ["0.0760 in", "0.0840 in"], ["1.930399 mm", "2.133601 mm"]),
        ("F-80", "used", ["0.0701 in", "0.0899 in"], []),
        ("P-77", "new", ["0.0671 in", "0.0869 in"], []),
    ],
)
def test_the_bands_by_role_and_condition_to_the_nanometre(
    api: Api, kind: str, condition: str, within: list[str], beyond: list[str]
) -> None:
    for reading in within:
        assert unusual(api, kind, reading, condition) == "", reading
    for reading in beyond:
        assert f"a {condition}" in unusual(api, kind, reading, condition), reading


def test_it_names_the_reading_how_far_off_it_is_and_what_is_usual(api: Api) -> None:
    text = unusual(api, "S-77", "0.0800 in")
    assert all(figure in text for figure in ("0.0800 in", "0.0030 in", "over", "0.0745 in", "0.0795 in"))


def test_never_further_than_halfway_to_the_next_size(api: Api, owner: Person) -> None:
    """.077 and .079: at .0781 the next size is nearer, and the reading is refused; at .0780 it is neither."""
    fit = FitFactory.create(shop=owner.shop)
    KindFactory.create(fit=fit, code="N-77")
    KindFactory.create(fit=fit, code="N-79", nominal_nm=length_parse("0.079 in"))
    assert unusual(api, "N-77", "0.0780 in") == unusual(api, "N-77", "0.0760 in") == ""
    assert api.post("plates/", {"kind": "N-77", "readings": ["0.0781 in"]}).code == "implausible"


def test_a_tolerance_of_the_kinds_own_decides_alone(api: Api, owner: Person) -> None:
    fit = FitFactory.create(shop=owner.shop)
    KindFactory.create(fit=fit, code="WIDE", tolerance_nm=length_parse("0.008 in"))
    assert unusual(api, "WIDE", "0.0850 in") == ""


def test_what_was_confirmed_as_implausible_is_not_called_unusual_as_well(api: Api) -> None:
    reply = api.post("plates/", {"kind": "S-77", "readings": ["0.0990 in"], "confirm": True})
    assert [one["code"] for one in reply.body["warnings"]] == ["no_bin"]


def test_of_a_lot_the_odd_one_is_named_once(api: Api) -> None:
    body: dict[str, Any] = {"kind": "S-77", "count": 3}
    reply = api.post("lots/", {**body, "readings": [["0.0770 in"], ["0.0797 in"], ["0.0797 in"]]})
    said = [one["text"] for one in reply.body["warnings"] if one["code"] == "unusual"]
    assert len(said) == 1 and "0.0797 in" in said[0]


def test_put_back_says_it_as_well(api: Api) -> None:
    made = api.post("plates/", {"kind": "S-77", "readings": ["0.0770 in"]}).body
    api.post("hand-outs/", {"plates": [made["id"]], "reason": "lent"})
    reply = api.post(f"plates/{made['id']}/put-back/", {"readings": ["0.0725 in"], "condition": "used"})
    assert "unusual" in [one["code"] for one in reply.body["warnings"]]
