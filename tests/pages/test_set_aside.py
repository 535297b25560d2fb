"""At the counter: the gauge of a batch, what is found on used plates, who agreed, and what is set aside."""

import pytest

from plates.lengths import length_parse
from plates.measuring.models import Gauge, GaugeCheck
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from shop.people.models import Role
from tests.factories import PersonFactory
from tests.pages.conftest import Bench
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db
AT = "/scan-in/kind/STEEL-77/"


@pytest.fixture
def scanning(bench: Bench, counter: Counter) -> Counter:
    bench.kind.reuse_minimum_nm = length_parse("0.0755 in")
    bench.kind.taper_limit_nm = length_parse("0.0010 in")
    bench.kind.cone_limit_nm = length_parse("0.0050 in")
    bench.kind.save()
    counter.open("/scan-in/", code="STEEL-77")
    return counter


def last() -> Plate:
    return Plate.objects.order_by("-id")[0]


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        (".0771", ".0771 [in]"),
        ("77.1", "77.1 [thou]"),
        ("77", "77 [thou]"),
        ("  1.958MM ", "1.958MM"),
        ('0.0771"', '0.0771"'),
        ("0.235 - .158", "0.235 - .158 [in]"),
        ("1.958  mm", "1.958  mm"),
    ],
)
def test_what_was_typed_is_kept_to_the_letter(scanning: Counter, typed: str, kept: str) -> None:
    """Where no unit was typed, the one that it was read in stands in brackets behind it."""
    scanning.send(AT, {"reading": typed, "confirm": "on"})
    line = LedgerLine.objects.order_by("-id")[0]
    assert line.readings == [kept]


def test_so_are_several_points_and_what_was_doubted_first(scanning: Counter) -> None:
    scanning.send(AT, {"reading": '.0770  0.0771" 77 thou 0.235 -.158'})
    assert LedgerLine.objects.order_by("-id")[0].readings == [".0770 [in]", '0.0771"', "77 thou", "0.235 -.158 [in]"]
    scanning.send(AT, {"reading": ".0991", "condition": "used"})
    scanning.send(AT, nth=0)
    assert LedgerLine.objects.order_by("-id")[0].readings == [".0991 [in]"]
    assert last().condition == "used"


def test_beyond_a_limit_the_answer_says_quarantine_and_why(scanning: Counter) -> None:
    text = scanning.send(AT, {"reading": ".0760 .0775"})
    assert "lay it with the quarantined ones Quarantine" in text and 'class="bin apart"' in scanning.html
    assert "range over 0.0015 in (0.038 mm); STEEL-77 allows 0.0010 in (0.025 mm)" in text
    assert "goes into bin" not in text and "has no bin" not in text
    assert "This batch: 1" in text and "quarantined0.0768 in" in text
    assert last().state == "quarantined"
    text = scanning.send("/scan-in/undo/")
    assert "undone" in text and "Take it away again" in text and "This batch: 0" in text
    assert "goes into bin B-14" in scanning.send(AT, {"reading": ".0771"})


def test_cone_warp_and_hot_spot_are_of_one_plate_alone(scanning: Counter) -> None:
    text = scanning.send(AT, {"reading": ".0771", "condition": "used", "cone": "8", "warp": "0", "hot_spot": "on"})
    assert "Its cone is 0.0080 in (0.203 mm); STEEL-77 allows 0.0050 in" in text and "hot spot" in text
    line = LedgerLine.objects.order_by("-id")[0]
    assert line.findings == {"cone_nm": 203_200, "warp_nm": 0, "hot_spot": True}
    fields = scanning.form(AT)["fields"]
    assert (fields["cone"], fields["warp"], "hot_spot" in fields, fields["condition"]) == ([""], [""], False, ["used"])
    assert "goes into bin B-14" in scanning.send(AT, {"reading": ".0770"})


def test_what_was_found_is_not_lost_when_the_reading_is_doubted(scanning: Counter) -> None:
    scanning.send(AT, {"reading": "1.955 in", "cone": "8", "gauge": "M-1"})
    scanning.send(AT, nth=0)
    assert (last().state, last().gauge) == ("quarantined", "M-1")
    assert LedgerLine.objects.order_by("-id")[0].findings == {"cone_nm": 203_200}


def gauge(bench: Bench, zero_nm: int = 0, interval_days: int | None = 90) -> Gauge:
    made = Gauge.objects.create(
        shop=bench.owner.shop, code="MIC-1", type="micrometer", resolution_nm=2540, limit_nm=4000, zero_nm=zero_nm,
        interval_days=interval_days,
    )  # fmt: skip
    GaugeCheck.objects.create(
        shop=bench.owner.shop, gauge=made, person=bench.owner, standard_nm=25_000_000, readings=[], error_nm=zero_nm,
        zero_before_nm=zero_nm, zero_after_nm=zero_nm, passed=True, at="2026-01-05T08:00:00Z",
    )  # fmt: skip
    return made


def test_the_gauge_is_said_once_a_batch_and_shows_its_due_date(bench: Bench, scanning: Counter) -> None:
    gauge(bench)
    text = scanning.send(AT, {"reading": ".0771", "gauge": "MIC-1"})
    assert "MIC-1, micrometer: next check due 2026-04-05" in text
    assert "was due for its check on 2026-04-05" in text
    assert scanning.form(AT)["fields"]["gauge"] == ["MIC-1"]
    scanning.send(AT, {"reading": ".0770"})
    assert list(LedgerLine.objects.order_by("-id").values_list("gauge", flat=True)[:2]) == ["MIC-1", "MIC-1"]


