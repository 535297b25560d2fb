"""A bin is counted blind; what differs is booked after a second look."""

from datetime import timedelta

import pytest
from django.core.management import call_command
from django.utils import timezone

from plates.measuring.models import Gauge
from plates.stock.count_book import Fate, SecondLook, count_book
from plates.stock.count_models import BinCount
from plates.stock.counts import count_all_read, count_begin, count_read
from plates.stock.findings import Reading
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Bin, HandOut, Plate
from shop.errors import WrongState
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, PersonFactory
from tests.pages.counter import Counter
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    made = shelf_of(owner)
    BinFactory.create(fit=made.steels, code="B-14")
    return made


@pytest.fixture
def counter(owner: Person, shelf: Shelf) -> Counter:
    return Counter(owner)


def read(counter: Counter, *lengths: str) -> str:
    counter.open("/bins/B-14/")
    counter.send("/count/")
    for length in lengths:
        counter.send("/read/", {"reading": length})
    return counter.text


def test_while_it_is_read_the_page_shows_only_the_bin(counter: Counter, shelf: Shelf) -> None:
    shelf.stock("0.0768 in", "0.0773 in")
    page = read(counter, "0.0768")
    for told in ("0.0773", "0.0765", "0.0775", shelf.kind.code, "2 in it"):
        assert told not in page
    assert "B-14" in page and "read so far1" in page
    assert "read so far0" in counter.send("/undo/")
    assert "is not a reading" in counter.send("/read/", {"reading": "thin"})


def test_a_count_that_agrees_books_nothing_and_is_on_record(counter: Counter, owner: Person, shelf: Shelf) -> None:
    shelf.stock("0.0768 in", "0.0773 in")
    read(counter, "0.0774", "0.0766")
    lines = LedgerLine.objects.count()
    assert "2 read, all as in the ledger" in counter.send("/all-read/")
    assert LedgerLine.objects.count() == lines
    assert f"{owner.username}, 2 read, all as in the ledger" in counter.open("/bins/B-14/")


def test_a_missing_one_is_lost_after_a_second_look(counter: Counter, shelf: Shelf) -> None:
    there, gone = shelf.stock("0.0766 in", "0.0773 in")
    read(counter, "0.0766")
    assert "Not read" in counter.send("/all-read/")
    assert "tick that it is not there" in counter.send("/book/") and not HandOut.objects.exists()
    assert "1 difference" in counter.send("/book/", {f"gone-{gone.pk}": "on"})
    gone.refresh_from_db()
    line = gone.lines.order_by("-seq")[0]
    assert (gone.state, gone.hand_out.reason) == ("handed_out", "lost")
    assert line.reason.endswith("not found when counted")
    there.refresh_from_db()
    assert there.state == "on_shelf"
    call_command("ledger_verify")


def test_a_missing_one_that_is_there_after_all(counter: Counter, shelf: Shelf) -> None:
    (there,) = shelf.stock("0.0766 in")
    read(counter)
    counter.send("/all-read/")
    assert "That is another one" in counter.send("/book/", {f"plate-{there.pk}": "0.0774"})
    assert "all as in the ledger" in counter.send("/book/", {f"plate-{there.pk}": "0.0767"})
    assert not HandOut.objects.exists()


def test_one_that_reads_otherwise_is_read_once_more(counter: Counter, shelf: Shelf) -> None:
    BinFactory.create(code="B-15", fit=shelf.steels, from_nm=1_968_500, to_nm=1_993_900)
    (plate,) = shelf.stock("0.0766 in")
    read(counter, "0.0780")
    assert "Read otherwise" in counter.send("/all-read/")
    assert "Read it once more." in counter.send("/book/")
    assert "agrees neither" in counter.send("/book/", {f"plate-{plate.pk}": "0.0773"})
    assert "lay each into the bin named" in counter.send("/book/", {f"plate-{plate.pk}": "0.0781"})
    plate.refresh_from_db()
    assert (plate.thickness_nm, plate.bin.code, plate.state) == (1_983_740, "B-15", "on_shelf")
    line = plate.lines.order_by("-seq")[0]
    assert (line.act, line.readings) == ("pulled", ["0.0781 [in]"])
    call_command("ledger_verify")


def test_a_second_reading_that_bears_out_the_record_changes_nothing(counter: Counter, shelf: Shelf) -> None:
    (plate,) = shelf.stock("0.0766 in")
    read(counter, "0.0780")
    counter.send("/all-read/")
    assert "all as in the ledger" in counter.send("/book/", {f"plate-{plate.pk}": "0.0766"})
    assert plate.lines.count() == 1


