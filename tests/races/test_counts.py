"""A count is booked once, whoever presses; what another bench takes meanwhile leaves once, as one or as the other."""

import threading
import time
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, transaction

from plates.stock.count_book import SecondLook, count_book
from plates.stock.count_models import BinCount
from plates.stock.counts import count_all_read, count_begin
from plates.stock.hand_outs import hand_out_make
from plates.stock.models import Bin, HandOut, LedgerLine, Plate
from tests.api import Api
from tests.races.conftest import Crowd
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
    with serving(crowd.urls, crowd.data_dir, "tests.races.wsgi_counts_unlocked:application") as service:
        statuses = book_six_times(service, crowd)
    assert statuses[200] > 1 and Plate.objects.count() > 1, statuses


def read_again_and_sold(service: Service, crowd: Crowd) -> tuple[Plate, Reply, Reply]:
    """A plate gets the reading of the second look while it is sold: the plate, and the answers to both."""
    (plate,) = crowd.stock("0.0770 in")
    path = counted(crowd, "0.0779 in")
    second: dict[str, Any] = {"plates": {str(plate.pk): ["0.0779 in"]}}
    booked: list[Reply] = []
    book = threading.Thread(
        target=lambda: booked.append(service.post(crowd.token, Call(f"{path}book/", second, "book")))
    )
    book.start()
    time.sleep(1.0)
    sold = service.post(crowd.token, Call("hand-outs/", {"plates": [str(plate.pk)], "reason": "cash"}, "sell"))
    book.join()
    return plate, booked[0], sold


def test_what_is_read_again_may_be_sold_meanwhile(crowd: Crowd, verified: Callable[[], None]) -> None:
    with serving(crowd.urls, crowd.data_dir) as service:
        plate, booked, sold = read_again_and_sold(service, crowd)
    assert (booked.status, sold.status) == (200, 201)
    acts = list(LedgerLine.objects.filter(plate=plate).order_by("seq").values_list("act", flat=True))
    assert acts == ["received", *(["pulled"] if booked.body["outcome"]["reread"] else []), "handed_out"]
    verified()


def test_control_without_the_lock_on_its_plates(crowd: Crowd, verified: Callable[[], None]) -> None:
    """Only the revision in the one statement that writes is left, and it fails loudly: a fault of ours, 500."""
    with serving(crowd.urls, crowd.data_dir, "tests.races.wsgi_counted_unlocked:application") as service:
        _, booked, sold = read_again_and_sold(service, crowd)
    assert (booked.status, sold.status) == (500, 201)
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
    until = time.monotonic() + 30
    with connection.cursor() as cursor:
        while time.monotonic() < until:
            cursor.execute("SELECT count(*) FROM pg_locks WHERE NOT granted")
            if cursor.fetchone()[0]:
                return
            time.sleep(0.02)
    raise AssertionError("the booking never waited for the plate that is being sold")
