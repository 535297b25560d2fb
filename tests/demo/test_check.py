"""The pack answered in the terminal."""

from collections.abc import Iterator
from io import StringIO

import pytest
from pytest_django.plugin import DjangoDbBlocker

from plates.bench.models import Match, MatchState
from plates.stock.hand_outs import hand_out_make
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate, State
from shop.demo import check
from shop.demo.check import CheckFailed, demo_check
from shop.demo.crew import Crew
from shop.people.models import Shop
from tests.conftest import Urls, pointed_at


@pytest.fixture
def shop(own_demo: Urls, django_db_blocker: DjangoDbBlocker) -> Iterator[Shop]:
    with pointed_at(own_demo), django_db_blocker.unblock():
        yield Shop.objects.get(is_demo=True)


class Lines(StringIO):
    """Each write is a line, as a command's own output has it."""

    def write(self, text: str) -> int:
        return super().write(text + "\n")


def checked(shop: Shop) -> str:
    out = Lines()
    demo_check(shop, out)
    return out.getvalue()


def test_it_asks_takes_and_shows_the_ledger(shop: Shop) -> None:
    said = checked(shop)
    match = Match.objects.order_by("-number").first()
    assert match is not None and match.state == MatchState.TAKEN and match.person.username == "rosa"
    assert "0.0740 in (1.880 mm)" in said and "high: too loose" in said
    assert "0.0400 in (1.016 mm) to 0.0600 in (1.524 mm)" in said
    for row in match.slip:
        assert f"from {row['bin']}: {row['kind']}" in said
    assert said.count(" taken  ") == len(match.slip) == LedgerLine.objects.filter(match=match).count()
    assert "shelf and ledger agree" in said


def test_again_it_finds_other_plates(shop: Shop) -> None:
    checked(shop), checked(shop)
    one, two = Match.objects.order_by("-number")[:2]
    assert one.job != two.job
    assert not {row["plate"] for row in one.slip} & {row["plate"] for row in two.slip}


def test_an_empty_shelf_is_filled_by_a_delivery(shop: Shop) -> None:
    there = Plate.objects.filter(fit__code="QUERN-DRUM", role="steel", state=State.ON_SHELF)
    gone = list(there.values_list("pk", flat=True))
    check.committed(lambda: hand_out_make(person=Crew.of(shop).counter, reason="lost", plate_ids=gone))
    said = checked(shop)
    assert "a delivery is booked" in said and "shelf and ledger agree" in said
    assert there.count() == 20 - len(Match.objects.order_by("-number")[0].slip)


def test_a_shelf_that_differs_from_its_ledger_fails(shop: Shop) -> None:
    plate = Plate.objects.filter(state=State.ON_SHELF, role="wave").first()
    assert plate is not None
    Plate.objects.filter(pk=plate.pk).update(thickness_nm=plate.thickness_nm + 2540)
    with pytest.raises(CheckFailed, match=rf"plate {plate.pk}: thickness is"):
        checked(shop)


def test_a_taking_without_its_ledger_line_fails(shop: Shop) -> None:
    checked(shop)
    match = Match.objects.order_by("-number")[0]
    lines = list(LedgerLine.objects.filter(match=match))
    check._taken_check(match, lines)
    with pytest.raises(CheckFailed, match="lines of their taking"):
        check._taken_check(match, lines[1:])
