"""A count is booked once, whoever presses; what another bench takes meanwhile leaves once, as one or as the other."""

import threading
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, transaction

from plates.stock.count_book import SecondLook, count_book
from plates.stock.count_models import BinCount
from plates.stock.counts import count_all_read, count_begin
from plates.stock.hand_outs import hand_out_make
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Bin, HandOut, Plate
from tests.api import Api
from tests.database.processes import wait_for
from tests.races.conftest import Crowd
from tests.races.unlocked import unlocked
from tests.service import Call, Reply, Service, serving

pytestmark = pytest.mark.processes


def counted(crowd: Crowd, *lengths: str) -> str:
    """A count of the bin whose readings differ from the ledger: its address."""
    api = Api(crowd.owner)
    path = f"counts/{api.post('counts/', {'bin': Bin.objects.get().code}).body['id']}/"
    for length in lengths:
        api.post(f"{path}read/", {"readings": [length]})
    assert api.post(f"{path}all-read/", {}).body["state"] == "look"
    return path


def book_six_times(service: Service, crowd: Crowd) -> Counter[int]:
    """Six hands book one plate found, each under a key of its own."""
    path = counted(crowd, "0.0770 in")
    found = {"rows": {"0": {"kind": crowd.kind.code, "readings": ["0.0770 in"]}}}
    calls = [Call(f"{path}book/", found, f"hand-{n}") for n in range(6)]
    return Counter(reply.status for reply in service.at_once(crowd.token, calls))


def test_six_hands_book_a_count_once(crowd: Crowd, verified: Callable[[], None]) -> None:
    with serving(crowd.urls, crowd.data_dir) as service:
        assert book_six_times(service, crowd) == {200: 1, 409: 5}
    assert Plate.objects.count() == 1
    verified()


def test_control_without_the_lock_on_the_count(crowd: Crowd) -> None:
    """One plate was found, and several are booked."""
    with unlocked(crowd.urls, crowd.data_dir, "counts_unlocked") as service:
        statuses = book_six_times(service, crowd)
    assert statuses[200] > 1 and Plate.objects.count() > 1, statuses


def read_again_and_sold(crowd: Crowd) -> tuple[Plate, Call, Call]:
    """A plate, what books the reading of its second look, and what sells it."""
    (plate,) = crowd.stock("0.0770 in")
    second: dict[str, Any] = {"plates": {str(plate.pk): ["0.0779 in"]}}
    book = Call(f"{counted(crowd, '0.0779 in')}book/", second, "book")
    return plate, book, Call("hand-outs/", {"plates": [str(plate.pk)], "reason": "cash"}, "sell")


def test_what_is_read_again_may_be_sold_meanwhile(crowd: Crowd, verified: Callable[[], None]) -> None:
    plate, book, sell = read_again_and_sold(crowd)
    with serving(crowd.urls, crowd.data_dir) as service:
        booked, sold = service.at_once(crowd.token, [book, sell])
    told = booked.body.get("code")
    assert sold.status == 201 and (booked.status, told) in {(200, None), (422, "look_again")}  # whoever was first
    reread = booked.status == 200 and booked.body["outcome"]["reread"]
    acts = list(LedgerLine.objects.filter(plate=plate).order_by("seq").values_list("act", flat=True))
    assert acts == ["received", *(["pulled"] if reread else []), "handed_out"]
    verified()


def test_control_without_the_lock_on_its_plates(crowd: Crowd, verified: Callable[[], None]) -> None:
    """Only the revision in the one statement that writes is left, and it fails loudly: a fault of ours, 500."""
    _, book, sell = read_again_and_sold(crowd)
    sold: list[Reply] = []

    def sold_meanwhile(service: Service) -> None:
        sold.append(service.post(crowd.token, sell))

    with unlocked(crowd.urls, crowd.data_dir, "counted_unlocked", 1, sold_meanwhile) as service:
        booked = service.post(crowd.token, book)
    assert (booked.status, [reply.status for reply in sold]) == (500, [201])
    verified()


def test_what_is_taken_while_the_count_is_booked_is_not_lost(crowd: Crowd, verified: Callable[[], None]) -> None:
    """The sale holds its lock until the booking waits for it. Control: without the sale the same booking loses it."""
    for sold in (True, False):
        (plate,) = crowd.stock("0.0770 in")
        count = count_begin(person=crowd.owner, found=Bin.objects.get())
        with transaction.atomic():
            count_all_read(person=crowd.owner, count_id=count.pk)
        book = threading.Thread(target=_book, args=(crowd, count, plate))
        with transaction.atomic():
            if sold:
                hand_out_make(person=crowd.owner, reason="cash", plate_ids=[plate.pk])
            book.start()
            if sold:
                _until_somebody_waits()
        book.join()
        plate.refresh_from_db()
        count.refresh_from_db()
        assert plate.hand_out is not None and plate.hand_out.reason == ("cash" if sold else "lost")
        assert count.outcome["left_out"] == ([str(plate.pk)] if sold else [])
    assert HandOut.objects.count() == 2
    verified()


def _book(crowd: Crowd, count: BinCount, plate: Plate) -> None:
    try:
        with transaction.atomic():
            count_book(person=crowd.owner, count_id=count.pk, look=SecondLook(gone=frozenset([plate.pk])))
    finally:
        connection.close()


def _until_somebody_waits() -> None:
    """Until a statement of another connection waits for a lock of ours."""

    def the_booking_waits_for_the_plate_that_is_being_sold() -> bool:
        with connection.cursor() as cursor:
            cursor.execute("SELECT EXISTS (SELECT FROM pg_locks WHERE NOT granted)")
            return bool(cursor.fetchone()[0])

    wait_for(the_booking_waits_for_the_plate_that_is_being_sold)
