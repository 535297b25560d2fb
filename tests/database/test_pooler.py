"""The service through a pooler that gives each transaction another connection to the server, or each session one.

Where PgBouncer is not installed nothing of it is shown: Debian's package is pgbouncer.
"""

import json
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.error import HTTPError
from urllib.request import urlopen

import psycopg
import pytest
from django.db import DatabaseError, connection
from django.test import Client

from plates.stock.models import Plate
from plates.tables.columns import PLATES
from plates.tables.export import export
from tests.benchmarks.load import run, served, shop_new
from tests.conftest import Urls, pointed_at
from tests.database.pooler import limit_set, pooler, program
from tests.races.test_load import TURNS, sound
from tests.service import serving

pytestmark = [
    pytest.mark.processes,
    pytest.mark.skipif(program() is None, reason="pgbouncer is not installed: apt-get install pgbouncer"),
]
MODES = ("transaction", "session")


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> None:
    """The service is told that it works through a pooler."""
    monkeypatch.setenv("PLATES_POOLER", "1")


@pytest.fixture
def through(fresh_db: Urls, told: None) -> Iterator[Urls]:
    """Django's connections lead through a pooler that has two for all."""
    limit_set(fresh_db)
    with pooler(fresh_db, "transaction", size=2) as there, pointed_at(there.urls):
        yield there.urls


@pytest.mark.parametrize("mode", MODES)
def test_a_day_at_four_terminals(fresh_db: Urls, tmp_path: Path, told: None, mode: str) -> None:
    """Sixteen threads of the service share six connections, where a session needs none of its own."""
    limit_set(fresh_db)
    shop = shop_new(1_000, fresh_db.app)
    size = {"transaction": 6, "session": 20}[mode]
    with pooler(fresh_db, mode, size) as there, serving(there.urls, tmp_path) as service:
        outcome = run(served(shop, service.port), shop, terminals=4, seconds=0, warm=0, turns=TURNS)
        with urlopen(f"{service.address}/readyz") as answer:
            assert json.load(answer)["status"] == "ok"
    assert sound(outcome), outcome.wrong
    assert not Plate.objects.filter(state__in=["held", "taken"]).exists(), "what was taken did not come back"


def test_nobody_told_is_refused_at_the_start(fresh_db: Urls) -> None:
    refused = pytest.raises(DatabaseError, match="unsupported startup parameter: options")
    with pooler(fresh_db, "transaction") as there, pointed_at(there.urls), refused:
        connection.ensure_connection()


def test_without_a_limit_of_its_role_it_is_not_ready(fresh_db: Urls, told: None) -> None:
    limit_set(fresh_db, "0")
    with pooler(fresh_db, "transaction") as there, pointed_at(there.urls):
        response = Client().get("/readyz")
        assert response.status_code == 503 and "SET lock_timeout = '2s'" in response.json()["status"]
        assert Client().get("/healthz").status_code == 200


def test_the_limit_for_locks_holds(through: Urls, fresh_db: Urls) -> None:
    shop = shop_new(1_000, fresh_db.app)
    with psycopg.connect(fresh_db.app) as other:
        other.execute("SELECT id FROM plates_plate WHERE shop_id = %s FOR UPDATE", [shop.owner.shop_id])
        with pytest.raises(DatabaseError, match="lock timeout"):
            Plate.objects.filter(shop_id=shop.owner.shop_id).update(box="")


def test_a_table_goes_out_over_many_transactions(through: Urls, fresh_db: Urls) -> None:
    """What is read while others work: a cursor that outlives its transaction would be gone with the connection."""
    owner = shop_new(5_000, fresh_db.app).owner
    stop = threading.Event()

    def works() -> None:
        while not stop.is_set():
            connection.ensure_connection()
            Plate.objects.filter(shop_id=owner.shop_id).count()
        connection.close()

    with ThreadPoolExecutor(2) as others:
        done = [others.submit(works) for _ in range(2)]
        try:
            rows = sum(1 for _ in export(owner.shop, PLATES))
        finally:
            stop.set()
    assert [one.result() for one in done] == [None, None]
    assert rows == 1 + Plate.objects.filter(shop_id=owner.shop_id).count() > 5_000


def test_it_comes_back_with_its_pooler(fresh_db: Urls, tmp_path: Path, told: None) -> None:
    limit_set(fresh_db)
    with pooler(fresh_db, "transaction") as there, serving(there.urls, tmp_path) as service:

        def status() -> int:
            try:
                with urlopen(f"{service.address}/readyz") as answer:
                    return int(answer.status)
            except HTTPError as error:
                return error.code

        assert {status() for _ in range(8)} == {200}
        there.end()
        assert {status() for _ in range(8)} == {503}
        there.start()
        assert {status() for _ in range(8)} == {200}
