"""*A lot*: a delivery at the counter of which five plates are measured, or all of them, and booked at once."""

import pytest

from plates.catalogue.models import Kind
from plates.lengths import length_parse
from plates.measuring.models import GaugeType
from plates.measuring.services import gauge_make, gauge_withdraw
from plates.scan_codes import scan_format
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Bin, Lot, Plate
from shop.people.models import Role
from tests.factories import BinFactory, PersonFactory
from tests.pages.conftest import Bench
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db
AT = "/scan-in/kind/STEEL-77/"
LOT = f"{AT}lot/"
FIVE = [".0770", ".0771", ".0772", ".0773", ".0774"]


def begin(counter: Counter, count: str = "20", **said: str) -> str:
    """From the scan page, whose form goes along, to the lot."""
    counter.open("/scan-in/", code="STEEL-77")
    counter.post(LOT, {**counter.form(AT)["fields"], "act": "begin", **said})
    return counter.send(LOT, {"count": count})


@pytest.fixture
def lot(counter: Counter) -> Counter:
    begin(counter)
    return counter


def read(counter: Counter, *readings: str) -> str:
    for reading in readings:
        counter.send(LOT, {"reading": reading})
    return counter.text


def ours() -> int:
    return Plate.objects.exclude(lot=None).count()


def test_five_of_twenty_are_read_and_all_are_booked_at_once(lot: Counter) -> None:
    assert "0 of 5" in lot.text
    for done, reading in enumerate(FIVE, start=1):
        assert f"{done} of 5" in read(lot, reading)
        assert not Lot.objects.exists()
    # 0.0772 in is the mean, 0.0004 in the range; 0.0004 in = 0.010 mm (NIST SP 811 App. B).
    assert "range so far 0.0004 in (0.010 mm)" in lot.text
    assert "mean 0.0772 in (1.961 mm), spread 0.0004 in (0.010 mm)" in lot.text
    assert "B-14 5 read and 15 unread, at the mean" in lot.text
    text = lot.send(LOT)
    assert lot.path.startswith(AT) and "20 of STEEL-77" in text and "This batch: 20" in text
    made = Lot.objects.get()
    assert (made.count, made.measured, made.mean_nm, made.spread_nm) == (20, 5, length_parse("0.0772 in"), 10_160)
    assert LedgerLine.objects.filter(plate__lot=made).count() == 20
    assert sorted(line.readings for line in LedgerLine.objects.filter(plate__lot=made).exclude(readings=[])) == [
        [f"{reading} [in]"] for reading in FIVE
    ]


def test_a_second_enter_and_the_way_back_book_nothing_more(lot: Counter) -> None:
    before = lot.path
    read(lot, *FIVE)
    full, form = lot.path, lot.form(LOT)["fields"]
    assert full != before
    lot.post(LOT, form)
    for _ in range(2):
        assert "20 of STEEL-77" in lot.post(LOT, form)
    lot.open(full)
    assert lot.path.startswith(f"{AT}?")
    lot.post(LOT, form | {"reading": ".0775"})
    assert (Lot.objects.count(), ours()) == (1, 20)


def test_an_uneven_lot_is_read_whole(counter: Counter) -> None:
    begin(counter, "7")
    text = read(counter, ".0765", ".0775")
    assert "2 of 5" in text and "range over" not in text  # 0.001 in is not more than 0.001 in
    text = read(counter, ".0776")
    assert "3 of 7" in text and "range over more than 0.0010 in (0.025 mm), so none may go unread" in text
    text = counter.send(LOT)
    assert "Nothing was read" in text and not Lot.objects.exists()
    read(counter, ".0770", ".0770", ".0770")
    assert "6 of 7" in counter.text
    read(counter, ".0770")
    assert "7 of 7" in counter.text and "All 7 are read" in read(counter, ".0770")
    counter.send(LOT)
    assert (Lot.objects.get().measured, ours()) == (7, 7)


def test_undo_takes_the_last_reading_and_only_that(lot: Counter) -> None:
    read(lot, ".0770", ".0779")
    undo = lot.form(LOT, nth=1)
    text = lot.post(LOT, undo["fields"] | {"act": "undo"})
    assert "1 of 5" in text and "range so far 0.0000 in" in text
    assert "1 of 5" in lot.post(LOT, undo["fields"] | {"act": "undo"})


