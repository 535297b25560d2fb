"""A shop with a pack of one steel that any of its plates closes, so that everybody wants the same ones."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.core.management import call_command

from plates.catalogue.models import Kind
from plates.catalogue.windows import Window
from plates.lengths import length_parse
from plates.stock.models import Plate
from shop.people.models import Person, Token
from tests.conftest import Urls
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory, pack, shelve

ASK = {
    "spec": "PACK",
    "readings": ["0.0190 in", "0.0190 in", "0.0190 in"],
    "method": "indicator",
    "installed": {"steels": ["0.0700 in"]},
}


@dataclass(frozen=True)
class Crowd:
    """The shop, a token for its owner, and where its service may keep its files."""

    owner: Person
    kind: Kind
    token: str
    urls: Urls
    data_dir: Path

    def stock(self, *lengths: str) -> list[Plate]:
        return shelve(self.owner, self.kind, *lengths)


@pytest.fixture
def crowd(fresh_db: Urls, tmp_path: Path) -> Crowd:
    owner = PersonFactory.create()
    steels = FitFactory.create(shop=owner.shop)
    frictions = FitFactory.create(shop=owner.shop, tooth_side="external")
    # Reading .0190 with a .0700 in, a .0790 gives the target, .0100.
    low, high, target = (length_parse(text) for text in ("0.0050 in", "0.0150 in", "0.0100 in"))
    pack(owner, steels, frictions, count=1, window=Window("manual", low, high, target, "Bench book, page 4"))
    BinFactory.create(fit=steels)
    return Crowd(owner, KindFactory.create(fit=steels), Token.make(owner), fresh_db, tmp_path / "data")


@pytest.fixture
def verified() -> Callable[[], None]:
    """Asserts that shelf and ledger agree."""
    return lambda: call_command("ledger_verify")
