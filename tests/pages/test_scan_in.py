"""*Scan in*: one press of the micrometer a plate, and whatever a tired hand may type instead."""

import pytest

from plates.catalogue.models import Fit, Kind, ScanCode
from plates.scan_codes import scan_format
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Bin, Plate
from tests.factories import BinFactory, KindFactory
from tests.pages.conftest import Bench
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db
AT = "/scan-in/kind/STEEL-77/"


@pytest.fixture
def scanning(counter: Counter) -> Counter:
    counter.open("/scan-in/", code="STEEL-77")
    assert counter.path.startswith(AT)
    return counter


def test_a_label_and_a_code_both_begin_a_batch(bench: Bench, counter: Counter) -> None:
    ScanCode.objects.create(shop=bench.owner.shop, kind=bench.kind, code="6291041500213")
    for code in ("6291041500213", "STEEL-77"):
        counter.open("/scan-in/", code=code)
        assert counter.path.startswith(AT)
    assert "No label and no kind is called “nonsense”" in counter.open("/scan-in/", code="nonsense")


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        # 0.077 in = 1.9558 mm: one inch is 25.4 mm exactly (NIST SP 811 App. B, agreement of 1959).
        ("77", "0.0770 in (1.956 mm)"),
        (".077", "0.0770 in (1.956 mm)"),
        ("1.958", "0.0771 in (1.958 mm)"),
        ("1.958MM", "0.0771 in (1.958 mm)"),
        (" 0.0771 in ", "0.0771 in (1.958 mm)"),
        (".0770 .0772", "0.0771 in (1.958 mm)"),
        ("0.235-.158", "0.0770 in (1.956 mm)"),
    ],
)
def test_one_reading_gives_bin_and_both_units_and_the_field_is_ready_again(
    scanning: Counter, typed: str, shown: str
) -> None:
    text = scanning.send(AT, {"reading": typed})
    assert "goes into bin B-14" in text
    assert shown in text
    assert "This batch: 1" in text
    fields = scanning.form(AT)["fields"]
    assert fields["reading"] == [""]
    assert 'name="reading" autofocus' in scanning.html or "autofocus" in scanning.html.split('name="reading"')[1][:200]


def test_a_double_enter_books_once(scanning: Counter) -> None:
    form = scanning.form(AT)["fields"] | {"reading": ".0771"}
    before = Plate.objects.count()
    scanning.post(AT, form)
    text = scanning.post(AT, form)
    assert Plate.objects.count() == before + 1
    assert "This batch: 1" in text


def test_the_form_before_sent_again_with_another_reading_counts_nothing_and_asks(scanning: Counter) -> None:
    form = scanning.form(AT)["fields"]
    scanning.post(AT, form | {"reading": ".0771"})
    before = Plate.objects.count()
    text = scanning.post(AT, form | {"reading": ".0769"})
    assert "was sent already" in text
    assert Plate.objects.count() == before
    assert "This batch: 2" in scanning.send(AT)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "Nothing was read"),
        ("abc", "is not a reading"),
        ("1,958", "Write a point, not a comma"),
        ("0", "A reading is above zero"),
        ("-.077", "is not a reading"),
        ("٧٧", "is not a reading"),
        ("0.0771 in extra", "is not a reading"),
        ("1 " * 13, "at most 12"),
        ("99999999999", "longer than ten metres"),
    ],
)
def test_what_is_no_reading_is_said_beside_the_field(scanning: Counter, typed: str, said: str) -> None:
    before = Plate.objects.count()
    text = scanning.send(AT, {"reading": typed})
    assert said in text
    assert scanning.status == 200
    assert 'aria-describedby="id_reading_helptext id_reading_error"' in scanning.html
    assert Plate.objects.count() == before


def test_what_was_not_booked_never_shows_the_bin_of_the_one_before_in_large_type(scanning: Counter) -> None:
    scanning.send(AT, {"reading": ".0771"})
    for typed in ("abc", ".0991"):
        text = scanning.send(AT, {"reading": typed})
        assert "not booked" in text and 'class="bin">' not in scanning.html
        assert "The one before: 0.0771 in (1.958 mm), bin B-14" in text


