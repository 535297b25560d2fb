"""An old set of steels: two of them must go, each for its reason, and one cone leaves a doubt."""

from typing import Any

import pytest

from shop.people.models import Person
from tests.api import Api
from tests.factories import FitFactory, KindFactory, shelve
from tests.shelves import question

pytestmark = pytest.mark.django_db

OLD: list[Any] = [
    "0.0769 in", "0.0770 in", {"thickness": "0.0766 in", "cone": "0.008 in"}, "0.0738 in", "0.0771 in",
]  # fmt: skip


@pytest.fixture(autouse=True)
def core(api: Api, owner: Person) -> None:
    steels, frictions = FitFactory.create(shop=owner.shop, code="DRUM"), FitFactory.create(shop=owner.shop, code="HUB")
    shelve(owner, KindFactory.create(fit=steels), "0.0768 in", "0.0772 in")
    limits = {"reuse_minimum": "0.0755 in", "cone_limit": "0.005 in"}
    slots = [
        {"name": "steels", "role": "steel", "fit": "DRUM", "count": 5, "swap": True, "nominal": "0.077 in", **limits},
        {"name": "frictions", "role": "friction", "fit": frictions.code, "count": 5},
    ]
    body = {"code": "CORE", "title": "Core", "measures": "gap", "window": {"source": "rule"}, "slots": slots}
    assert api.post("specs/", body).status == 201


def ask(api: Api, steels: list[Any] = OLD) -> dict[str, Any]:
    reply = api.post("matches/", question("0.052 in", steels, "CORE"))
    assert reply.status == 201, reply
    match: dict[str, Any] = reply.body
    return match


def texts(match: dict[str, Any], code: str) -> list[str]:
    return [caution["text"] for caution in match["cautions"] if caution["code"] == code]


def test_both_must_go_each_with_its_reason(api: Api) -> None:
    coned, thin = texts(ask(api), "must_go")
    assert "0.0766" in coned and "coned by 0.0080 in" in coned and "0.0050" in coned
    assert "0.0738" in thin and "below the reuse minimum 0.0755 in" in thin


def test_the_answer_says_how_far_the_cone_may_lead_astray(api: Api) -> None:
    match = ask(api)
    (option,) = match["options"]
    assert sorted(row["thickness"]["in"] for row in option["out"]) == ["0.0738", "0.0766"]
    assert sorted(row["thickness"]["in"] for row in option["in"]) == ["0.0768", "0.0772"]
    assert (option["predicted"]["in"], option["up_to"]["in"]) == ("0.0484", "0.0564")
    (said,) = texts(match, "coned")
    assert "0.0484 in" in said and "0.0564 in" in said and "Fit flat plates and read again" in said


def test_a_flat_set_leaves_no_doubt(api: Api) -> None:
    match = ask(api, ["0.0769 in", "0.0770 in", "0.0766 in", {"thickness": "0.0738 in", "must_go": True}, "0.0771 in"])
    assert not texts(match, "coned")
    assert all(option["up_to"] is None for option in match["options"])


def test_a_hot_spot_goes_whatever_it_measures(api: Api) -> None:
    spotted: list[Any] = ["0.0769 in"] * 4 + [{"thickness": "0.0770 in", "hot_spot": True}]
    match = ask(api, spotted)
    assert "hot spots" in texts(match, "must_go")[0]
    assert all("0.0770" in [row["thickness"]["in"] for row in option["out"]] for option in match["options"])
