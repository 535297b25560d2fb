"""A file is checked first, every bad row named; then written whole through the services of every other way in."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.catalogue.kinds import KindData, kinds_make
from plates.catalogue.models import Kind
from plates.lengths import length_parse
from plates.scan_codes import scan_format
from plates.stock.bins import bins_make
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Bin, Plate
from shop.people.models import Person
from tests.factories import FitFactory, KindFactory, PersonFactory
from tests.tables.conftest import Desk

pytestmark = pytest.mark.django_db

KINDS = (
    "code,fit,role,nominal,lined_faces,scan_codes,supplier,unit_cost\n"
    'S-87,DRUM,steel,0.087 in,,0123 | 0456,"Plates, Ltd",1.25\n'
    "S-97,DRUM,Steel,2.4638 mm,,,,\n"
)


def test_nothing_is_written_before_the_press_and_everything_after_it(desk: Desk) -> None:
    assert "2 of 2 rows are good" in desk.check("kinds", KINDS)
    assert Kind.objects.count() == 1
    assert "2 rows of kinds written." in desk.write()
    made = Kind.objects.get(code="S-87")
    assert (made.nominal_nm, str(made.unit_cost), made.supplier.name if made.supplier else "") == (
        length_parse("0.087 in"), "1.2500", "Plates, Ltd",
    )  # fmt: skip
    assert sorted(made.scan_codes.values_list("code", flat=True)) == ["0123", "0456"]


def test_sent_twice_it_counts_once(desk: Desk) -> None:
    desk.check("plates", "kind,thickness\nS-77,0.0771 in\n")
    checked = desk.html
    desk.write()
    desk.html = checked
    assert "1 row of plates written." in desk.write()
    assert Plate.objects.count() == 1


@pytest.mark.parametrize("damage", [b"kind,thickness\nS-77,0.0772 in\n", b"kind,thickness\n"])
def test_only_what_was_checked_is_written(desk: Desk, damage: bytes) -> None:
    desk.check("plates", "kind,thickness\nS-77,0.0771 in\n")
    assert "not the file that was checked" in desk.write(damage)
    assert not Plate.objects.exists()


def test_the_seal_is_of_one_person_and_one_table(desk: Desk, owner: Person) -> None:
    desk.check("plates", "kind,thickness\nS-77,0.0771 in\n")
    other = Desk(PersonFactory.create(shop=owner.shop))
    other.html, other.sort, other.content = desk.html, desk.sort, desk.content
    assert "not the file that was checked" in other.write()
    desk.post("/import/plates/", {"file": desk.file(), "write": "1", "key": "abcdefgh", "checked": "forged"})
    assert "was not checked" in desk.text
    assert not Plate.objects.exists()


def test_plates_come_in_as_scanned_with_ledger_warning_and_quarantine(desk: Desk) -> None:
    Kind.objects.update(taper_limit_nm=length_parse("0.001 in"))
    table = (
        "kind;thickness_mm;taper;condition;hot_spot;mark\n"
        "S-77;1,958;;new;;\n"
        "S-77;1.955 | 1.985;;;;\n"
        "S-77;1,958;0.0005 in;used;yes;=7\n"
    )
    said = desk.check("plates", table)
    assert "3 of 3 rows are good" in said and "2 decimal commas were read as points." in said
    assert "Its points range over" in said and "hot spot" in said
    desk.write()
    plates = list(Plate.objects.order_by("id"))
    assert [plate.state for plate in plates] == ["on_shelf", "quarantined", "quarantined"]
    assert [plate.bin.code if plate.bin else None for plate in plates] == ["B-14", None, None]
    assert [plate.mark for plate in plates] == ["", "", "=7"]
    assert [line.readings for line in LedgerLine.objects.order_by("id")] == [
        ["1.958 mm"], ["1.955 mm", "1.985 mm"], ["1.958 mm, taper 0.0005 in"],
    ]  # fmt: skip
    assert plates[2].spread_nm == 12_700


BAD_PLATES = """kind,thickness,bin,condition,hot_spot,gauge

