"""The owner's figures of the shelf, each against a case that is worked out by hand, and how their page is guarded."""

import csv
import io
import re
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from plates.buying.figures.charts import worth_drawing
from plates.buying.figures.counts import count_differences
from plates.buying.figures.pages import FILES
from plates.buying.figures.table import SHOWN, Table
from plates.buying.figures.worth import by_age, ledger_young, not_moved, turns
from plates.buying.orders import Wanted, order_make
from plates.catalogue.models import Kind
from plates.lengths import length_parse
from plates.stock.hand_outs import hand_out_make
from plates.stock.ledger import Change, ledger_write
from plates.stock.ledger_models import Act
from plates.stock.models import Plate, State
from plates.stock.services import Reading, Tags, plate_receive
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory, shelve
from tests.pages.counter import Counter
from tests.stock.test_counts import Counting

pytestmark = pytest.mark.django_db


def came_in(person: Person, kind: Kind, weeks: float, text: str = "0.0770 in") -> Plate:
    """One plate of this kind, in the shop since so many weeks."""
    at = timezone.now() - timedelta(weeks=weeks)
    reading = Reading([text], [length_parse(text)])
    return plate_receive(person=person, kind=kind, reading=reading, tags=Tags(), confirm=True, at=at).plates[0]


def scrapped(person: Person, plate: Plate, weeks: float) -> None:
    change = Change(plate=plate.pk, revision=1, state=State.SCRAPPED)
    ledger_write(person=person, act=Act.SCRAPPED, changes=[change], at=timezone.now() - timedelta(weeks=weeks))


def picked(table: Table, *names: str) -> list[tuple[Any, ...]]:
    return [tuple(row[name] for name in names) for row in table.rows]


@pytest.fixture
def kind(owner: Person) -> Kind:
    """A steel at 2.60."""
    fit = FitFactory.create(shop=owner.shop, code="FIT")
    made: Kind = KindFactory.create(fit=fit, code="S-077", unit_cost="2.60")
    return made


def test_what_the_shelf_is_worth_by_age(owner: Person, kind: Kind) -> None:
    """Under 13 weeks: 2.60, and 4.00 by its order; over 13: 2.60; over 52: one of 2.60, and one that nobody priced."""
    came_in(owner, kind, 1)
    order = order_make(person=owner, supplier="North Works", lines=[Wanted(kind, 1, Decimal("4.00"))])
    Plate.objects.filter(pk=came_in(owner, kind, 12.9).pk).update(order_line=order.lines.get())
    came_in(owner, kind, 13.1)
    came_in(owner, kind, 60)
    came_in(owner, KindFactory.create(fit=kind.fit, code="S-0"), 60)
    shelve(owner, kind, "0.0770 in", owner="a customer")
    scrapped(owner, came_in(owner, kind, 20), 2)
    in_all, by_row = by_age(owner.shop)
    assert picked(in_all, "plates", "value", "no_cost") == [
        (2, Decimal("6.60"), 0), (1, Decimal("2.60"), 0), (0, Decimal(0), 0), (2, Decimal("2.60"), 1),
    ]  # fmt: skip
    assert in_all.answer == "5 plates, worth 11.80, without 1 of them that has no known cost."
    drawn = worth_drawing(in_all.rows)
    assert "<desc>under 13 weeks: 6.60 in 2 plates; 13 to 26 weeks: 2.60 in 1 plate; 26 to 52 weeks: 0.00 in" in drawn
    # The highest bar is 130 tall; 2.60 / 6.60 × 130 = 51.212.
    assert re.findall(r'class="free"[^>]* height="([0-9.]+)"', drawn) == ["130", "51.212", "51.212"]
    assert picked(by_row, "fit", "role", "plates", "value", "no_cost", "plates_13w", "value_52w") == [
        ("FIT", "steel", 5, Decimal("11.80"), 1, 1, Decimal("2.60"))
    ]
    assert {head.label: cell for head, cell in by_row.shown[0]} == {
        "Fit and role": "FIT, steel", "Plates": "5", "Value": "11.80", "Without a cost": "1",
        "Under 13 weeks": "2 for 6.60", "13 to 26 weeks": "1 for 2.60", "Over 52 weeks": "2 for 2.60",
    }  # fmt: skip


