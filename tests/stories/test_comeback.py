"""A comeback: the number is explained by wear, and wear by nothing yet."""

from typing import Any

import pytest

from shop.people.models import Person
from tests.api import Api
from tests.shelves import question, shelf_of

pytestmark = pytest.mark.django_db

STEELS = ["0.0770 in"] * 6


def test_six_frictions_built_to_058_come_back_at_097(api: Api, owner: Person) -> None:
    shelf_of(owner, 6)
    asked = api.post("matches/", question("0.0580 in", STEELS, job="J-7")).body
    built = api.post(f"matches/{asked['id']}/final/", {"readings": ["0.0580 in"] * 3, "method": "feeler"}).body
    assert (built["state"], built["comeback_of"], built["comeback"]) == ("closed", None, None)

    body: dict[str, Any] = {
        "readings": ["0.0970 in"] * 3,
        "method": "feeler",
        "worn": {"frictions": {"was": "0.0805 in", "now": "0.0740 in"}},
    }
    reply = api.post(f"matches/{asked['id']}/comeback/", body)
    back = reply.body
    assert reply.status == 201 and back["id"] != asked["id"]
    assert (back["comeback_of"], back["job"], back["spec"]) == (built["number"], "J-7", "PACK")
    assert (back["state"], back["verdict"], back["clearance"]["in"]) == ("open", "high", "0.0970")

    told = back["comeback"]
    assert [told[name]["in"] for name in ("was", "now", "change", "accounted", "rest")] == [
        "0.0580", "0.0970", "0.0390", "0.0390", "0.0000",
    ]  # fmt: skip
    (row,) = told["worn"]
    assert (row["slot"], row["count"]) == ("frictions", 6)
    assert [row[name]["in"] for name in ("was", "now", "sum")] == ["0.0805", "0.0740", "0.0390"]
    assert "6 × 0.0065 in (0.165 mm) = 0.0390 in (0.991 mm) thinner" in told["text"]
    assert "Wear accounts for all of it" in told["text"]
    assert "does not say why they wore: look at pressure, seals, feed" in told["text"]
    assert back["cautions"][0]["code"] == "comeback" and "find out why" in back["cautions"][0]["text"]

    # The first match stays closed, and its residual untouched.
    first = api.get(f"matches/{asked['id']}/").body
    assert (first["state"], first["residual"]["nm"]) == ("closed", 0)
