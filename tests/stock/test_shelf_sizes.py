"""The shelf by sizes: which bar a plate stands in, what it costs to ask, and that no other shop is counted."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from plates.lengths import length_parse
from plates.stock.models import Plate
from plates.stock.shelf import Histogram, bin_histogram, histograms, plates_between, rows_kept
from plates.stock.shelf_pages import ON_A_PAGE
from plates.stock.sizes import SizeRow
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory, shelve
from tests.pages.counter import Counter
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db


def nm(*lengths: str) -> list[int]:
    return [length_parse(text) for text in lengths]


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def only(person: Person, unit: str = "in") -> Histogram:
    (found,) = histograms(person.shop_id, rows_kept(person.shop_id), unit)
    return found


def bars(found: Histogram) -> dict[int, tuple[int, int]]:
    return {size.centre_nm: (size.lying, size.held) for size in found.sizes}


@pytest.mark.parametrize(
    ("nominals", "unit", "length", "centre"),
    [
        (["0.077 in"], "in", "0.0765 in", "0.077 in"),  # the low edge belongs to it
        (["0.077 in"], "in", "1.943099 mm", "0.076 in"),
        (["0.077 in"], "in", "1.968499 mm", "0.077 in"),
        (["0.077 in"], "in", "0.0775 in", "0.078 in"),  # the high edge to the next
        (["2 mm"], "mm", "1.99 mm", "2 mm"),
        (["2 mm"], "mm", "2.01 mm", "2.02 mm"),
        (["0.0775 in", "0.080 in", "0.0875 in"], "in", "0.0779 in", "0.0775 in"),  # two of three are centred
        (["0.0775 in", "0.080 in"], "in", "0.0801 in", "0.0805 in"),  # as many: the thinnest is
    ],
)
def test_a_size_is_centred_on_the_nominals(nominals: list[str], unit: str, length: str, centre: str) -> None:
    row = SizeRow.of(nm(*nominals), unit)
    number = row.number(length_parse(length))
    assert row.centre_nm(number) == length_parse(centre)
    assert row.from_nm(number) <= length_parse(length) < row.from_nm(number + 1)


def test_bars_count_what_lies_and_what_is_held(api: Api, owner: Person, shelf: Shelf) -> None:
    KindFactory.create(fit=shelf.steels, nominal_nm=length_parse("0.079 in"))
    shelf.stock("0.0765 in", "0.0771 in", "0.0775 in", "0.0700 in", "0.0774 in")
    match = api.post("matches/", question("0.0640 in", ["0.0670 in"] * 5)).body
    held = api.post(f"matches/{match['id']}/hold/", {"option": match["options"][0]["number"]}).body
    where = {plate.pk: plate.thickness_nm for plate in Plate.objects.filter(state="held")}
    assert where, held
    expected = {length_parse("0.079 in"): (0, 0)}
    for length in nm("0.0765 in", "0.0771 in", "0.0775 in", "0.0700 in", "0.0774 in"):
        centre = (length + 12_700) // 25_400 * 25_400
        lying, gone = expected.get(centre, (0, 0))
        expected[centre] = lying + 1, gone + (length in where.values())
    found = only(owner)
    assert bars(found) == expected and found.lying == 5 and found.held == len(where)
    assert [size.nominal for size in found.sizes if size.centre_nm in nm("0.077 in", "0.079 in")] == [True, True]
    # A hold that has run out counts as free, before anybody has written it down.
    Plate.objects.filter(state="held").update(held_until=timezone.now() - timedelta(minutes=1))
    assert only(owner).held == 0 and only(owner).lying == 5


def test_what_left_is_in_no_bar(api: Api, owner: Person, shelf: Shelf) -> None:
    gone = shelf.stock("0.0771 in", "0.0771 in")[0]
    api.post("hand-outs/", {"plates": [str(gone.pk)], "reason": "cash"})
    assert only(owner).lying == 1


def test_each_shop_counts_its_own(owner: Person, shelf: Shelf) -> None:
    other = shelf_of(PersonFactory.create())
    other.stock("0.0771 in", "0.0772 in")
    shelf.stock("0.0771 in")
    assert only(owner).lying == 1 and only(other.person).lying == 2
    assert not plates_between(owner.shop_id, other.steels, "steel", 0, length_parse("1 in"))
    page = Counter(owner).open("/shelf/")
    assert shelf.steels.code in page and other.steels.code not in page


def test_queries_do_not_grow(owner: Person, shelf: Shelf) -> None:
    counter, counts = Counter(owner), []
    for _ in range(2):
        for _ in range(5):
            shelve(owner, KindFactory.create(fit=FitFactory.create(shop=owner.shop)), "0.0771 in", "0.0781 in")
        with CaptureQueriesContext(connection) as asked:
            counter.open("/shelf/")
        counts.append(len(asked))
        assert counter.html.count("<svg") == min(ON_A_PAGE, 1 + 5 * len(counts))
    assert counts[0] == counts[1], counts


def test_a_bar_leads_to_its_plates_and_no_others(owner: Person, shelf: Shelf) -> None:
    BinFactory.create(fit=shelf.steels, code="B-14")
    shelf.stock("0.0765 in", "0.0774 in", "0.0775 in", "0.07649 in")
    counter = Counter(owner)
    counter.open("/shelf/")
    links = re.findall(r'href="([^"]+)" aria-label="0\.077 in: 2 on the shelf"', counter.html)
    page = counter.open(links[0].replace("&amp;", "&"))
    assert "2 on the shelf" in page and "0.0765 in" in page and "0.0774 in" in page
    assert page.count("its life") == 2 and 'href="/bins/B-14/"' in counter.html


@pytest.mark.parametrize(
    ("query", "there"), [("", True), ("?fit=fit-", True), ("?fit=nothing", False), ("?role=friction", False)]
)
def test_filters(owner: Person, shelf: Shelf, query: str, there: bool) -> None:
    assert (shelf.steels.code in Counter(owner).open(f"/shelf/{query}")) is there


@pytest.mark.parametrize(
    "path", ["/shelf/NONE/steel/?from=1 mm&to=2 mm", "/shelf/{}/plate/", "/shelf/{}/steel/?from=x"]
)
def test_what_is_not_there(owner: Person, shelf: Shelf, path: str) -> None:
    assert Counter(owner).client.get(path.format(shelf.steels.code)).status_code == 404


def test_a_bin_is_drawn_finely(owner: Person, shelf: Shelf) -> None:
    home = BinFactory.create(fit=shelf.steels, code="B-14")
    assert bin_histogram(home, "in") == []
    shelf.stock("0.0770 in", "0.0770 in", "0.0773 in")
    assert [(size.centre_nm, size.lying) for size in bin_histogram(home, "in")] == list(
        zip(nm("0.0770 in", "0.0771 in", "0.0772 in", "0.0773 in"), [2, 0, 0, 1], strict=True)
    )
    wide = BinFactory.create(fit=shelf.steels, code="WIDE", from_nm=length_parse("0.09 in"), to_nm=length_parse("2 in"))
    shelf.stock("0.1 in", "1.9 in")
    drawn = bin_histogram(wide, "in")
    assert len(drawn) <= 26 and sum(size.lying for size in drawn) == 2
