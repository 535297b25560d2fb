"""One field finds everything of the shop: one thing goes straight to its page, several are listed, none says why."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.scan_codes import scan_format
from plates.stock.models import Plate
from tests.api import Api
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory, pack, shelve
from tests.finding.conftest import asked, done
from tests.pages.counter import Counter
from tests.shelves import Shelf

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("sort", "code", "to"),
    [
        ("bin", "B-14", "/bins/B-14/"),
        ("kind", "STEEL-87", "/kinds/STEEL-87/"),
        ("job", "J-1182", "/jobs/J-1182/"),
    ],
)
def test_a_label_of_ours_goes_straight_to_its_page(counter: Counter, rosa: Api, sort: str, code: str, to: str) -> None:
    asked(rosa, "J-1182")
    counter.open("/find/", q=f"]C0{scan_format(sort, code)}\r")
    assert (counter.status, counter.path) == (200, to)


@pytest.mark.parametrize(
    ("text", "to"),
    [
        ("b-14", "/bins/B-14/"),
        ("5901234123457", "/kinds/STEEL-87/"),
        ("steel-87", "/kinds/STEEL-87/"),
        ("J-11", "/jobs/J-1182/"),
        ("1", "/matches/1/"),
        ("pack", "/specs/PACK/"),
        ("ros", "/people/rosa/"),
    ],
)
def test_what_one_thing_alone_is_called_goes_straight_there(counter: Counter, rosa: Api, text: str, to: str) -> None:
    asked(rosa, "J-1182")
    counter.open("/find/", q=text)
    assert (counter.status, counter.path) == (200, to)


def test_a_plate_is_found_by_its_id_and_by_its_mark(counter: Counter) -> None:
    plate = Plate.objects.get(mark="PAINT-R")
    for text in (str(plate.pk), "paint"):
        counter.open("/find/", q=text)
        assert counter.path == f"/plates/{plate.pk}/"


def test_a_code_that_others_begin_with_is_the_one_meant(counter: Counter, shelf: Shelf) -> None:
    BinFactory.create(fit=shelf.steels, code="B-140", from_nm=1, to_nm=2)
    counter.open("/find/", q="B-14")
    assert counter.path == "/bins/B-14/"
    text = counter.open("/find/", q="B-1")
    assert "Bins B-14 steel" in text and "B-140 steel" in text and "Jobs" not in text


def lying(counter: Counter) -> int:
    """How many of the size lie in B-14, as the page has it."""
    (count,) = re.findall(r">B-14</a>.*?<b>(\d+)</b>", counter.html)
    return int(count)


@pytest.mark.parametrize("text", [".0870", "0.0870 in", "87", "2.2098 mm", "2210um"])
def test_a_size_finds_plates_by_bin(counter: Counter, text: str) -> None:
    said = counter.open("/find/", q=text)
    assert "0.0870 in (2.210 mm) ± 0.5 thou (0.013 mm)" in said
    assert lying(counter) == 3 and "0.0871 in (2.212 mm)" in said


@pytest.mark.parametrize(("off", "there"), [("0.0875 in", True), ("0.08751 in", True), ("0.08752 in", False)])
def test_a_size_reaches_half_a_thou_to_either_side(counter: Counter, off: str, there: bool) -> None:
    """All lie at .08701."""
    Plate.objects.update(thickness_nm=2_209_800 + 254)
    assert ("B-14" in counter.open("/find/", q=off)) is there


def test_plates_that_left_are_of_no_size(counter: Counter, rosa: Api) -> None:
    done(rosa, "J-1", "take")
    counter.open("/find/", q=".0871")
    assert lying(counter) == 1


@pytest.mark.parametrize("word", ["separator", "reaction plate", "Steels", "separators"])
def test_words_of_the_trade_mean_roles(counter: Counter, word: str) -> None:
    text = counter.open("/find/", q=word)
    assert "B-14 steel" in text


@pytest.mark.parametrize(
    ("word", "role"),
    [
        ("fiber", "friction"),
        ("lining", "friction"),
        ("disc", "friction"),
        ("end plate", "pressure"),
        ("retaining plate", "pressure"),
        ("backing", "pressure"),
        ("cushion plate", "wave"),
        ("circlip", "snap_ring"),
        ("snap ring", "snap_ring"),
    ],
)
def test_other_words_of_the_trade(counter: Counter, shelf: Shelf, word: str, role: str) -> None:
    KindFactory.create(fit=shelf.steels, code="ODD", role=role, lined_faces=2 if role == "friction" else 0)
    BinFactory.create(fit=shelf.steels, code="Z-9", role=role)
    text = counter.open("/find/", q=word)
    assert re.search("Bins Z-9 ", text) and re.search("Kinds ODD ", text) and "B-14" not in text


def test_nothing_found_says_what_was_tried_and_how_to_go_on(counter: Counter) -> None:
    text = counter.open("/find/", q="xyzzy")
    assert "Nothing goes by “xyzzy”." in text and "Tried: a plate's id and mark, bin, job, match number" in text
    assert "A maker's barcode is known once it stands with its kind" in text
    text = counter.open("/find/", q=".0500")
    assert "Tried: plates on the shelf of 0.0500 in (1.270 mm) ± 0.5 thou" in text
    text = counter.open("/find/", q=scan_format("bin", "GONE"))
    assert "The label says bin GONE, and this shop has none of this code." in text
    text = counter.open("/find/", q=scan_format("bin", "B-14")[:-1])
    assert "half of it was read" in text
    assert "Scan or type" in counter.open("/find/")


@pytest.mark.parametrize("text", ["%", "_", "'", "a" * 5000, "९९", "1" * 19, "1e9", "<b>"])
def test_odd_text_finds_nothing_and_breaks_nothing(counter: Counter, text: str) -> None:
    counter.open("/find/", q=text)
    assert (counter.status, counter.path) == (200, "/find/")
    assert "<b><b>" not in counter.html


def test_nothing_of_another_shop_is_found(counter: Counter, elsewhere: Counter, rosa: Api) -> None:
    done(rosa, "J-1182", "hold")
    plate = Plate.objects.get(mark="PAINT-R")
    texts = ["B-14", "STEEL-87", "5901234123457", "J-1182", "1", "PACK", "rosa", "PAINT-R", str(plate.pk), ".0870"]
    for text in [*texts, "steel", *(scan_format(*one) for one in [("bin", "B-14"), ("job", "J-1182")])]:
        elsewhere.open("/find/", q=text)
        assert (elsewhere.status, elsewhere.path) == (200, "/find/"), text
        assert "Nothing goes by" in elsewhere.text or "this shop has none" in elsewhere.text, text
    for path in ("/jobs/J-1182/", "/people/rosa/", "/kinds/STEEL-87/", "/bins/B-14/"):
        elsewhere.open(path)
        assert elsewhere.status == 404, path


@pytest.mark.parametrize("text", ["steel", "M", "77", "J"])
def test_twice_the_rows_cost_no_more_queries(counter: Counter, shelf: Shelf, rosa: Api, text: str) -> None:
    def more(row: int) -> None:
        fit = FitFactory.create(shop=shelf.person.shop, code=f"M-FIT-{row}")
        BinFactory.create(fit=fit, code=f"M-{row}")
        kind = KindFactory.create(fit=fit, code=f"M-KIND-{row}", set_of=f"M-SET-{row}")
        shelve(shelf.person, kind, "0.0771 in", mark=f"M-{row}")
        pack(shelf.person, fit, shelf.frictions, code=f"M-PACK-{row}")
        PersonFactory.create(shop=shelf.person.shop, username=f"m-{row}")
        asked(rosa, f"J-{row}")

    more(1), more(2)
    with CaptureQueriesContext(connection) as few:
        counter.open("/find/", q=text)
    assert counter.path == "/find/"
    for row in range(3, 30):
        more(row)
    with CaptureQueriesContext(connection) as many:
        counter.open("/find/", q=text)
    assert len(many) == len(few) <= 14
    assert "The first 20 stand here." in counter.text or text == "77"


def test_any_role_may_look(shelf: Shelf) -> None:
    for role in ("bench", "counter", "buyer", "owner"):
        counter = Counter(PersonFactory.create(shop=shelf.person.shop, role=role))
        counter.open("/find/", q="B-14")
        assert (counter.status, counter.path) == (200, "/bins/B-14/")
