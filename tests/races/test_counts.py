"""A count is booked while another bench takes the plate that was not read: it leaves once, as one or as the other."""

import threading
import time
from collections.abc import Callable

from django.db import connection, transaction

from plates.stock.count_book import SecondLook, count_book
from plates.stock.counts import count_all_read, count_begin
from plates.stock.hand_outs import hand_out_make
from plates.stock.models import Bin, BinCount, HandOut, Plate
from tests.races.conftest import Crowd


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
