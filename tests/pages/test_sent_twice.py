"""A form sent twice does one thing, and its twin is led where the first one went: fates, holds, loans, returns."""

from collections.abc import Mapping

import pytest

from plates.bench.models import Match
from plates.lengths import length_parse
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import HandOut, Plate
from tests.factories import BinFactory
from tests.pages.conftest import Bench
from tests.pages.counter import Counter
from tests.pages.test_close_a_pack import AT, read

pytestmark = pytest.mark.django_db
SLIP = "/matches/1/slip/"


def twice(counter: Counter, action: str, typed: Mapping[str, str] | None = None) -> int:
    """Send one form of this page two times as it stands; how many ledger lines it wrote."""
    form, before = counter.form(action), LedgerLine.objects.count()
    fields = {**form["fields"], **(typed or {})}
    first = counter.post(form["action"], fields)
    lines, led = LedgerLine.objects.count(), counter.path
    again = counter.post(form["action"], fields)
    assert (counter.status, counter.path, again) == (200, led, first)
    assert LedgerLine.objects.count() == lines
    return lines - before


def on_shelf() -> int:
    return Plate.objects.filter(state="on_shelf").count()


@pytest.fixture
def asked(counter: Counter) -> Counter:
    """Five of .0700 lie in the pack, three of them are to be exchanged."""
    counter.open(AT)
    read(counter, " ".join([".0700"] * 5))
    return counter


@pytest.mark.parametrize(("fate", "lines"), [("shelf", 1), ("job", 0), ("pack", 0), ("scrap", 0), ("customer", 0)])
def test_one_of_three_alike_gets_one_fate(asked: Counter, bench: Bench, fate: str, lines: int) -> None:
    """The second one would find another of the same size to do it to."""
    low, high = length_parse("0.0690 in"), length_parse("0.0765 in")
    BinFactory.create(fit=bench.kind.fit, code="B-13", from_nm=low, to_nm=high)
    asked.send("/matches/1/take/")
    asked.open(SLIP)
    more = {"to_job": "J-9"} if fate == "pack" else {}
    assert twice(asked, "/outs/", {"fate": fate, **more}) == lines
    assert [out["fate"] for out in Match.objects.get().outs] == [fate]
    asked.open(SLIP)
    assert twice(asked, "/outs/", {"fate": fate, **more}) == lines
    assert [out["fate"] for out in Match.objects.get().outs] == [fate] * 2


def test_a_hold_is_released_once_and_a_later_one_stays(asked: Counter) -> None:
    asked.send("/hold/")
    held = Plate.objects.filter(state="held").count()
    assert 0 < held == 3 - on_shelf()
    release = asked.form("/release/")
    assert twice(asked, "/release/") == held
    asked.send("/hold/")
    lines = LedgerLine.objects.count()
    asked.post(release["action"], release["fields"])  # the line was slow: it comes when somebody holds them again
    assert Plate.objects.filter(state="held").count() == held and LedgerLine.objects.count() == lines


def test_one_is_lent_once_and_comes_back_once(counter: Counter) -> None:
    counter.open("/bins/B-14/")
    assert twice(counter, "/hand-out/", {"count": "1l", "to": "the shop next door"}) == 1
    assert (HandOut.objects.count(), on_shelf()) == (1, 2)
    lent = Plate.objects.get(state="handed_out")
    counter.open(f"/plates/{lent.pk}/")
    back = counter.form("/read-again/")
    assert twice(counter, "/read-again/", {"reading": ".0771"}) == 1
    assert on_shelf() == 3
    counter.open("/bins/B-14/")
    counter.send("/hand-out/", {"count": "3l"})
    counter.post(back["action"], {**back["fields"], "reading": ".0771"})
    assert (on_shelf(), lent.lines.filter(act="put_back").count()) == (0, 1)