def test_leaving_books_nothing_and_says_so(lot: Counter) -> None:
    read(lot, *FIVE[:2])
    text = lot.post(LOT, lot.form(LOT, nth=1)["fields"] | {"act": "leave"})
    assert "The lot is left: nothing of it is booked. Lay the 2 that were read back to the delivery." in text
    assert not Lot.objects.exists() and "This batch: 0" in text
    assert "This batch: 1" in lot.send(AT, {"reading": ".0771"})


def test_a_lot_that_was_booked_is_undone_whole(lot: Counter) -> None:
    read(lot, *FIVE)
    lot.send(LOT)
    form = lot.form("/scan-in/undo/")
    text = lot.post(form["action"], form["fields"])
    assert "Take all 20 away again" in text and "This batch: 0" in text
    assert ours() == Plate.objects.filter(state="scrapped").count() == 20
    assert "This batch: 0" in lot.post(form["action"], form["fields"])
    assert LedgerLine.objects.filter(act="undone").count() == 20


def test_a_lot_of_which_a_plate_has_moved_is_not_undone(lot: Counter) -> None:
    read(lot, *FIVE)
    lot.send(LOT)
    form = lot.form("/scan-in/undo/")
    plate = Plate.objects.exclude(lot=None)[0]
    lot.open(f"/plates/{plate.pk}/")
    lot.send("/scrap/", {"reason": "bent"})
    assert "Something has happened to plates of this lot" in lot.post(form["action"], form["fields"])
    assert Plate.objects.filter(state="on_shelf").exclude(lot=None).count() == 19


def test_a_reading_in_the_wrong_unit_is_not_counted_and_offered_as_what_it_may_be(lot: Counter) -> None:
    text = read(lot, "1.955 in")
    assert "Not counted." in text and "It is 1.955 mm" in text and "0 of 5" in text
    text = lot.send(LOT, nth=1)
    assert "1 of 5" in text and "0.0770 in (1.955 mm)" in text


def test_an_implausible_one_that_is_confirmed_is_booked_with_the_lot(counter: Counter) -> None:
    begin(counter, "2")
    read(counter, ".0890")
    assert "1 of 2" in counter.send(LOT, nth=1)
    assert "Not counted." in read(counter, ".0991"), "each one is confirmed by itself"
    read(counter, ".0891")
    counter.send(LOT, nth=1)
    counter.send(LOT)
    assert ours() == 2


@pytest.mark.parametrize("typed", ["", "0", "1", "301", "many", ".0771", "9" * 30])
def test_what_is_no_count_is_said_beside_the_field(counter: Counter, typed: str) -> None:
    text = begin(counter, typed)
    assert "Type how many plates came, 2 to 300." in text
    assert counter.status == 200


@pytest.mark.parametrize(("typed", "said"), [("abc", "is not a reading"), (scan_format("bin", "B-14"), "is a label")])
def test_what_is_no_reading_counts_nothing(lot: Counter, typed: str, said: str) -> None:
    text = read(lot, typed)
    assert said in text and "0 of 5" in text


@pytest.mark.parametrize(
    "damage", [{"read": "x~y"}, {"read": "~".join([".0771"] * 30)}, {"count": "-1"}, {"lot": "x"}, {"batch": "x"}]
)
def test_a_damaged_address_begins_anew(counter: Counter, damage: dict[str, str]) -> None:
    begin(counter)
    fields = counter.form(LOT)["fields"]
    query = {name: fields[name][0] for name in ("batch", "lot", "count")} | damage
    text = counter.open(LOT, **query)
    assert counter.status == 200
    assert "0 of 5" in text or "How many plates" in text


def test_used_ones_are_no_lot(counter: Counter) -> None:
    counter.open("/scan-in/", code="STEEL-77")
    text = counter.post(LOT, {**counter.form(AT)["fields"], "act": "begin", "condition": "used"})
    assert "No lot of used ones." in text
    counter.post(LOT, {**counter.form(LOT)["fields"], "count": "3", "read": ".077~.077~.077", "reading": ""})
    assert not Lot.objects.exists()


