"""A row that counts more than one is a lot: some of its plates measured, the rest at their mean."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.catalogue.models import Kind
from plates.lengths import length_parse
from plates.stock.findings import Reading, Tags
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Lot, Plate
from plates.stock.services import lot_receive
from shop.people.models import Person
from tests.tables.conftest import Desk

pytestmark = pytest.mark.django_db

FIVE = ["0.0770", "0.0771", "0.0772", "0.0773", "0.0774"]
LOT = f"kind,count,thickness_in,source,hot_spot\nS-77,20,{' | '.join(FIVE)},Works,\n"


def kept(lot: Lot) -> list[tuple[object, ...]]:
    """What of a lot is in its plates and their ledger lines."""
    plate = "thickness_nm", "spread_nm", "u_nm", "state", "bin__code", "source"
    lines = LedgerLine.objects.filter(plate__lot=lot).order_by("plate")
    return list(lines.values_list(*(f"plate__{name}" for name in plate), "readings", "act", "findings", "reason"))


def test_a_lot_comes_in_as_over_every_other_way(desk: Desk, owner: Person) -> None:
    said = desk.check("plates", f"{LOT}S-77,1,0.0775,,\nS-77,,0.0776,,\n")
    assert "3 of 3 rows are good" in said and "No bin of fit DRUM" in said
    # 0.0772 in is the mean, 0.0004 in the range; 0.0004 in = 0.010 mm (NIST SP 811 App. B).
    assert "220 of S-77, 5 measured: mean 0.0772 in (1.961 mm), spread 0.0004 in (0.010 mm). 20 in B-14." in said
    assert not Plate.objects.exists() and not Lot.objects.exists()
    desk.write()
    made = Lot.objects.get()
    assert (made.count, made.measured, made.mean_nm, made.spread_nm) == (20, 5, length_parse("0.0772 in"), 10_160)
    assert Plate.objects.count() == 22
    readings = [Reading([f"{text} in"], [length_parse(f"{text} in")]) for text in FIVE]
    kind = Kind.objects.get()
    other = lot_receive(person=owner, kind=kind, count=20, readings=readings, tags=Tags(source="Works")).lot
    assert other and kept(made) == kept(other)


def test_its_plates_are_told_where_they_go(desk: Desk) -> None:
    Kind.objects.update(reuse_minimum_nm=length_parse("0.0769 in"))
    said = desk.check("plates", "kind,count,thickness_in,condition\nS-77,3,0.0774 | 0.0775 | 0.0766,used\n")
    assert "1 in B-14, 1 in no bin, 1 in quarantine." in said
    assert desk.write() and Lot.objects.get().measured == 3


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ("20,0.0770 | 0.0781,,", "2thicknessThe plates read range over 0.0011 in (0.028 mm), more than 0.0010 in"),
        ("2,0.0770 | 0.0771 | 0.0772,,", "2thickness3 plates were read of a lot of 2."),
        ("20,0.0770 | 0.1770,,", "2thickness"),
        ("20,1,,", "write yes in a column confirm"),
        ("20,0.0770 | x,,", "2thickness_in'x' is no plain number; its column says that it is in."),
        ("20,,,", "2thickness_inFill this in."),
        ("0,0.0770,,", "2countEnsure this value is greater than or equal to 1."),
        ("2001,0.0770,,", "2countEnsure this value is less than or equal to 2000."),
        ("999999999,0.0770,,", "2countEnsure this value is less than or equal to 2000."),
        ("9999999999,0.0770,,", "2count'9999999999' is no whole number"),
        ("-2,0.0770,,", "2count'-2' is no whole number"),
        ("2.0,0.0770,,", "2count'2.0' is no whole number"),
        ("1e3,0.0770,,", "2count'1e3' is no whole number"),
        ("٢,0.0770,,", "2count'٢' is no whole number"),
        ("=1+1,0.0770,,", "2count'=1+1' is no whole number"),
        ("20,0.0770,0.001 in,", "2taperA taper is of one plate."),
        ("20,0.0770,,yes", "2unreadIt carries the mean of its lot."),
    ],
)
def test_a_bad_lot_is_refused_with_its_line(desk: Desk, cells: str, told: str) -> None:
    said = desk.check("plates", f"kind,count,thickness_in,taper,unread\nS-77,{cells}\nS-77,,0.0771,,\n")
    assert told in said and "1 of 2 rows are good, 1 is not" in said
    assert "write" not in desk.form()["fields"] and not Plate.objects.exists()


def test_twelve_points_of_a_plate_and_more_plates_of_a_lot(desk: Desk) -> None:
    many = " | ".join(["0.0771 in"] * 13)
    assert "2thickness" in desk.check("plates", f"kind,thickness\nS-77,{many}\n")
    assert "1 of 1 row is good" in desk.check("plates", f"kind,thickness,count\nS-77,{many},13\n")


def test_few_of_a_lot_are_taken_with_a_word(desk: Desk) -> None:
    said = desk.check("plates", "kind,count,thickness_in\nS-77,20,0.0771 | 0.0772\n")
    assert "1 of 1 row is good" in said and "Only 2 of 20 were read; read 5 for a mean that can be trusted." in said


def test_the_plates_of_all_lots_of_a_file_are_bounded(desk: Desk) -> None:
    row = "S-77,2000,0.0771\n"
    assert "The file holds 20001 plates with its lots, more than 20000." in desk.check(
        "plates", f"kind,count,thickness_in\n{row * 10}S-77,,0.0771\n"
    )


def test_a_lot_sent_twice_comes_in_once(desk: Desk) -> None:
    desk.check("plates", LOT)
    checked = desk.html
    desk.write()
    desk.html = checked
    desk.write()
    assert Lot.objects.count() == 1 and Plate.objects.count() == 20


def test_many_lots_cost_no_more_queries_than_few(desk: Desk) -> None:
    def asked(count: int) -> int:
        desk.check("plates", "kind,count,thickness_in\n" + "S-77,6,0.0771 | 0.0772\n" * count)
        with CaptureQueriesContext(connection) as queries:
            desk.write()
        return len(queries)

    assert asked(2) == asked(20)


def test_an_export_has_a_row_for_each_plate_and_no_count(desk: Desk) -> None:
    desk.check("plates", LOT)
    desk.write()
    heads, *rows = desk.export("plates").decode("utf-8-sig").splitlines()
    assert "count" not in heads.split(",") and len(rows) == 20
    assert sum(row.endswith(",yes") for row in rows) == 15