S-77,0.0771 in,,,,
NONE,0.0771 in,,,,
S-77,0.0771,,,,
S-77,,,,,
S-77,0.0771 in,B-99,,,
S-77,0.0771 in,,worn,,
S-77,0.0771 in,,,maybe,
S-77,1.958 in,,,,
S-77,0.0771 in,,,,,more
S-77,0.0771 in,,,,\u202eM-1
"""


def test_every_bad_row_is_named_with_line_column_and_way_out(desk: Desk) -> None:
    said = desk.check("plates", BAD_PLATES)
    assert "1 of 10 rows are good, 9 are not" in said and "write" not in desk.form()["fields"]
    for line in (
        "4kindThere is no kind 'NONE' in this shop. Make it first.",
        "5thickness'0.0771' has no unit: write in, thou, mm or um behind it.",
        "6thicknessFill this in.",
        "7binThere is no bin 'B-99' in this shop. Make it first.",
        '8condition"worn" is not a valid choice. Write new or used, or leave it blank for new.',
        "9hot_spot'maybe' is neither yes nor no; write yes, or leave it blank.",
        "11It has 7 cells and the header 6.",
        "12gaugeIt holds a mark of writing direction that nobody sees, U+202E.",
    ):
        assert line in said
    assert "10thickness" in said and "write yes in a column confirm" in said
    assert not Plate.objects.exists()


def test_rows_of_one_file_are_in_each_others_way(desk: Desk) -> None:
    table = (
        "code,fit,role,from_in,to_in\n"
        "B-15,DRUM,steel,0.0775,0.0785\n"
        "B-16,DRUM,steel,0.0780,0.0790\n"
        "B-15,DRUM,steel,0.0790,0.0800\n"
        "B-14,DRUM,steel,0.0800,0.0810\n"
    )
    said = desk.check("bins", table)
    assert "3fromBin B-15 spans" in said
    assert "4code'B-15' stands on line 2 already." in said
    assert "5code'B-14' is there already." in said
    assert Bin.objects.count() == 1


def test_bad_kinds_are_named_as_the_service_names_them(desk: Desk, owner: Person) -> None:
    Kind.objects.get().scan_codes.create(shop_id=owner.shop_id, code="0123")
    table = (
        "code,fit,role,nominal_in,lined_faces,reuse_minimum_in,scan_codes\n"
        "K-1,DRUM,steel,0.077,,,0123\n"
        "K-2,DRUM,steel,0.077,1,,\n"
        "K-3,DRUM,steel,0.077,,0.078,777\n"
        "K-4,DRUM,steel,0.077,,,777 | 777\n"
        "K-5,DRUM,steel,0.077,,,888 | 777\n"
        f"K-6,DRUM,steel,0.077,,,{scan_format('bin', 'B-14')}\n"
        "K-7,DRUM,steel,0.077,,,888\n"
        "K-8,NONE,steel,0.077,,,\n"
    )
    said = desk.check("kinds", table)
    assert "2 of 8 rows are good" in said, "777 is K-4's, since K-3 is refused, and 888 is K-7's"
    for line in (
        "2This scan code means another kind already.",
        "3lined_facesOnly a friction is lined.",
        "4reuse_minimumThe reuse minimum 0.0780 in (1.981 mm) is over the nominal",
        "6This scan code means another kind already.",
        "is the label of bin B-14 here. Scan the barcode that the maker put on.",
        "9fitThere is no fit 'NONE' in this shop.",
    ):
        assert line in said
    assert Kind.objects.count() == 1


def test_what_only_the_database_refuses_is_found_among_many(owner: Person) -> None:
    fit = FitFactory.create(shop=owner.shop)
    told = [KindData(code=f"K-{place % 90}", fit=fit, role="steel", nominal_nm=place % 40) for place in range(100)]
    done = kinds_make(person=owner, kinds=told)
    assert {place: str(why) for place, why in done.refused.items()} == {
        **dict.fromkeys((0, 40, 80), "Nominal and tolerance are above zero, the reuse minimum not over nominal."),
        **dict.fromkeys(range(91, 100), "A kind with this code is there already."),
    }, "K-0 is free for the 90th, since the first was refused"
    assert Kind.objects.filter(fit=fit).count() == len(done.made) == 88


def test_bins_are_refused_one_by_one_and_the_first_of_two_that_overlap_is_written(owner: Person) -> None:
    there = Bin.objects.get()
    spans = [(10, 20), (20, 30), (15, 25), (25, 25), (9, 10), (0, 5), (29, 31), (there.from_nm - 1, there.to_nm + 1)]
    told = [
        Bin(shop_id=owner.shop_id, code=f"N-{place}", fit=there.fit, role="steel", from_nm=low, to_nm=high)
        for place, (low, high) in enumerate([*spans, (31, 40), (41, 50)])
    ]
    told[-1].code = "N-0"
    refused = bins_make(person=owner, bins=told)
    assert {place: why.code for place, why in sorted(refused.items())} == {
        2: "bin_overlap", 3: "bad_figures", 6: "bin_overlap", 7: "bin_overlap", 9: "code_taken",
    }  # fmt: skip
    assert [str(refused[place])[:9] for place in (2, 6, 7)] == ["Bin N-0 s", "Bin N-1 s", "Bin B-14 "]
    assert sorted(Bin.objects.values_list("code", flat=True)) == ["B-14", "N-0", "N-1", "N-4", "N-5", "N-8"]


def test_what_changed_since_the_check_is_refused_whole(desk: Desk) -> None:
    desk.check("kinds", KINDS)
    KindFactory.create(fit=Kind.objects.get().fit, code="S-97")
    said = desk.write()
    assert "Nothing was written." in said and "3code'S-97' is there already." in said
    assert not Kind.objects.filter(code="S-87").exists()


def test_a_shop_imports_into_itself(desk: Desk) -> None:
    FitFactory.create(code="THEIRS")
    assert "There is no fit 'THEIRS' in this shop." in desk.check(
        "kinds", "code,fit,role,nominal\nX,THEIRS,steel,2 mm\n"
    )
    stranger = Desk(PersonFactory.create())
    assert "There is no kind 'S-77' in this shop." in stranger.check("plates", "kind,thickness\nS-77,0.0771 in\n")
    assert stranger.export("plates").count(b"\n") == 1


def test_who_may_not_is_told(owner: Person) -> None:
    desk = Desk(PersonFactory.create(shop=owner.shop, role="bench"))
    assert "catalogue is for buyer or owner" in desk.open("/import/kinds/")
    assert "catalogue is for buyer or owner" in desk.check("kinds", KINDS)
    assert Kind.objects.count() == 1


@pytest.mark.parametrize(
    ("sort", "heads", "row"),
    [
        ("kinds", "code,fit,role,nominal_in,scan_codes,supplier", "{0},DRUM,steel,0.077,{0} | {0}+,Works"),
        ("bins", "code,fit,role,from_mm,to_mm", "{0},DRUM,steel,1{0},1{0}.5"),
        ("plates", "kind,thickness,source", "S-77,0.0771 in,M-1"),
    ],
)
def test_many_rows_cost_no_more_queries_than_few(desk: Desk, sort: str, heads: str, row: str) -> None:
    def asked(*places: int) -> int:
        desk.check(sort, "\n".join([heads, *(row.format(place) for place in places)]))
        with CaptureQueriesContext(connection) as queries:
            assert "written." in desk.write()
        return len(queries)

    asked(9)
    assert asked(*range(10, 14)) == asked(*range(14, 99))