def test_box_owner_and_chosen_bin_go_with_the_lot(bench: Bench, counter: Counter) -> None:
    BinFactory.create(fit=bench.kind.fit, code="C-9", from_nm=3_000_000, to_nm=3_100_000)
    begin(counter, "3", box="KIT-3", owner="Mrs Gray", bin="C-9")
    assert "Into bin C-9" in counter.text and "Box KIT-3" in counter.text
    read(counter, ".0771", ".0771", ".0771")
    assert "apart: box KIT-3, plates of Mrs Gray" in counter.send(LOT)
    assert Plate.objects.filter(box="KIT-3", owner="Mrs Gray", bin__code="C-9").count() == 3


def test_a_chosen_bin_that_is_gone_is_refused(counter: Counter) -> None:
    begin(counter, "3", bin="Z-1")
    assert "There is no bin Z-1" in read(counter, ".0771")
    assert "0 of 3" in counter.text


def test_a_gauge_or_bin_that_goes_while_the_lot_is_read_is_said_and_can_be_left(bench: Bench, counter: Counter) -> None:
    made = gauge_make(person=bench.owner, code="MIC-1", type=GaugeType.MICROMETER)
    begin(counter, "3", gauge="MIC-1", bin="B-14")
    full = read(counter, ".0771", ".0772") and counter.path
    gauge_withdraw(person=bench.owner, gauge_id=made.pk, reason="dropped")
    assert "Gauge MIC-1 is withdrawn" in counter.open(full) and counter.status == 200
    assert "2 of 3" in counter.text and "0.0772 in" in counter.text
    assert "Gauge MIC-1 is withdrawn" in read(counter, ".0773") and not Lot.objects.exists()
    counter.open(full.replace("MIC-1", "").replace("B-14", "B-15"))
    assert counter.status == 200 and "There is no bin B-15" in counter.text
    assert counter.send(LOT, {"act": "leave"}, nth=1) and counter.path.startswith(f"{AT}?")


def test_the_mark_of_a_selective_is_named(bench: Bench, counter: Counter) -> None:
    Kind.objects.filter(pk=bench.kind.pk).update(mark="77")
    assert "marked 77: look that every one is" in begin(counter)


def test_plates_without_a_bin_and_quarantined_ones_are_told_before_they_are_booked(
    bench: Bench, counter: Counter
) -> None:
    Bin.objects.update(from_nm=length_parse("0.0770 in"), to_nm=length_parse("0.0772 in"))
    Kind.objects.update(taper_limit_nm=length_parse("0.001 in"))
    begin(counter)
    text = read(counter, ".0769", ".0770", ".0771", ".0764 .0776", ".0771")
    assert "no bin 1 read (number 1)" in text and "quarantine 1 read (number 4)" in text
    assert "B-14 3 read (number 2, 3, 5) and 15 unread, at the mean" in text


def test_another_persons_page_and_another_role_book_nothing(bench: Bench, counter: Counter) -> None:
    begin(counter)
    read(counter, *FIVE)
    fields = counter.form(LOT)["fields"]
    assert "Somebody else typed this scan" in counter.post(LOT, fields | {"by": "somebody-else"})
    buyer = Counter(PersonFactory.create(shop=bench.owner.shop, role=Role.BUYER))
    buyer.post(LOT, fields | {"by": ""})
    assert not Lot.objects.exists()
    stranger = Counter(PersonFactory.create())
    stranger.open(LOT)
    assert stranger.status == 404


@pytest.mark.parametrize(
    ("first", "then", "bare", "after"), [("in", "mm", ".0771", "1.958"), ("mm", "in", "1.958", ".0771")]
)
def test_what_was_read_stands_when_the_shop_turns_to_the_other_unit(
    bench: Bench, counter: Counter, first: str, then: str, bare: str, after: str
) -> None:
    """1.958 mm is no 1.958 in: bare figures keep the unit that they were read in, the next ones have the new one."""
    shop = bench.owner.shop
    shop.unit_first = first
    shop.save()
    begin(counter)
    read(counter, bare, bare, bare)
    shop.unit_first = then
    shop.save()
    assert "4 of 5" in read(counter, after)
    counter.open(counter.path)  # loaded again, or come back to
    assert "4 of 5" in counter.text
    read(counter, after)
    counter.send(LOT)
    lines = LedgerLine.objects.exclude(plate__lot=None).exclude(readings=[]).order_by("plate_id")
    assert [line.readings for line in lines] == [[f"{bare} [{first}]"]] * 3 + [[f"{after} {then}"]] * 2
    assert {round(line.thickness_nm, -4) for line in lines} == {1_960_000}
