"""A loose pack, from the question to the proof: the first story of the house."""

import pytest

from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, FitFactory, KindFactory, pack, shelve

pytestmark = pytest.mark.django_db

IN_PACK = ["0.0698 in", "0.0699 in", "0.0700 in", "0.0701 in", "0.0702 in"]


@pytest.fixture
def loose(owner: Person) -> dict[str, object]:
    steels = FitFactory.create(shop=owner.shop)
    pack(owner, steels, FitFactory.create(shop=owner.shop, tooth_side="external"))
    BinFactory.create(fit=steels, code="B-14")
    shelve(owner, KindFactory.create(fit=steels), "0.0771 in", "0.0771 in", "0.0768 in")
    return {
        "spec": "PACK",
        "readings": ["0.0740 in", "0.0740 in", "0.0740 in"],
        "method": "feeler",
        "installed": {"steels": IN_PACK},
    }


def test_three_swaps_are_sure_and_two_are_marginal(api: Api, loose: dict[str, object]) -> None:
    status, match = api.post("matches/", loose)
    assert status == 201
    assert match["verdict"] == "high"
    three, two = match["options"]
    assert (three["changes"], three["predicted"]["in"], three["confidence"]) == (3, "0.0527", "sure")
    assert (two["changes"], two["predicted"]["in"], two["confidence"]) == (2, "0.0595", "marginal")
    assert [row["thickness"]["in"] for row in three["out"]] == ["0.0698", "0.0699", "0.0700"]
    assert {row["bin"] for row in three["in"]} == {"B-14"}


def test_taking_them_empties_the_bin_and_the_ledger_agrees(api: Api, loose: dict[str, object]) -> None:
    match = api.post("matches/", {**loose, "take": True, "job": "J-1182"}).body
    assert (match["state"], len(match["slip"])) == ("taken", 3)
    assert api.get("plates/", state="on_shelf").body["count"] == 0
    lines = api.get("ledger/", match=match["id"]).body["results"]
    assert [(line["act"], line["delta"], line["balance"]) for line in lines] == [("taken", -1, 0)] * 3

    final = {"readings": ["0.053 in", "0.053 in"], "method": "feeler"}
    status, proved = api.post(f"matches/{match['id']}/final/", final)
    assert (status, proved["state"], proved["residual"]["in"]) == (200, "closed", "0.0003")
