"""One bin at the counter: handing out by three keys, and what is away."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from plates.stock.models import Bin, HandOut, Plate
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, PersonFactory
from tests.pages.counter import Counter
from tests.shelves import Shelf, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    made = shelf_of(owner)
    BinFactory.create(fit=made.steels, code="B-14")
    made.stock("0.0770 in", "0.0771 in", "0.0772 in")
    return made


@pytest.fixture
def counter(owner: Person, shelf: Shelf) -> Counter:
    return Counter(owner)


def test_two_for_cash_are_three_keys(counter: Counter, owner: Person) -> None:
    assert "3 in it" in counter.open("/bins/B-14/")
    said = counter.send("/hand-out/", {"count": "2c"})
    assert "2 handed out, sold for cash" in said and "1 in it" in said
    made = HandOut.objects.get()
    assert (made.reason, made.plates.count(), made.person.username) == ("cash", 2, owner.username)


@pytest.mark.parametrize(
    ("typed", "reason"),
    [
        ("1l", "lent"),
        ("1 o", "own_use"),
        ("1t", "transfer"),
        ("1W", "warranty"),
        ("1x", "lost"),
        ("1", "cash"),
    ],
)
def test_the_letter_says_why(counter: Counter, typed: str, reason: str) -> None:
    counter.open("/bins/B-14/")
    more = {"to": "Riverside", "reason": "cash" if typed == "1" else "own_use"}  # the letter goes before what is chosen
    counter.send("/hand-out/", {"count": typed, **more})
    assert HandOut.objects.get().reason == reason


@pytest.mark.parametrize(
    ("typed", "said"),
    [("", "Fill this in"), ("c", "Type how many"), ("0c", "Type how many"), ("2z", "Type how many"),
     ("²c", "Type how many"), ("2", "Say why"), ("9c", "has 3 free, not 9")],
)  # fmt: skip
def test_what_cannot_be_handed_out(counter: Counter, typed: str, said: str) -> None:
    counter.open("/bins/B-14/")
    assert said in counter.send("/hand-out/", {"count": typed})
    assert not HandOut.objects.exists() and Plate.objects.filter(state="on_shelf").count() == 3


def test_sent_twice_it_leaves_once(counter: Counter) -> None:
    counter.open("/bins/B-14/")
    page = counter.html
    counter.send("/hand-out/", {"count": "1c"})
    counter.html = page
    counter.send("/hand-out/", {"count": "1c"})
    assert HandOut.objects.count() == 1 and Plate.objects.filter(state="on_shelf").count() == 2


def test_the_buyer_looks_on(owner: Person, shelf: Shelf) -> None:
    buyer = Counter(PersonFactory.create(shop=owner.shop, role="buyer"))
    page = buyer.open("/bins/B-14/")
    assert "3 in it" in page and "Hand out" not in page
    assert buyer.client.post("/bins/B-14/hand-out/", {"count": "1c", "key": "k" * 20}).status_code in (200, 403)
    assert not HandOut.objects.exists()


def test_overdue_loans_come_first(counter: Counter, api: Api) -> None:
    day = timezone.localdate()
    for to, due in (("later", day + timedelta(days=3)), ("late", day - timedelta(days=1)), ("whenever", None)):
        counter.open("/bins/B-14/")
        counter.send("/hand-out/", {"count": "1l", "to": to, "due": due.isoformat() if due else ""})
    page = counter.open("/hand-outs/")
    assert page.count("overdue") == 1 and "1 day overdue, " in page
    assert page.index("late") < page.index("later") < page.index("whenever")
    late = Plate.objects.get(hand_out__to="late")
    assert f'href="/plates/{late.pk}/"' in counter.html
    api.post(f"plates/{late.pk}/put-back/", {"readings": ["0.0771 in"]})
    assert "overdue" not in counter.open("/hand-outs/")
    assert "Nothing is away" in counter.open("/hand-outs/?reason=cash")
    assert counter.client.get("/hand-outs/?reason=x").status_code == 404


def test_a_loan_comes_back_by_its_link_and_one_press_of_the_micrometer(counter: Counter) -> None:
    counter.open("/bins/B-14/")
    counter.send("/hand-out/", {"count": "1l", "to": "next door"})
    plate = Plate.objects.get(hand_out__to="next door")
    counter.open(f"/plates/{plate.pk}/")
    assert "<details open><summary>Read it again and put it back" in counter.html
    assert re.search(r"<(input|textarea)[^>]*autofocus", counter.html.split("Read it again")[1])
    assert "On the shelf" in counter.send("/read-again/", {"reading": ".0771"})
    assert "next door" not in counter.open("/hand-outs/")


def test_no_more_queries_for_more_loans(counter: Counter) -> None:
    counts = []
    for _ in range(2):
        counter.open("/bins/B-14/")
        counter.send("/hand-out/", {"count": "1l"})
        with CaptureQueriesContext(connection) as asked:
            counter.open("/hand-outs/")
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_each_shop_sees_its_own(counter: Counter) -> None:
    counter.open("/bins/B-14/")
    counter.send("/hand-out/", {"count": "1l", "to": "next door"})
    other = Counter(PersonFactory.create())
    assert "next door" not in other.open("/hand-outs/")
    assert other.client.get("/bins/B-14/").status_code == 404
    assert other.client.post("/bins/B-14/hand-out/", {"count": "1c", "key": "k" * 20}).status_code == 404


def test_of_two_bins_that_differ_in_capitals_alone_it_takes_the_one_typed(counter: Counter) -> None:
    bin_14 = Bin.objects.get(code="B-14")
    for at, code in enumerate(("B-15", "b-15"), 1):
        BinFactory.create(fit=bin_14.fit, code=code, from_nm=at, to_nm=at + 1)
    plate = Plate.objects.filter(bin=bin_14).order_by("id")[0]
    Plate.objects.filter(pk=plate.pk).update(bin=Bin.objects.get(code="b-15"))
    other = BinFactory.create(code="B-77")  # of another shop
    for typed, said in (
        (other.code, "No bin is called B-77."),
        ("B-15", "Bin B-15 has 0 free, not 1"),
        ("b-15", "Handed out"),
        ("b-14", "Bin B-14 has 1 free, not 2"),
    ):
        counter.open("/bins/B-14/")
        assert said in counter.send("/hand-out/", {"count": "1t", "to": "Riverside", "others": f"{typed} 1"}), typed
    assert HandOut.objects.count() == 1


def test_a_hand_out_sent_again_with_other_bins_counts_no_second_time(counter: Counter) -> None:
    counter.open("/bins/B-14/")
    form = {**counter.form("/hand-out/")["fields"], "count": "1t", "to": "Riverside"}
    for others, said in (("B-14 1", "Handed out"), ("B-14 1", "Handed out"), ("", "was sent before")):
        assert said in counter.post("/bins/B-14/hand-out/", {**form, "others": others})
    assert Plate.objects.filter(hand_out=HandOut.objects.get()).count() == 2
