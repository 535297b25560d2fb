"""A working day at two terminals: a short form of ``python -m tests.benchmarks.load``, and of ``crowd``."""

from collections import Counter
from functools import partial
from pathlib import Path

import pytest

from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from shop.people.models import Person
from tests.benchmarks import crowd
from tests.benchmarks.day import ACTS, Served, Tally
from tests.benchmarks.load import Outcome, by_hand, run, served, shop_new
from tests.conftest import Urls
from tests.service import serving

pytestmark = pytest.mark.processes
TURNS = 15


def sound(outcome: Outcome) -> bool:
    """Every act was done, and the ledger has what was."""
    return outcome.wrong == [] and set(outcome.tally.done) == set(ACTS)


def test_a_day_at_two_terminals_served_and_by_hand(fresh_db: Urls, tmp_path: Path) -> None:
    shop = shop_new(1_000, fresh_db.app)
    with serving(fresh_db, tmp_path) as service:
        outcome = run(served(shop, service.port), shop, terminals=2, seconds=0, warm=0, turns=TURNS)
    assert sound(outcome), outcome.wrong
    outcome = run(by_hand(shop, fresh_db.app), shop, terminals=2, seconds=0, warm=0, turns=TURNS)
    assert sound(outcome), outcome.wrong
    assert not Plate.objects.filter(state__in=["held", "taken"]).exists(), "what was taken did not come back"


def test_a_day_in_three_shops_of_a_crowd(fresh_db: Urls, tmp_path: Path) -> None:
    """Nobody is in anybody's way, and nothing comes into a shop where nobody works."""
    owner = crowd.crowd(fresh_db, shops=6, plates=100)
    busy = Person.objects.filter(username__in=[f"{owner.username}.{number}" for number in (1, 3, 5)])
    idle = LedgerLine.objects.exclude(shop__in=busy.values("shop"))
    before = idle.count()
    with serving(fresh_db, tmp_path) as service:
        outcome = crowd.run(service.port, owner, [1, 3, 5], seconds=0, warm=0, turns=TURNS)
    assert outcome.wrong == [] and outcome.tally.refused == Counter()
    assert outcome.tally.done["take"] and idle.count() == before == 300


def test_what_is_wrong_is_told(fresh_db: Urls, tmp_path: Path) -> None:
    shop = shop_new(1_000, fresh_db.app)
    with serving(fresh_db, tmp_path) as service:
        nobody = partial(Served, service.port, "0" * 40, shop.samples)
        (wrong,) = run(nobody, shop, terminals=1, seconds=0, warm=0, turns=1).wrong
    assert "401" in wrong

    Plate.objects.filter(pk=Plate.objects.first().pk).update(state="taken")  # and nothing in the ledger
    (wrong,) = run(by_hand(shop, fresh_db.app), shop, terminals=1, seconds=0, warm=0, turns=1).wrong
    assert "shelf and ledger differ" in wrong
    assert Outcome(Tally(done=Counter(scan=2)), received=1, differing=0).wrong
