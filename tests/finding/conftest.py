"""A shop with something of every sort to find, and a second one that must not see any of it."""

from typing import Any

import pytest

from plates.catalogue.models import ScanCode
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, PersonFactory
from tests.pages.counter import Counter
from tests.shelves import Shelf, question, shelf_of


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    """Two of .0870 in B-14, a marked one, a maker's barcode; the steels of the pack are of the kind STEEL-87."""
    made = shelf_of(owner, 6)
    BinFactory.create(fit=made.steels, code="B-14", from_nm=22_000_000 // 10, to_nm=24_000_000 // 10)
    made.kind.code, made.kind.nominal_nm = "STEEL-87", 2_209_800
    made.kind.save()
    ScanCode.objects.create(shop=owner.shop, kind=made.kind, code="5901234123457")
    made.stock("0.0870 in", "0.0870 in")
    made.stock("0.0871 in", mark="PAINT-R")
    return made


@pytest.fixture
def counter(shelf: Shelf) -> Counter:
    return Counter(shelf.person)


@pytest.fixture
def elsewhere(db: None) -> Counter:
    """Somebody of another shop."""
    return Counter(PersonFactory.create())


@pytest.fixture
def rosa(shelf: Shelf) -> Api:
    return Api(PersonFactory.create(shop=shelf.person.shop, username="rosa", role="bench"))


def asked(api: Api, job: str) -> dict[str, Any]:
    """A loose pack of six: two of .0870 bring it to .0690."""
    body: dict[str, Any] = api.post("matches/", {**question("0.089 in", ["0.0770 in"] * 6), "job": job}).body
    return body


def done(api: Api, job: str, act: str) -> dict[str, Any]:
    """The pack asked, and its exchange of two held or taken."""
    match = asked(api, job)
    (option,) = [one for one in match["options"] if one["changes"] == 2]
    body: dict[str, Any] = api.post(f"matches/{match['id']}/{act}/", {"option": option["number"]}).body
    return body