def test_found_lost_before_and_read_twice(counter: Counter, shelf: Shelf, api: Api) -> None:
    lost, there = shelf.stock("0.0774 in", "0.0766 in")
    api.post("hand-outs/", {"plates": [str(lost.pk)], "reason": "lost"})
    read(counter, "0.0766", "0.0770", "0.0774", "0.0766")
    assert "Too many" in counter.send("/all-read/")
    assert "say what it is" in counter.send("/book/")
    rows = [row for row in range(4) if f'name="fate-{row}"' in counter.html]
    twice = next(row for row in rows if row in (0, 3))
    fates = {"fate-1": f"new:{shelf.kind.code}", "fate-2": f"back:{lost.pk}", f"fate-{twice}": "twice"}
    assert "not of one plate" in counter.send("/book/", {**fates, "row-1": "0.0760", "row-2": "0.0774"})
    assert Plate.objects.count() == 2
    said = counter.send("/book/", {"row-1": "0.0771"})
    assert "2 differences" in said
    lost.refresh_from_db()
    assert lost.state == "on_shelf" and lost.lines.order_by("-seq")[0].act == "put_back"
    new = Plate.objects.exclude(pk__in=[lost.pk, there.pk]).get()
    assert (new.source, new.thickness_nm, new.bin.code) == ("found when counted", 1_958_340, "B-14")
    call_command("ledger_verify")


def hold(api: Api) -> Plate:
    match = api.post("matches/", question("0.0640 in", ["0.0670 in"] * 5)).body
    assert api.post(f"matches/{match['id']}/hold/", {"option": match["options"][0]["number"]}).status == 200
    return Plate.objects.filter(state="held")[0]


def test_a_held_one_that_is_missing_stays_promised(counter: Counter, shelf: Shelf, api: Api) -> None:
    shelf.stock("0.0770 in")
    held = hold(api)
    read(counter)
    assert "it stays promised" in counter.send("/all-read/")
    assert "nothing booked, tell that bench" in counter.send("/book/", {f"gone-{held.pk}": "on"})
    held.refresh_from_db()
    assert held.state == "held" and not HandOut.objects.exists()


@pytest.mark.parametrize("when", ["while it is read", "before it is booked"])
def test_what_is_taken_meanwhile_is_not_missing(counter: Counter, shelf: Shelf, api: Api, when: str) -> None:
    taken, gone = shelf.stock("0.0766 in", "0.0773 in")
    read(counter)

    def sell() -> None:
        api.post("hand-outs/", {"plates": [str(taken.pk)], "reason": "cash"})

    if when == "while it is read":
        sell()
        assert "1 moved while the bin was counted" in counter.send("/all-read/")
    else:
        counter.send("/all-read/")
        sell()
    assert "Left out: moved" in counter.send("/book/", {f"gone-{gone.pk}": "on"})
    taken.refresh_from_db()
    assert taken.hand_out.reason == "cash" and HandOut.objects.filter(reason="lost").count() == 1


def test_what_comes_in_meanwhile_is_not_too_many(counter: Counter, shelf: Shelf) -> None:
    read(counter, "0.0771")
    shelf.stock("0.0771 in")
    assert "all as in the ledger" in counter.send("/all-read/") and "Left out" in counter.text


def test_a_count_is_booked_once(owner: Person, shelf: Shelf) -> None:
    (gone,) = shelf.stock("0.0773 in")
    count = count_begin(person=owner, found=Bin.objects.get())
    with pytest.raises(WrongState):
        count_book(person=owner, count_id=count.pk, look=SecondLook())
    count_all_read(person=owner, count_id=count.pk)
    with pytest.raises(WrongState):
        count_read(person=owner, count_id=count.pk, reading=Reading(["1 mm"], [10**6]))
    look = SecondLook(gone=frozenset([gone.pk]), fates={7: Fate()})
    count_book(person=owner, count_id=count.pk, look=look)
    with pytest.raises(WrongState):
        count_book(person=owner, count_id=count.pk, look=look)
    assert HandOut.objects.count() == 1


@pytest.mark.parametrize("all_read", [False, True])
def test_a_count_is_dropped_and_nothing_in_stock_changes(
    counter: Counter, owner: Person, shelf: Shelf, all_read: bool
) -> None:
    shelf.stock("0.0768 in", "0.0773 in")
    lines = LedgerLine.objects.count()
    read(counter, "0.0790", "0.0766")
    if all_read:
        counter.send("/all-read/")
    path = counter.path
    assert "Nothing in stock changes" in counter.text
    assert "Nothing in stock was changed. 2 read: 0.0790" in counter.send("/drop/")
    assert f"{owner.username}, 2 read, dropped" in counter.open("/bins/B-14/")
    assert "Nothing in stock was changed" in counter.open(path) and "<form" not in counter.html.split("</main>")[0]
    assert LedgerLine.objects.count() == lines and Plate.objects.filter(state="on_shelf").count() == 2