def test_enter_after_the_gauge_alone_keeps_it_and_books_nothing(bench: Bench, scanning: Counter) -> None:
    gauge(bench, interval_days=None)
    before = Plate.objects.count()
    text = scanning.send(AT, {"gauge": "MIC-1"})
    assert "Nothing was read" not in text and "not booked" not in text
    assert scanning.form(AT)["fields"]["gauge"] == ["MIC-1"]
    assert "Nothing was read" in scanning.send(AT)
    assert Plate.objects.count() == before


def test_a_zero_error_is_taken_off_and_said(bench: Bench, scanning: Counter) -> None:
    gauge(bench, zero_nm=7620)
    text = scanning.send(AT, {"reading": ".0774", "gauge": "MIC-1"})
    assert "0.0771 in (1.958 mm)" in text and "is taken off every point" in text
    assert last().thickness_nm == length_parse("0.0771 in")


def test_a_withdrawn_gauge_is_refused_beside_its_field(bench: Bench, scanning: Counter) -> None:
    made = gauge(bench)
    made.withdrawn_at = "2026-02-01T00:00:00Z"
    made.save()
    before = Plate.objects.count()
    text = scanning.send(AT, {"reading": ".0771", "gauge": "MIC-1"})
    assert "Gauge MIC-1 is withdrawn" in text and "not booked" in text
    assert scanning.status == 200 and 'id="id_gauge_error"' in scanning.html
    assert scanning.form(AT)["fields"]["reading"] == [".0771"]
    assert Plate.objects.count() == before


def test_nobody_is_asked_for_a_second_person_unless_the_shop_wants_one(bench: Bench, scanning: Counter) -> None:
    assert "agreed_by" not in scanning.form(AT)["fields"]
    PersonFactory.create(shop=bench.owner.shop, username="ada", role=Role.BENCH)
    PersonFactory.create(shop=bench.owner.shop, username="cy", role=Role.BUYER)
    bench.owner.shop.second_person = True
    bench.owner.shop.save()
    scanning.open(AT)
    assert '<option value="ada">' in scanning.html and '<option value="cy">' not in scanning.html
    before = Plate.objects.count()
    text = scanning.send(AT, {"reading": ".0771", "condition": "used"})
    assert "In this shop a used plate is booked by two people" in text and 'id="id_agreed_by_error"' in scanning.html
    assert Plate.objects.count() == before
    scanning.send(AT, {"agreed_by": "ada"})
    assert LedgerLine.objects.order_by("-id")[0].findings == {"agreed_by": "ada"}
    assert "agreed by ada" in scanning.open(f"/plates/{last().pk}/")


def test_what_is_set_aside_is_listed_with_its_reason_and_read_again(scanning: Counter) -> None:
    scanning.send(AT, {"reading": ".0771", "condition": "used", "cone": "8"})
    aside = last()
    text = scanning.open("/bins/")
    assert "Quarantined" in text and "Its cone is 0.0080 in (0.203 mm)" in text
    text = scanning.open(f"/plates/{aside.pk}/")
    assert "Quarantined: Its cone is 0.0080 in" in text and "cone 0.0080 in (0.203 mm)" in text
    again = f"/plates/{aside.pk}/read-again/"
    # What was found stays until it is looked at again.
    assert "Quarantined: Its cone is" in scanning.send(again, {"reading": ".0770"})
    assert "Nothing was read" in scanning.send(again, {"reading": ""})
    assert "cannot be a plate" not in scanning.send(again, {"reading": ".0770", "cone": "3"})
    aside.refresh_from_db()
    assert (aside.state, aside.bin.code if aside.bin else "") == ("on_shelf", "B-14")
    assert [line.act for line in aside.lines.order_by("seq")] == ["received", "put_back", "put_back"]
    assert "Quarantined" not in scanning.open("/bins/")


def test_an_implausible_reading_again_waits_for_its_tick(scanning: Counter) -> None:
    scanning.send(AT, {"reading": ".0771", "cone": "8"})
    aside = last()
    scanning.open(f"/plates/{aside.pk}/")
    again = f"/plates/{aside.pk}/read-again/"
    assert "is not within" in scanning.send(again, {"reading": "1.955 in", "cone": "0"})
    assert aside.lines.count() == 1
    scanning.send(again, {"confirm": "on"})
    assert aside.lines.count() == 2


def test_it_is_scrapped_with_a_reason_once(scanning: Counter) -> None:
    scanning.send(AT, {"reading": ".0771", "cone": "8"})
    aside = last()
    scanning.open(f"/plates/{aside.pk}/")
    scrap = f"/plates/{aside.pk}/scrap/"
    assert "Fill this in" in scanning.send(scrap)
    form = scanning.form(scrap)
    text = scanning.send(scrap, {"reason": "coned"})
    assert "scrapped: coned" in text and "Scrapped" in text
    assert "scrapped: coned" in scanning.post(scrap, {**form["fields"], "reason": "coned"})
    assert aside.lines.count() == 2


def test_who_may_not_book_sees_no_way_to(bench: Bench, scanning: Counter) -> None:
    scanning.send(AT, {"reading": ".0771", "cone": "8"})
    aside = last()
    buyer = Counter(PersonFactory.create(shop=bench.owner.shop, role=Role.BUYER))
    text = buyer.open(f"/plates/{aside.pk}/")
    assert "Quarantined:" in text and "Scrap it" not in buyer.html
    for act in ("read-again", "scrap"):
        fields = {"key": f"{act}-12345678", "reading": ".077", "condition": "new", "reason": "coned"}
        text = buyer.post(f"/plates/{aside.pk}/{act}/", fields)
        assert "stock is for bench or counter or owner" in text
    assert aside.lines.count() == 1
