"""All the ways in which the trade closes a pack, from the ask to the final check. Thicknesses are invented."""

from typing import Any

import pytest
from django.core.management import call_command

from plates.catalogue.models import Fit
from plates.lengths import THOU, length_parse
from plates.stock.ledger_models import LedgerLine
from shop.people.models import Person
from tests.api import Api
from tests.factories import FitFactory, KindFactory, shelve

pytestmark = pytest.mark.django_db

STEELS = ["0.0700 in"] * 5


@pytest.fixture(autouse=True)
def catalogue(owner: Person) -> None:
    for code, side in [("S", "internal"), ("SIBLING", "internal"), ("F", "external"), ("R", "none")]:
        FitFactory.create(shop=owner.shop, code=code, tooth_side=side, teeth=0 if side == "none" else 36)


def stock(owner: Person, fit: str, role: str, *lengths: str, **tags: str) -> None:
    row = Fit.objects.get(shop=owner.shop, code=fit)
    nominal = length_parse(lengths[0])
    shelve(owner, KindFactory.create(fit=row, role=role, nominal_nm=nominal), *lengths, **tags)


def spec(api: Api, *more: dict[str, Any], **steels: Any) -> None:
    """Five steels, five frictions and a pressure plate; clearance 0.040 to 0.060 in."""
    slots = [
        {"name": "steels", "role": "steel", "fit": "S", "count": 5, "swap": True, **steels},
        {"name": "frictions", "role": "friction", "fit": "F", "count": 5},
        {"name": "pressure", "role": "pressure", "fit": "S", "count": 1, "swap": True},
        *more,
    ]
    window = {"source": "manual", "low": "0.040 in", "high": "0.060 in", "reference": "p. 1"}
    body = {"code": "PACK", "title": "Pack", "measures": "gap", "window": window, "slots": slots}
    assert api.post("specs/", body).status == 201


def closed(api: Api, reading: str, installed: dict[str, Any], way: str = "ordinary", **more: Any) -> dict[str, Any]:
    """Ask, take the first option, measure what was predicted; answers the match as taken."""
    body = {"spec": "PACK", "readings": [reading] * 3, "method": "feeler", "installed": installed, **more}
    match = api.post("matches/", body).body
    first = match["options"][0]
    assert (first["way"], first["confidence"], first["predicted"]["in"]) == (way, "sure", "0.0500")
    taken: dict[str, Any] = api.post(f"matches/{match['id']}/take/", {"option": first["number"], "counted": True}).body
    assert taken["state"] == "taken"
    final = api.post(f"matches/{match['id']}/final/", {"readings": ["0.0500 in"] * 3, "method": "feeler"}).body
    assert (final["state"], final["residual"]["nm"]) == ("closed", 0)
    call_command("ledger_verify")
    return taken


def test_a_selective_pressure_plate(api: Api, owner: Person) -> None:
    spec(api)
    stock(owner, "S", "pressure", "0.1900 in", "0.2100 in", "0.2300 in")
    (row,) = closed(api, "0.0700 in", {"pressure": ["0.1900 in"]})["slip"]
    assert (row["slot"], row["thickness"]["in"]) == ("pressure", "0.2100")


def test_a_ring_by_its_mark_out_of_a_set(api: Api, owner: Person) -> None:
    """The rings go by their mark; the set then shows five of six."""
    spec(api, {"name": "ring", "role": "snap_ring", "fit": "R", "count": 1, "swap": True})
    row = Fit.objects.get(shop=owner.shop, code="R")
    for mark, size in zip("ABCDEF", (60, 66, 72, 78, 84, 90), strict=True):
        kind = KindFactory.create(
            fit=row, role="snap_ring", code=f"R-{mark}", mark=mark, set_of="RINGS", nominal_nm=size * THOU
        )
        shelve(owner, kind, f"{size} thou", mark=mark)
    (slip,) = closed(api, "0.0620 in", {"ring": ["0.0600 in"]})["slip"]
    assert (slip["kind"], slip["thickness"]["in"]) == ("R-C", "0.0720")
    left = api.get("plates/", fit="R", state="on_shelf").body["results"]
    assert sorted(one["kind"] for one in left) == ["R-A", "R-B", "R-D", "R-E", "R-F"]


def test_a_used_steel(api: Api, owner: Person) -> None:
    spec(api)
    stock(owner, "S", "steel", "0.0870 in", condition="used")
    (row,) = closed(api, "0.0670 in", {"steels": STEELS})["slip"]
    assert row["thickness"]["in"] == "0.0870"
    assert api.get("plates/", state="taken").body["results"][0]["condition"] == "used"


def test_a_siblings_plate_through_a_proven_fit(api: Api, owner: Person) -> None:
    spec(api, fits=["SIBLING"])
    stock(owner, "SIBLING", "steel", "0.0870 in")
    assert len(closed(api, "0.0670 in", {"steels": STEELS}, "substitute")["slip"]) == 1


def test_one_steel_more(api: Api, owner: Person) -> None:
    spec(api, extra=1)
    stock(owner, "S", "steel", "0.0700 in")
    taken = closed(api, "0.1200 in", {"steels": STEELS}, "extra")
    assert (len(taken["slip"]), taken["outs"]) == (1, [])


@pytest.mark.parametrize("fitted", [True, False])
def test_a_spacer(api: Api, owner: Person, fitted: bool) -> None:
    """Another one in its place, or one where there was none."""
    slot = {"count": 1, "swap": True} if fitted else {"count": 0, "extra": 1}
    spec(api, {"name": "spacer", "role": "spacer", "fit": "R", **slot})
    stock(owner, "R", "spacer", "0.0200 in", "0.0400 in", "0.0300 in")
    reading, installed, way = ("0.0700 in", ["0.0200 in"], "ordinary") if fitted else ("0.0900 in", [], "extra")
    (row,) = closed(api, reading, {"spacer": installed}, way)["slip"]
    assert (row["slot"], row["thickness"]["in"]) == ("spacer", "0.0400")


def test_steels_of_an_open_kit(api: Api, owner: Person) -> None:
    """What lies on the bench goes in without ever touching the shelf."""
    spec(api)
    kit = {"steels": [{"thickness": "0.0800 in", "count": 6, "source": "open kit"}]}
    taken = closed(api, "0.0700 in", {"steels": STEELS}, bench=kit)
    assert [(row["plate"], row["source"]) for row in taken["slip"]] == [(None, "open kit")] * 2
    assert LedgerLine.objects.count() == 0
