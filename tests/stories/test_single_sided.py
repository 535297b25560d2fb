"""Six outer and six inner plates, each lined on one face: they count six, not twelve."""

import pytest

from plates.catalogue.models import Fit
from shop.people.models import Person
from tests.api import Api
from tests.factories import FitFactory
from tests.shelves import question

pytestmark = pytest.mark.django_db


def test_they_count_six_and_nothing_is_to_do(api: Api, owner: Person) -> None:
    outer: Fit = FitFactory.create(shop=owner.shop, tooth_side="external")
    inner: Fit = FitFactory.create(shop=owner.shop)
    slots = [
        {"name": name, "role": "friction", "fit": fit.code, "count": 6, "lined_faces": 1, "nominal": "0.070 in"}
        for name, fit in [("outer", outer), ("inner", inner)]
    ]
    body = {"code": "SINGLE", "title": "Low clutch", "measures": "gap", "window": {"source": "rule"}, "slots": slots}
    status, spec = api.post("specs/", body)
    assert (status, spec["counted_frictions"]) == (201, 6)
    assert (spec["window"]["low"]["in"], spec["window"]["high"]["in"]) == ("0.0480", "0.0720")

    match = api.post("matches/", question("0.061 in", {"outer": {"nominal": True}}, "SINGLE")).body
    assert match["verdict"] == "in_window"
    assert match["window"]["counted_frictions"] == 6
    (option,) = match["options"]
    assert (option["changes"], option["in"], option["out"], option["predicted"]["in"]) == (0, [], [], "0.0610")
    # Twelve counted would have been a window of .096 to .144, and .061 short of it by .035.
    assert match["shortfall"] is None
