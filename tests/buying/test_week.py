"""The week sheet, printed and as a page."""

from datetime import timedelta
from fractions import Fraction
from io import StringIO

import pytest
from django.core.management import call_command
from django.utils import timezone

from plates.buying.models import Order
from plates.buying.week import _packs
from plates.stock.hand_outs import hand_out_make
from shop.people.models import Person
from tests.api import Api
from tests.factories import KindFactory
from tests.pages.counter import Counter
from tests.shelves import question, shelf_of

pytestmark = pytest.mark.django_db


def printed() -> str:
    out = StringIO()
    call_command("week_sheet", stdout=out)
    return out.getvalue()


def test_an_empty_shop_has_a_quiet_week(owner: Person) -> None:
    assert "To buy\n  Nothing: every size that is asked for has enough." in printed()
    assert "Orders that are late\n  None." in printed()


def test_everything_of_the_week_is_named(owner: Person, api: Api) -> None:
    shelf = shelf_of(owner, 6)
    KindFactory.create(fit=shelf.steels, code="S-087", nominal_nm=2_209_800)
    api.post("matches/", {**question("0.089 in", ["0.0770 in"] * 6), "job": "1182"})
    yesterday = timezone.localdate() - timedelta(days=1)
    (plate,) = shelf.stock("0.0770 in")
    hand_out_make(person=owner, reason="lent", plate_ids=[plate.pk], to="the shop next door", due=yesterday)
    made = api.post("orders/", {"supplier": "North Works", "lines": [{"kind": "S-087", "quantity": 1}]}).body
    api.post(f"orders/{made['id']}/send/", {})
    Order.objects.update(due=yesterday)
    sheet = printed()
    for said in (
        "of S-087 (steel 0.0870 in",
        "PACK, job 1182, match 1: Need one steel at .1060 ± .0120 in",
        "steel 0.0870 in (2.210 mm), fit " + shelf.steels.code + ": 1 pack\n",
        f"order 1 to North Works, due {yesterday}",
        f"to the shop next door, due {yesterday}: {shelf.kind.code} 0.0770 in",
    ):
        assert said in sheet, said
    page = Counter(owner).open("/week/")
    assert "order 1 to North Works" in page and "to the shop next door" in page


def test_a_name_forges_no_line_and_steers_no_terminal(owner: Person) -> None:
    (plate,) = shelf_of(owner, 6).stock("0.0770 in")
    yesterday = timezone.localdate() - timedelta(days=1)
    to = "Mr X\nTo buy\n  \x1b[2J900 of S-087\u202e"
    hand_out_make(person=owner, reason="lent", plate_ids=[plate.pk], to=to, due=yesterday)
    sheet = printed()
    assert "  to Mr X To buy    [2J900 of S-087 , due" in sheet and sheet.count("\nTo buy\n") == 1


@pytest.mark.parametrize(
    ("share", "said"),
    [((1, 13), "0.1 pack"), ((1, 21), "less than 0.1 pack"), ((1, 2), "0.5 pack"), ((1, 1), "1 pack"),
     ((51, 50), "1 pack"), ((12, 5), "2.4 packs"), ((30, 1), "30 packs")],
)  # fmt: skip
def test_a_share_of_the_missed_packs_is_said_as_a_person_would(share: tuple[int, int], said: str) -> None:
    assert _packs(Fraction(*share)) == said