def test_a_step_of_a_count_that_somebody_dropped_says_so(counter: Counter, shelf: Shelf) -> None:
    shelf.stock("0.0768 in")
    read(counter)
    page = counter.html
    counter.send("/drop/")
    counter.html = page
    assert "This count is dropped already" in counter.send("/all-read/")
    assert BinCount.objects.get().all_read_at is None


def test_a_forgotten_count_shows_its_age_and_the_way_out(counter: Counter, owner: Person, shelf: Shelf) -> None:
    """However many have been counted and booked since."""
    read(counter, "0.0766")
    forgotten = BinCount.objects.get()
    BinCount.objects.update(begun_at=timezone.now() - timedelta(days=9, hours=1))
    for _ in range(6):
        read(counter)
        counter.send("/all-read/")
    page = counter.open("/bins/B-14/").replace("\xa0", " ")
    assert f"Not finished: begun 1 week, 2 days ago by {owner.username}, 1 read. Go on, or drop it" in page
    assert f'href="/counts/{forgotten.pk}/"' in counter.html and page.count("Not finished") == 1
    counter.open(f"/counts/{forgotten.pk}/")
    counter.send("/drop/")
    assert "Not finished" not in counter.open("/bins/B-14/")


def test_who_began_it_may_drop_it_and_another_buyer_may_not(counter: Counter, owner: Person, shelf: Shelf) -> None:
    ines = PersonFactory.create(shop=owner.shop, role="bench")
    begun = Counter(ines)
    read(begun)
    path, role = begun.path, Person.objects.filter(pk=ines.pk)
    role.update(role="buyer")
    other = Counter(PersonFactory.create(shop=owner.shop, role="buyer"))
    assert "Drop" not in other.open(path)
    assert other.client.post(f"{path}drop/", {"key": "k" * 20}).status_code == 403
    begun.open(path)
    assert "Nothing in stock was changed" in begun.send("/drop/")
    assert BinCount.objects.get().dropped_by == ines


def test_sent_twice_a_reading_counts_once(counter: Counter) -> None:
    read(counter)
    page = counter.html
    counter.send("/read/", {"reading": "0.0770"})
    counter.html = page
    assert "read so far1" in counter.send("/read/", {"reading": "0.0770"})


def test_the_zero_error_of_the_gauge_comes_off(counter: Counter, shelf: Shelf, api: Api) -> None:
    api.post("gauges/", {"code": "MIC-1", "type": "micrometer"})
    counter.open("/gauges/MIC-1/")
    counter.send("/check/", {"standard": "1 in", "reading": "1.0010 in"})
    counter.send("/check/", {"then": "in_force"})
    shelf.stock("0.0766 in")
    counter.open("/bins/B-14/")
    counter.send("/count/", {"gauge": "MIC-1"})
    counter.send("/read/", {"reading": "0.0776"})
    assert "all as in the ledger" in counter.send("/all-read/")


def test_less_than_the_zero_error_is_refused_as_it_is_read(counter: Counter, api: Api) -> None:
    """Not at the end, where only the last reading can be taken back."""
    api.post("gauges/", {"code": "MIC-1", "type": "micrometer", "resolution": "0.0001 in", "limit": "0.0002 in"})
    Gauge.objects.update(zero_nm=127_000)
    counter.open("/bins/B-14/")
    counter.send("/count/", {"gauge": "MIC-1"})
    at = counter.path
    said = counter.send("/read/", {"reading": "0.004"})
    assert "no more than the gauge's zero error" in said and "read so far0" in said and "That is all" in said
    assert api.post(f"{at.strip('/')}/read/", {"readings": ["0.004 in"]}).code == "bad_figures"
    assert "read so far1" in counter.send("/read/", {"reading": "0.0820"})


def test_the_address_of_a_form_says_so_and_leads_to_its_page(counter: Counter) -> None:
    """A page locks where a refused reading left it, and comes back by that address."""
    read(counter, "thin")
    assert counter.path.endswith("/read/")
    assert "Only a form leads here" in counter.open(counter.path) and counter.status == 405
    at = counter.path.removesuffix("read/")
    assert f'href="{at}"' in counter.html and "read so far0" in counter.open(at)


def test_another_shop_and_the_buyer(owner: Person, counter: Counter, shelf: Shelf) -> None:
    read(counter)
    path = counter.path
    other = Counter(PersonFactory.create())
    assert other.client.get(path).status_code == 404
    assert other.client.post(f"{path}all-read/", {"key": "k" * 20}).status_code == 404
    assert other.client.post("/bins/B-14/count/", {"key": "k" * 20}).status_code == 404
    buyer = Counter(PersonFactory.create(shop=owner.shop, role="buyer"))
    assert "You can look at everything here" in buyer.open(path)
    assert buyer.client.post(f"{path}all-read/", {"key": "k" * 20}).status_code == 403
    assert BinCount.objects.get().all_read_at is None
