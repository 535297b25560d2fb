"""A manual prints both units, and they do not always agree."""

from typing import Any

import pytest

from plates.catalogue.spec_models import Spec
from shop.people.models import Person
from tests.api import Api, Reply
from tests.factories import FitFactory
from tests.shelves import question

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def fit(owner: Person) -> None:
    FitFactory.create(shop=owner.shop, code="DRUM")


def save(api: Api, **window: Any) -> Reply:
    slots = [{"name": "steels", "role": "steel", "fit": "DRUM", "count": 4, "swap": True, "nominal": "1.80 mm"}]
    window = {"source": "manual", "reference": "manual, p. 5-61", **window}
    body = {"code": "TWICE", "title": "Forward clutch", "measures": "gap", "window": window, "slots": slots}
    return api.post("specs/", body)


def test_the_makers_unit_governs_at_the_limit(api: Api) -> None:
    """0.40-0.70 mm (.016-.028 in): .0278 in is .70612 mm, so it is high."""
    status, spec = save(api, low="0.40 mm", high="0.70 mm", also={"low": ".016 in", "high": ".028 in"})
    assert (status, spec["window"]["unit"], spec["window"]["high"]["nm"]) == (201, "mm", 700_000)
    match = api.post("matches/", question("0.0278 in", ["1.80 mm"] * 4, "TWICE")).body
    assert (match["clearance"]["nm"], match["verdict"]) == (706_120, "high")


def test_a_contradiction_waits_until_a_person_says_which_governs(api: Api) -> None:
    """0.910-1.180 mm printed as ".36-.46 in"; true is .0358-.0465."""
    printed: dict[str, Any] = {"low": "0.910 mm", "high": "1.180 mm", "also": {"low": ".36 in", "high": ".46 in"}}
    refused = save(api, **printed)
    assert (refused.status, refused.code) == (422, "units_disagree")
    assert refused.body["errors"] == [{"pointer": "/window/governs", "detail": "say in or mm"}]
    assert Spec.objects.count() == 0
    status, spec = save(api, **printed, governs="mm")
    assert (status, spec["window"]["low"]["in"], spec["window"]["high"]["in"]) == (201, "0.0358", "0.0465")


def test_the_other_unit_may_govern_too(api: Api) -> None:
    printed: dict[str, Any] = {"low": "0.910 mm", "high": "1.180 mm", "also": {"low": ".036 in", "high": ".0455 in"}}
    assert save(api, **printed).code == "units_disagree"
    spec = save(api, **printed, governs="in").body
    assert (spec["window"]["unit"], spec["window"]["high"]["in"]) == ("in", "0.0455")
