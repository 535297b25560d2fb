"""Two people read one pack, and their readings do not go together."""

import pytest

from shop.people.models import Person
from tests.api import Api
from tests.shelves import question, shelf_of

pytestmark = pytest.mark.django_db

STEELS = ["0.0770 in"] * 5
OTHER = {"readings": ["0.0570 in"] * 3, "person": "imre"}


@pytest.fixture(autouse=True)
def shelf(owner: Person) -> None:
    shelf_of(owner)


@pytest.mark.parametrize(
    "body",
    [question("0.0520 in", STEELS, readings=["0.0520 in", "0.0570 in"]), question("0.0520 in", STEELS, second=OTHER)],
    ids=["two readings", "two people"],
)
def test_they_are_not_averaged(api: Api, body: dict[str, object]) -> None:
    """Each u .0015: the difference .0050 is more than 2·√2·.0015 = .0042."""
    reply = api.post("matches/", body)
    assert (reply.status, reply.code) == (422, "suspect_reading")
    assert "reseat" in reply.body["detail"].lower()
    assert api.get("matches/").body["count"] == 0


def test_two_that_agree_are_averaged(api: Api) -> None:
    reply = api.post("matches/", question("0.0520 in", STEELS, second={**OTHER, "readings": ["0.0560 in"] * 2}))
    assert (reply.status, reply.body["as_read"]["in"]) == (201, "0.0540")


def test_a_finer_method_forgives_less(api: Api) -> None:
    """By indicator u is .0010: .0030 apart is more than .0028."""
    body = question("0.0520 in", STEELS, method="indicator", second={"readings": ["0.0550 in"] * 3})
    assert api.post("matches/", body).code == "suspect_reading"
    assert api.post("matches/", {**body, "method": "feeler"}).status == 201
