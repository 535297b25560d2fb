"""A shop with a pack of one steel that any of its plates closes, so that everybody wants the same ones."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import parse_qsl, quote, urlencode, urlsplit, urlunsplit

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

#: Longer than a gate has patience, shorter than a client: the one that tells the most fails first.
LOCK_SECONDS = 90


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
def patient_db(fresh_db: Urls) -> Urls:
    """A database at which the service waits for a lock however busy the machine is, and nobody hears "busy"."""
    parts = urlsplit(fresh_db.app)
    query = dict(parse_qsl(parts.query))
    query["options"] = f"{query.get('options', '')} -c lock_timeout={LOCK_SECONDS}s".strip()
    return fresh_db._replace(app=urlunsplit(parts._replace(query=urlencode(query, quote_via=quote))))


@pytest.fixture
def crowd(patient_db: Urls, tmp_path: Path) -> Crowd:
    owner = PersonFactory.create()
    steels = FitFactory.create(shop=owner.shop)
    frictions = FitFactory.create(shop=owner.shop, tooth_side="external")
    # Reading .0190 with a .0700 in, a .0790 gives the target, .0100.
    low, high, target = (length_parse(text) for text in ("0.0050 in", "0.0150 in", "0.0100 in"))
    pack(owner, steels, frictions, count=1, window=Window("manual", low, high, target, "Bench book, page 4"))
    BinFactory.create(fit=steels)
    return Crowd(owner, KindFactory.create(fit=steels), Token.make(owner), patient_db, tmp_path / "data")


@pytest.fixture
def verified() -> Callable[[], None]:
    """Asserts that shelf and ledger agree."""
    return lambda: call_command("ledger_verify")