def test_an_entry_in_the_wrong_unit_is_offered_as_what_it_may_be(scanning: Counter) -> None:
    """1.955 keyed as inch into a bin of .077: implausible, offered as 1.955 mm = .0770 in."""
    before = Plate.objects.count()
    text = scanning.send(AT, {"reading": "1.955 in"})
    assert "Not booked." in text and "It is 1.955 mm" in text
    assert Plate.objects.count() == before
    text = scanning.send(AT, nth=0)
    assert "0.0770 in (1.955 mm)" in text and "goes into bin B-14" in text


def test_an_implausible_reading_may_be_another_kind_or_confirmed(bench: Bench, scanning: Counter) -> None:
    KindFactory.create(fit=bench.kind.fit, code="STEEL-87", nominal_nm=87 * 25_400)
    text = scanning.send(AT, {"reading": ".0871"})
    assert "It is a STEEL-87" in text
    other = scanning.form("/scan-in/kind/STEEL-87/")
    scanning.post(other["action"], other["fields"])
    assert Plate.objects.filter(kind__code="STEEL-87").count() == 1
    assert "No bin of fit DRUM spans" in scanning.text

    scanning.open(AT)
    scanning.send(AT, {"reading": ".0871"})
    assert "has no bin" in scanning.send(AT, nth=0)
    assert Plate.objects.filter(kind=bench.kind, thickness_nm=2_212_340).count() == 1


def test_undo_takes_back_the_last_scan_once(scanning: Counter) -> None:
    scanning.send(AT, {"reading": ".0771"})
    scanning.send(AT, {"reading": ".0769"})
    form = scanning.form("/scan-in/undo/")
    text = scanning.post(form["action"], form["fields"])
    assert "undone" in text and "This batch: 1" in text
    assert "This batch: 1" in scanning.post(form["action"], form["fields"])
    assert LedgerLine.objects.filter(act="undone").count() == 1
    assert "This batch: 2" in scanning.send(AT, {"reading": ".0769"})


def test_the_condition_stays_from_plate_to_plate(scanning: Counter) -> None:
    scanning.send(AT, {"reading": ".0771", "condition": "used"})
    assert scanning.form(AT)["fields"]["condition"] == ["used"]
    scanning.send(AT, {"reading": ".0769"})
    assert Plate.objects.filter(condition="used").count() == 2


def test_two_tabs_count_two_batches(bench: Bench) -> None:
    one, two = Counter(bench.owner), Counter(bench.owner)
    two.client = one.client
    for tab in (one, two):
        tab.open("/scan-in/", code="STEEL-77")
    one.send(AT, {"reading": ".0771"})
    assert "This batch: 2" in one.send(AT, {"reading": ".0770"})
    assert "This batch: 1" in two.send(AT, {"reading": ".0769"})


def test_a_label_scanned_into_the_reading_field_begins_its_own_batch(bench: Bench, scanning: Counter) -> None:
    KindFactory.create(fit=bench.kind.fit, code="STEEL-87", nominal_nm=87 * 25_400)
    scanning.send(AT, {"reading": "STEEL-87"})
    assert scanning.path.startswith("/scan-in/kind/STEEL-87/")
    assert "This batch: 0" in scanning.text


def test_the_echo_shows_both_units_before_anything_counts(counter: Counter) -> None:
    # 1.955 mm / 25.4 = 0.07697 in (NIST SP 811 App. B).
    assert "0.0770 in (1.955 mm)" in counter.open("/echo/", reading="1.955")
    assert "is not a reading" in counter.open("/echo/", reading="x")
    assert "74 is thou, .074 is in, 1.88 is mm" in counter.open("/echo/", reading="")


def test_a_point_behind_thou_is_thou_where_it_can_be_nothing_else(scanning: Counter) -> None:
    # 77.1 thou × 25.4 = 1 958.34 µm; a plate of 77.1 mm there is none.
    assert "0.0771 in (1.958 mm)" in scanning.echo("reading", "77.1")
    assert "0.0771 in (1.958 mm)" in scanning.send(AT, {"reading": "77.1"})
    assert Plate.objects.latest("received_at").thickness_nm == 1_958_340


