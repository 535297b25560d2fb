"""A selective ring out of a set, read with a coarse gauge."""

from typing import Any

import pytest

from plates.lengths import length_parse
from shop.people.models import Person
from tests.api import Api
from tests.factories import FitFactory, KindFactory, shelve
from tests.shelves import question

pytestmark = pytest.mark.django_db

RINGS = ["1.40 mm", "1.60 mm", "1.80 mm", "2.00 mm", "2.20 mm", "2.40 mm"]


@pytest.fixture(autouse=True)
def ring_set(api: Api, owner: Person) -> None:
    fit = FitFactory.create(shop=owner.shop, code="GROOVE", tooth_side="none", teeth=0)
    for size in RINGS:
        nominal = length_parse(size)
        kind = KindFactory.create(fit=fit, role="snap_ring", code=f"R-{size[:4]}", nominal_nm=nominal, set_of="RINGS")
        shelve(owner, kind, size, mark=size[:4])
    body: dict[str, Any] = {
        "code": "RING",
        "title": "Overrun clutch",
        "measures": "gap",
        "window": {"source": "manual", "low": "1.00 mm", "high": "1.30 mm", "reference": "manual, p. 3-4"},
        "slots": [{"name": "ring", "role": "snap_ring", "fit": "GROOVE", "count": 1, "swap": True}],
    }
    assert api.post("specs/", body).status == 201


def ask(api: Api, **more: Any) -> dict[str, Any]:
    asked: dict[str, Any] = api.post("matches/", question("0.82 mm", {"ring": ["2.00 mm"]}, "RING", **more)).body
    return asked


@pytest.mark.parametrize("gauge", [{"method": "air"}, {"readings": ["0.82 mm"]}])
def test_the_160_is_offered_first_and_is_not_sure(api: Api, gauge: dict[str, Any]) -> None:
    match = ask(api, **gauge)
    first = match["options"][0]
    assert (first["in"][0]["thickness"]["mm"], first["predicted"]["mm"], first["confidence"]) == (
        "1.600", "1.220", "marginal",
    )  # fmt: skip
    assert match["verdict"] == "low"


def test_the_180_would_be_further_from_the_middle_and_no_surer(api: Api, owner: Person) -> None:
    plate = api.get("plates/", kind="R-1.60").body["results"][0]["id"]
    api.post("hand-outs/", {"plates": [plate], "reason": "cash"})
    first = ask(api, method="air")["options"][0]
    assert (first["in"][0]["thickness"]["mm"], first["predicted"]["mm"], first["confidence"]) == (
        "1.800", "1.020", "marginal",
    )  # fmt: skip


def test_marginal_is_never_taken_unasked(api: Api) -> None:
    assert ask(api, method="air", take=True)["state"] == "open"
    taken = ask(api, method="air", take=True, accept_marginal=True)
    assert (taken["state"], taken["slip"][0]["kind"]) == ("taken", "R-1.60")
    # Of the six rings of the set five are left.
    assert api.get("plates/", fit="GROOVE", role="snap_ring", state="on_shelf").body["count"] == 5
