"""A pack that is measured as stack height: the other way round."""

import pytest

from plates.catalogue.windows import window_manual
from plates.lengths import length_parse
from shop.people.models import Person
from tests.api import Api
from tests.factories import FitFactory, KindFactory, shelve
from tests.shelves import question

pytestmark = pytest.mark.django_db


def test_too_tall_by_one_plate(api: Api, owner: Person) -> None:
    fit = FitFactory.create(shop=owner.shop, code="HUB")
    kind = KindFactory.create(fit=fit, code="S-16", nominal_nm=length_parse("1.60 mm"))
    shelve(owner, kind, "1.60 mm")
    window = {"source": "manual", "low": "37.8 mm", "high": "38.2 mm", "reference": "manual of the unit, p. 7-12"}
    slots = [{"name": "steels", "role": "steel", "fit": "HUB", "count": 7, "swap": True, "nominal": "2.00 mm"}]
    body = {"code": "HEIGHT", "title": "Wet clutch", "measures": "height", "window": window, "slots": slots}
    assert api.post("specs/", body).status == 201

    match = api.post("matches/", question("38.46 mm", ["2.00 mm"] * 7, "HEIGHT")).body
    assert (match["verdict"], match["measures"]) == ("high", "height")
    (option,) = match["options"]
    assert [row["thickness"]["mm"] for row in option["out"]] == ["2.000"]
    assert [row["thickness"]["mm"] for row in option["in"]] == ["1.600"]
    assert option["predicted"]["nm"] == 38_060_000  # the gap formula would give 38.86
    assert window_manual(low="37.8 mm", high="38.2 mm", reference="p. 7-12").unit == "mm"


def test_the_rule_of_the_trade_is_not_for_heights(api: Api, owner: Person) -> None:
    FitFactory.create(shop=owner.shop, code="HUB")
    slots = [{"name": "frictions", "role": "friction", "fit": "HUB", "count": 7}]
    body = {"code": "H", "title": "H", "measures": "height", "window": {"source": "rule"}, "slots": slots}
    refused = api.post("specs/", body)
    assert (refused.status, refused.code) == (422, "bad_window")