def test_a_shop_that_works_in_mm_reads_a_bare_figure_as_mm(bench: Bench, counter: Counter) -> None:
    bench.owner.shop.unit_first = "mm"
    bench.owner.shop.save()
    counter.open("/scan-in/", code="STEEL-77")
    assert "a bare figure is mm" in counter.text
    # 1.958 mm / 25.4 = 0.07709 in (NIST SP 811 App. B).
    assert "1.958 mm (0.0771 in)" in counter.send(AT, {"reading": "1.958"})


def test_the_life_of_a_plate_stands_on_its_page(scanning: Counter) -> None:
    scanning.send(AT, {"reading": "77.1 thou"})
    plate = Plate.objects.order_by("-id")[0]
    text = scanning.open(f"/plates/{plate.pk}/")
    assert "received" in text and "77.1 thou" in text and "B-14" in text


def test_the_label_of_a_bin_says_where_the_next_ones_go_until_it_is_scanned_again(scanning: Counter) -> None:
    BinFactory.create(fit=Plate.objects.all()[0].fit, code="C-9", from_nm=3_000_000, to_nm=3_100_000)
    label = scan_format("bin", "C-9")
    assert "Into bin C-9" in scanning.send(AT, {"reading": label})
    for _ in range(2):
        text = scanning.send(AT, {"reading": ".0771"})
        assert "goes into bin C-9" in text and "lies outside bin C-9" in text
    assert "Into bin C-9" not in scanning.send(AT, {"reading": label})
    assert "goes into bin B-14" in scanning.send(AT, {"reading": ".0771"})
    assert "No bin is called Z-1" in scanning.send(AT, {"reading": scan_format("bin", "Z-1")})
    # Its code, typed by whoever has no scanner at hand, means the same.
    assert "Into bin C-9" in scanning.send(AT, {"reading": "c-9"})
    assert "Into bin C-9" not in scanning.send(AT, {"reading": "C-9"})
    assert "not a reading" in scanning.send(AT, {"reading": "Z-1"})


def test_boxes_and_customers_plates_are_kept_apart_until_that_is_blanked(scanning: Counter) -> None:
    text = scanning.send(AT, {"reading": "", "box": "KIT-3", "owner": "Mrs Gray"})
    assert "Box KIT-3" in text and "Plates of Mrs Gray" in text and "Nothing was read" not in text
    scanning.send(AT, {"reading": ".0771"})
    assert Plate.objects.filter(box="KIT-3", owner="Mrs Gray").count() == 1
    assert "Box KIT-3" not in scanning.send(AT, {"reading": ".0771", "box": "", "owner": ""})
    assert Plate.objects.filter(box="KIT-3").count() == 1


def test_plates_without_a_bin_are_gathered_with_what_bin_they_want(bench: Bench, scanning: Counter) -> None:
    Bin.objects.update(from_nm=76 * 25_400, to_nm=77 * 25_400)
    scanning.send(AT, {"reading": ".0771"})
    text = scanning.send(AT, {"reading": ".0774"})
    assert "Without a bin: 2, 0.0771 in (1.958 mm) to 0.0774 in (1.966 mm). Lay them with the unsorted ones" in text


@pytest.mark.parametrize(("typed", "found"), [("36 5.5", 2), ("36 5.5 steel", 1), ("140mm disc", 1), ("37", 0)])
def test_teeth_and_diameter_find_the_kind(bench: Bench, counter: Counter, typed: str, found: int) -> None:
    """5.5 in = 139.7 mm (NIST SP 811 App. B), which rounds to 140 mm."""
    Fit.objects.filter(code="DRUM").update(teeth=36, outer_nm=139_700_000)
    Kind.objects.exclude(fit__code="DRUM").delete()
    KindFactory.create(fit=bench.kind.fit, code="F-80", role="friction", lined_faces=2)
    text = counter.open("/scan-in/", code=typed)
    if found == 1:
        assert counter.path.startswith("/scan-in/kind/")
    else:
        assert text.count("36 teeth") == found


def test_another_persons_page_books_nothing(bench: Bench, scanning: Counter) -> None:
    before = Plate.objects.count()
    form = scanning.form(AT)["fields"] | {"reading": ".0771", "by": "somebody-else"}
    assert "Somebody else typed this scan" in scanning.post(AT, form)
    assert Plate.objects.count() == before
