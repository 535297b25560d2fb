"""Controls that show their fault on any machine: requests wait for each other where a lock was taken out."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg

from tests.conftest import Urls
from tests.database.processes import wait_for
from tests.races.gate import GATE
from tests.service import Service, serving

PATIENCE = 60.0
_STANDING = "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND NOT granted"


def nothing(service: Service) -> None:
    """Nothing is to be done while they stand."""


@contextmanager
def unlocked(
    urls: Urls, data_dir: Path, module: str, standing: int = 2, meanwhile: Callable[[Service], object] = nothing
) -> Iterator[Service]:
    """The service of ``tests.races.wsgi_{module}``. Its gate opens once so many requests stand there and ``meanwhile``
    is done; AssertionError at the end when fewer came within PATIENCE seconds.
    """
    with (
        serving(urls, data_dir, f"tests.races.wsgi_{module}:application") as service,
        psycopg.connect(urls.owner, autocommit=True) as gate,
        ThreadPoolExecutor(1) as beside,
    ):
        gate.execute("SELECT pg_advisory_lock(%s)", [GATE])
        opened = beside.submit(_open, gate, standing, lambda: meanwhile(service))
        yield service
        opened.result()


def _open(gate: "psycopg.Connection[Any]", standing: int, meanwhile: Callable[[], object]) -> None:
    def they_stand_at_the_gate() -> bool:
        (found,) = gate.execute(_STANDING).fetchone() or (0,)
        return bool(found >= standing)

    try:
        wait_for(they_stand_at_the_gate, PATIENCE)
        meanwhile()
    finally:
        gate.execute("SELECT pg_advisory_unlock(%s)", [GATE])