def test_plates_of_no_known_cost_are_not_worth_nothing(owner: Person) -> None:
    bare = KindFactory.create(fit=FitFactory.create(shop=owner.shop))
    shelve(owner, bare, "0.0770 in", "0.0770 in")
    in_all, by_row = by_age(owner.shop)
    assert picked(in_all, "plates", "value", "no_cost")[0] == (2, None, 2)
    assert in_all.answer == "2 plates, of no known cost." and by_row.shown[0][2][1] == "–"
    page = Counter(owner)
    assert "2 plates, of no known cost." in page.open("/figures/") and "Value on the shelf by age" not in page.html


def test_turns_by_the_average_of_thirteen_points(owner: Person, kind: Kind) -> None:
    """Points lie 0, 4, ..., 48 weeks back. One plate lies there at all 13; one came 50 weeks ago and left 10 weeks ago:
    at 12 to 48, ten points; one came 5 weeks ago: at 0 and 4, two; one left 47 weeks ago: at 48, one. 26 × 2.60 / 13
    = 5.20; two were used: 5.20 / 5.20.
    """
    came_in(owner, kind, 60)
    scrapped(owner, came_in(owner, kind, 50), 10)
    came_in(owner, kind, 5)
    scrapped(owner, came_in(owner, kind, 60), 47)
    table = turns(owner.shop)
    assert picked(table, "fit", "used", "used_cost", "average", "turns", "used_no_cost") == [
        ("FIT", 2, Decimal("5.20"), Decimal("5.20"), Decimal(1), 0)
    ]
    assert table.answer == "The whole shelf turns 1.00 times a year."
    # One on loan lies there at the 12 points before now; of no known cost it is in no money, and no loan is use.
    lent = came_in(owner, KindFactory.create(fit=kind.fit), 60)
    hand_out_make(person=owner, reason="lent", plate_ids=[lent.pk], due=timezone.localdate())
    ((average, turned, no_cost),) = picked(turns(owner.shop), "average", "turns", "average_no_cost")
    assert (average, turned, no_cost) == (Decimal("5.20"), Decimal(1), Decimal("0.9"))  # 12 / 13


def test_what_was_used_and_came_back_was_not_used(owner: Person, api: Api, kind: Kind) -> None:
    plate = came_in(owner, kind, 60)
    hand_out_make(person=owner, reason="cash", plate_ids=[plate.pk])
    assert picked(turns(owner.shop), "used", "used_cost") == [(1, Decimal("2.60"))]
    assert picked(not_moved(owner.shop), "kind") == []
    assert api.post(f"plates/{plate.pk}/put-back/", {"readings": ["0.0770 in"]}).status == 200
    assert picked(turns(owner.shop), "used", "used_cost") == [(0, Decimal(0))]
    assert picked(not_moved(owner.shop), "kind", "plates") == [("S-077", 1)]


def test_what_has_not_moved_in_a_year(owner: Person, kind: Kind) -> None:
    """Of S-077 two lay there for 60 weeks and one for 51; the last one used left 53 weeks ago. Of MOVED one was used 51
    weeks ago; YOUNG has not lain for a year.
    """
    BinFactory.create(fit=kind.fit, code="B-2")
    BinFactory.create(fit=kind.fit, code="B-1", from_nm=length_parse("0.0755 in"), to_nm=length_parse("0.0765 in"))
    for weeks, text in ((60, "0.0770 in"), (60, "0.0760 in"), (51, "0.0770 in")):
        came_in(owner, kind, weeks, text)
    scrapped(owner, came_in(owner, kind, 70), 53)
    moved, young = (KindFactory.create(fit=kind.fit, code=code) for code in ("MOVED", "YOUNG"))
    came_in(owner, moved, 60)
    scrapped(owner, came_in(owner, moved, 60), 51)
    came_in(owner, young, 51)
    table = not_moved(owner.shop)
    assert picked(table, "kind", "plates", "value", "no_cost", "bins") == [("S-077", 2, Decimal("5.20"), 0, "B-1, B-2")]
    assert table.answer == "2 plates, worth 5.20."


def test_a_young_ledger_says_so(owner: Person, kind: Kind) -> None:
    assert ledger_young(owner.shop) == ""
    came_in(owner, kind, 51)
    assert "less than 52 weeks ago" in ledger_young(owner.shop)
    came_in(owner, kind, 52.1)
    assert ledger_young(owner.shop) == ""


