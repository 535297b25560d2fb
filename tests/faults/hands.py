"""Two hands at one shelf, their statements laid one after another in an order that is chosen.

Each hand is a call of the API in a thread with a connection of its own. It stops before each of its statements and
before each commit until it is let on, so a test decides where one hand pauses and the other goes on.
"""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from django.db import connection

from tests.api import Reply

#: Far more than any statement takes here: a hand that does not answer is a fault of the test.
PATIENCE = 30.0
_LOOK = 0.003
_WAITS = """
SELECT coalesce(wait_event_type = 'Lock' AND cardinality(pg_blocking_pids(pid)) > 0, false)
  FROM pg_stat_activity WHERE pid = %s
"""


class Hand(threading.Thread):
    """``steps``: how often it was let on, 0 before it begins; ``reply``: once it is done."""

    def __init__(self, call: Callable[[], Reply]) -> None:
        super().__init__(daemon=True)
        self._call, self._go, self._stands = call, threading.Semaphore(0), threading.Semaphore(0)
        self.pid, self.steps, self.done = 0, 0, False
        self.reply: Reply | None = None
        self.error: BaseException | None = None
        self._waiting = False
        self.start()
        self._stands.acquire(timeout=PATIENCE)

    def run(self) -> None:
        try:
            connection.ensure_connection()
            self.pid = connection.connection.info.backend_pid
            with self._pausing():
                self.reply = self._call()
        except BaseException as error:
            self.error = error
        finally:
            connection.close()
            self.done = True
            self._stands.release()

    @contextmanager
    def _pausing(self) -> Iterator[None]:
        commit = connection._commit

        def before_commit() -> None:
            self._pause()
            commit()

        def before(execute: Any, *statement: Any) -> Any:
            self._pause()
            return execute(*statement)

        connection._commit = before_commit
        try:
            with connection.execute_wrapper(before):
                yield
        finally:
            connection._commit = commit

    def _pause(self) -> None:
        self._stands.release()
        self._go.acquire(timeout=PATIENCE)

    def on(self) -> bool:
        """One statement more; whether it came to its end, or waits for a lock of the other hand."""
        if not self._waiting:
            self.steps += 1
            self._go.release()
        self._waiting = not self._stood()
        return not self._waiting

    def _stood(self) -> bool:
        for _ in range(int(PATIENCE / _LOOK)):
            if self._stands.acquire(timeout=_LOOK):
                return True
            with connection.cursor() as cursor:
                cursor.execute(_WAITS, [self.pid])
                if (cursor.fetchone() or (False,))[0]:
                    return False
        raise TimeoutError("A hand neither came on nor waits for a lock.")

    def through(self) -> bool:
        """To the end; False where it waits for a lock of the other hand."""
        while not self.done:
            if not self.on():
                return False
        return True

    def answer(self) -> Reply:
        if self.error is not None:
            raise self.error
        assert self.reply is not None
        return self.reply


def laid(first: Callable[[], Reply], second: Callable[[], Reply], after: int) -> tuple[Reply, Reply]:
    """``after`` statements of the first, then the second as far as it comes, then the rest of both."""
    one, other = Hand(first), Hand(second)
    for _ in range(after):
        if not one.done:
            assert one.on(), "it is alone so far"
    whole = other.through()
    if not one.through():  # it waits for the second, which is not done
        assert not whole, "it waits for nobody"
        raise AssertionError("Each waits for the other.")
    other.through()
    for hand in (one, other):
        hand.join(PATIENCE)
    return one.answer(), other.answer()


def steps_of(call: Callable[[], Reply]) -> int:
    """How many statements and commits it has, alone."""
    hand = Hand(call)
    hand.through()
    hand.join(PATIENCE)
    hand.answer()
    return hand.steps
