"""A millimetre figure is scanned into an inch bin."""

import pytest
from django.core.management import call_command

from plates.stock.ledger_models import LedgerLine
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory
from tests.shelves import shelf_of

pytestmark = pytest.mark.django_db


def test_it_is_implausible_and_offered_in_the_other_unit(api: Api, owner: Person) -> None:
    shelf = shelf_of(owner)
    BinFactory.create(fit=shelf.steels, code="B-14")
    scan = {"kind": shelf.kind.code, "readings": ["1.955 in"]}
    status, refused = api.post("plates/", scan)
    assert (status, refused["code"]) == (422, "implausible")
    assert refused["would_be"]["thickness"] == {"nm": 1_955_000, "in": "0.0770", "mm": "1.955"}
    assert "1.955 mm" in refused["detail"] and "0.0770 in" in refused["detail"]
    assert LedgerLine.objects.count() == 0

    status, plate = api.post("plates/", {**scan, "readings": ["1.955 mm"]})
    assert (status, plate["bin"], plate["thickness"]["in"], plate["warnings"]) == (201, "B-14", "0.0770", [])
    call_command("ledger_verify")