def test_what_counts_found_in_plates_and_money(owner: Person, api: Api, kind: Kind) -> None:
    """Of three plates in B-14 one agrees, one is not there (2.60), one reads otherwise; and one more was found."""
    BinFactory.create(fit=kind.fit, code="B-14")
    gone, otherwise, _ = shelve(owner, kind, "0.0766 in", "0.0773 in", "0.0769 in")
    counting = Counting(api, "0.0780 in", "0.0769 in")
    counting.do("all-read")
    said = {"gone": [str(gone.pk)], "plates": {str(otherwise.pk): ["0.0781 in"]}}
    assert counting.do("book", said).status == 200
    assert picked(count_differences(owner.shop), "bin", "counts", "agreed", "missing", "missing_value", "found") == [
        ("B-14", 1, 1, 1, Decimal("2.60"), 0)
    ]
    again = Counting(api, "0.0769 in", "0.0771 in")
    assert again.do("all-read").body["look"]["over"]
    rows = {"1": {"kind": "S-077", "condition": "used", "readings": ["0.0771 in"]}}
    assert again.do("book", {"rows": rows}).status == 200
    ((*plates, value),) = picked(
        count_differences(owner.shop), "counts", "agreed", "missing", "found", "reread", "no_cost", "found_value"
    )
    assert (plates, value) == ([2, 2, 1, 1, 1, 0], Decimal("2.60"))


def test_an_empty_shop_says_so_in_sentences(owner: Person) -> None:
    text = Counter(owner).open("/figures/")
    for said in (
        "Nothing of the shop's own lies on the shelf.", "Nothing lay on the shelf or was used", "none has lain so long",
        "No pack that may be set was asked about", "No pack was closed", "No count of a bin was booked",
        "No rule was lifted",
    ):  # fmt: skip
        assert said in text, said
    assert "<table" not in Counter(owner).open("/figures/")


@pytest.mark.parametrize(("role", "may"), [("owner", True), ("buyer", True), ("bench", False), ("counter", False)])
def test_the_figures_are_for_owner_and_buyer(owner: Person, kind: Kind, role: str, may: bool) -> None:
    came_in(owner, kind, 1)
    window = Counter(PersonFactory.create(shop=owner.shop, role=role))
    for path in ("/figures/", "/figures/worth.csv"):
        window.open(path)
        assert (window.status, "2.60" in window.html) == ((200, True) if may else (403, False)), path
    for path in ("/", "/buying/"):
        window.open(path)
        assert ('href="/figures/"' in window.html) == may, path
    assert Counter().open("/figures/") and Counter(PersonFactory.create()).open("/figures/").count("2.60") == 0


def test_every_table_is_a_file_that_no_spreadsheet_runs(owner: Person) -> None:
    hostile = FitFactory.create(shop=owner.shop, code="=1+1")
    kind = KindFactory.create(fit=hostile, code="@S", unit_cost="0.1250")
    BinFactory.create(fit=hostile, code="-B")
    came_in(owner, kind, 60)
    window = Counter(owner)
    for name, make in FILES.items():
        answer = window.client.get(f"/figures/{name}.csv")
        rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
        assert len(rows) == len(make(owner.shop).rows), name
        assert answer["Content-Disposition"] == f'attachment; filename="{name}.csv"'
    (still,) = csv.DictReader(io.StringIO("".join(not_moved(owner.shop).file()).removeprefix("\ufeff")))
    assert still == {
        "kind": "'@S", "fit": "'=1+1", "role": "steel", "plates": "1", "value": "0.125", "no_cost": "0", "bins": "'-B",
    }  # fmt: skip
    assert window.client.get("/figures/wages.csv").status_code == 404


def test_the_page_shows_the_first_rows_and_says_where_the_others_are(owner: Person) -> None:
    for _ in range(SHOWN + 2):
        came_in(owner, KindFactory.create(fit=FitFactory.create(shop=owner.shop), unit_cost="1"), 60)
    text = Counter(owner).open("/figures/")
    assert text.count("2 more rows are in the file.") == 3  # by fit and role, turns, not moved
    assert len(list(not_moved(owner.shop).file())) == SHOWN + 3


def test_as_many_queries_for_twice_the_rows(owner: Person) -> None:
    window, counts = Counter(owner), []
    for _ in range(2):
        for _ in range(3):
            kind = KindFactory.create(fit=FitFactory.create(shop=owner.shop), unit_cost="1")
            came_in(owner, kind, 60)
            scrapped(owner, came_in(owner, kind, 60), 3)
        with CaptureQueriesContext(connection) as asked:
            window.open("/figures/")
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 12, counts
