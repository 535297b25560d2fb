"""A plate of a slip that went elsewhere: the pack is not what the slip says, and is asked again."""

import pytest

from plates.stock.models import Plate
from plates.stock.verify import differences
from shop.people.models import Person
from tests.api import Api
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

THIN = ["0.0698 in", "0.0699 in", "0.0700 in", "0.0701 in", "0.0702 in"]
FINAL = {"readings": ["0.0530 in"] * 3, "method": "feeler"}


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    made = shelf_of(owner)
    made.stock("0.0771 in", "0.0771 in", "0.0768 in")
    return made


@pytest.fixture
def match(api: Api, shelf: Shelf) -> str:
    made = api.post("matches/", question("0.074 in", THIN, take=True)).body
    assert made["state"] == "taken" and len(made["slip"]) == 3
    path: str = f"matches/{made['id']}/"
    return path


def slip(api: Api, match: str) -> list[str]:
    return [row["plate"] for row in api.get(match).body["slip"]]


def test_a_whole_slip_is_not_released(api: Api, match: str) -> None:
    assert api.post(f"{match}release/", {}).code == "wrong_state"


def test_no_final_check_proves_it(api: Api, match: str) -> None:
    plate = slip(api, match)[0]
    assert api.post(f"plates/{plate}/put-back/", {"readings": ["0.0771 in"]}).status == 200
    refused = api.post(f"{match}final/", FINAL)
    assert (refused.status, refused.code) == (409, "wrong_state")
    assert "is on the shelf" in refused.body["detail"] and "Release" in refused.body["detail"]
    assert api.get(match).body["state"] == "taken"


def test_released_the_others_lie_in_their_bins_and_are_offered_again(api: Api, match: str) -> None:
    first, *others = slip(api, match)
    assert api.post(f"plates/{first}/scrap/", {"reason": "bent"}).status == 200
    released = api.post(f"{match}release/", {}).body
    assert (released["state"], released["slip"], released["option_taken"]) == ("open", [], None)
    assert set(Plate.objects.filter(pk__in=others).values_list("state", flat=True)) == {"on_shelf"}
    offered = {row["plate"] for option in released["options"] for row in option["in"]}
    assert offered == set(others)
    taken = api.post(f"{match}take/", {"option": released["options"][0]["number"]})
    assert taken.body["state"] == "taken", "what was searched with is what lies there"
    assert list(differences()) == []


def test_the_page_says_so_and_releases(api: Api, match: str) -> None:
    assert api.post(f"plates/{slip(api, match)[0]}/scrap/", {"reason": "bent"}).status == 200
    api.client.force_login(api.person)
    page = api.client.get(f"/matches/{api.get(match).body['number']}/").content.decode()
    assert "no longer taken for this pack" in page and "Lay the others back" in page
