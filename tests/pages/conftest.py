"""A shop whose shelf closes one loose pack."""

from typing import NamedTuple

import pytest

from plates.catalogue.models import Kind
from plates.catalogue.spec_models import Spec
from shop.people.models import Person
from tests.factories import BinFactory, FitFactory, KindFactory, pack, shelve
from tests.pages.counter import Counter


class Bench(NamedTuple):
    owner: Person
    kind: Kind
    spec: Spec


@pytest.fixture
def bench(owner: Person) -> Bench:
    """Five frictions, steels to be exchanged; 0.0771, 0.0771 and 0.0768 lie in B-14."""
    steels = FitFactory.create(shop=owner.shop, code="DRUM")
    spec = pack(owner, steels, FitFactory.create(shop=owner.shop, tooth_side="external"))
    BinFactory.create(fit=steels, code="B-14")
    kind = KindFactory.create(fit=steels, code="STEEL-77")
    shelve(owner, kind, "0.0771 in", "0.0771 in", "0.0768 in")
    return Bench(owner, kind, spec)


@pytest.fixture
def counter(bench: Bench) -> Counter:
    return Counter(bench.owner)
