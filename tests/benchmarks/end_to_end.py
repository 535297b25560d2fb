"""The served tool beside a bare script that does the same locks and inserts.

By hand: python -m tests.benchmarks.end_to_end [--clients 1 4 16] [--each 60]

*Served*: gunicorn with two workers on loopback; every client is a process with one kept-alive connection, a token and
an Idempotency-Key for each call. *Bare*: every client is a process with one connection of psycopg; each act is one
transaction with the same locks, rows and answers stored, written by hand, without search, validation or JSON shapes.
Both work on one database that waits for the disk as it would in a shop. *take*: matches asked before; *ask and take*:
one call that asks, searches and takes (bare: reads the shelf, stores a question made before, takes). Each match is of a
fit of its own, so that nobody waits for a plate. Bounded: so many calls for each client, after a few that warm up
connections, workers and caches and are not counted.
"""

import argparse
import json
import multiprocessing
import statistics
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from http.client import HTTPConnection
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

import psycopg
from psycopg.types.json import Json

from tests.benchmarks.shops import database, server

PLATES = ("0.0768 in", "0.0771 in", "0.0771 in", "0.0772 in", "0.0774 in", "0.0776 in")
STACK = ["0.0698 in", "0.0699 in", "0.0700 in", "0.0701 in", "0.0702 in"]
WARM = 5  # calls of each client that are not counted
Took = list[tuple[float, float]]  # begin and end of each call, in seconds


class Work(NamedTuple):
    """What one client is to do: ``acts`` are (path, body) served, (match, plates) bare."""

    acts: list[Any]
    target: Any


def question(number: int) -> dict[str, Any]:
    return {
        "spec": f"PACK-{number}", "readings": ["0.0740 in"] * 3, "method": "feeler", "installed": {"steels": STACK},
    }  # fmt: skip


# The bare script. Statements as a database programmer would write them for this schema.
KEY = "INSERT INTO shop_requestkey (id, shop_id, person_id, key, fingerprint) VALUES (%s, %s, %s, %s, %s)"
STORED = "UPDATE shop_requestkey SET status = %s, answer = %s WHERE id = %s"
MATCH = "SELECT state, options, job_id FROM plates_match WHERE shop_id = %s AND id = %s FOR NO KEY UPDATE"
PLATES_LOCKED = (
    "SELECT id, revision FROM plates_plate WHERE shop_id = %s AND id = ANY(%s) AND state = 'on_shelf'"
    " ORDER BY id FOR UPDATE"
)
TAKEN = """
WITH moved AS (
  UPDATE plates_plate SET state = 'taken', revision = revision + 1, match_id = %(match)s
   WHERE shop_id = %(shop)s AND id = ANY(%(plates)s) RETURNING *
)
INSERT INTO plates_ledgerline (id, shop_id, plate_id, seq, delta, balance, act, state, bin_id, thickness_nm, spread_nm,
                               u_nm, match_id, readings, findings, gauge, reason, person_id, at)
SELECT l.id, m.shop_id, m.id, m.revision, -1, 0, 'taken', m.state, m.bin_id, m.thickness_nm, m.spread_nm, m.u_nm,
       m.match_id, '[]', '{}', '', '', %(person)s, now()
  FROM moved m JOIN unnest(%(plates)s::uuid[], %(lines)s::uuid[]) l(plate, id) ON l.plate = m.id
"""
MATCH_TAKEN = (
    "UPDATE plates_match SET state = 'taken', option_taken = %s, taken_by_id = %s, built = %s, slip = %s,"
    " taken_at = now() WHERE shop_id = %s AND id = %s"
)
SHELF = (
    "SELECT id, thickness_nm, revision FROM plates_plate WHERE shop_id = %s AND fit_id = %s AND role = 'steel'"
    " AND state = 'on_shelf'"
)
NUMBER = "UPDATE shop_counter SET value = value + 1 WHERE shop_id = %s AND name = 'match' RETURNING value"


def bare_take(cursor: Any, who: Any, match: uuid.UUID, answer: Any) -> None:
    shop, person = who
    _, options, _ = cursor.execute(MATCH, [shop, match]).fetchone()
    option = next(one for one in options if one["in"])
    plates = [row["plate"] for row in option["in"]]
    cursor.execute(PLATES_LOCKED, [shop, plates])
    lines = [uuid.uuid4() for _ in plates]
    values = {"shop": shop, "person": person, "match": match, "plates": plates, "lines": lines}
    cursor.execute(TAKEN, values)
    cursor.execute(MATCH_TAKEN, [option["number"], person, Json(option), Json(option["in"]), shop, match])


def bare(url: str, work: Work, gate: Any, found: Any) -> None:
    """One bare client: (match, answer, columns of a question to insert first or None) for each act."""
    who, asking = work.target
    with psycopg.connect(url) as connection:
        gate.wait()
        took: Took = []
        for match, answer, asked in work.acts:
            begin = time.perf_counter()
            with connection.transaction(), connection.cursor() as cursor:
                key = uuid.uuid4()
                cursor.execute(KEY, [key, *who, str(key), "0" * 64])
                if asking:
                    columns, values, fit = asked
                    cursor.execute(SHELF, [who[0], fit]).fetchall()
                    number = cursor.execute(NUMBER, [who[0]]).fetchone()[0]
                    row = {**values, "id": match, "number": number}
                    names = ", ".join(f'"{name}"' for name in columns)
                    marks = ", ".join(["%s"] * len(columns))
                    cursor.execute(
                        f"INSERT INTO plates_match ({names}) VALUES ({marks})", [row[name] for name in columns]
                    )
                bare_take(cursor, who, match, answer)
                cursor.execute(STORED, [200, Json(answer), key])
            took.append((begin, time.perf_counter()))
    found.put(took[WARM:])


def served(port: int, work: Work, gate: Any, found: Any) -> None:
    """One client of the service."""
    connection = HTTPConnection("127.0.0.1", port, timeout=60)
    gate.wait()
    took: Took = []
    for path, body in work.acts:
        headers = {
            "Authorization": f"Token {work.target}", "Content-Type": "application/json",
            "Idempotency-Key": str(uuid.uuid4()),
        }  # fmt: skip
        begin = time.perf_counter()
        connection.request("POST", f"/api/v1/{path}", json.dumps(body), headers)
        reply = connection.getresponse()
        text = reply.read()
        took.append((begin, time.perf_counter()))
        assert reply.status in (200, 201), text
        assert json.loads(text)["state"] == "taken", text
    found.put(took[WARM:])


def run(task: Callable[..., None], where: Any, works: Sequence[Work]) -> Took:
    """All clients together; the calls of all of them."""
    context = multiprocessing.get_context("spawn")
    gate, found = context.Barrier(len(works)), context.Queue()
    clients = [context.Process(target=task, args=(where, work, gate, found)) for work in works]
    for client in clients:
        client.start()
    calls = [call for _ in clients for call in found.get(timeout=300)]
    for client in clients:
        client.join()
    return calls


def figures(calls: Took) -> tuple[float, float, float]:
    """(p50, p99) in ms and calls a second."""
    times = sorted(1e3 * (end - begin) for begin, end in calls)
    whole = max(end for _, end in calls) - min(begin for begin, _ in calls)
    return statistics.median(times), times[int(0.99 * (len(times) - 1))], len(calls) / whole


class Shop:
    """A shop with one fit, one pack and six steels for every match that is going to be taken."""

    def __init__(self, packs: int) -> None:
        from tests.factories import FitFactory, KindFactory, PersonFactory, pack, shelve

        self.owner = PersonFactory.create()
        frictions = FitFactory.create(shop=self.owner.shop, tooth_side="external")
        self.fits: list[Any] = []
        for number in range(packs):
            fit = FitFactory.create(shop=self.owner.shop)
            shelve(self.owner, KindFactory.create(fit=fit), *PLATES)
            pack(self.owner, fit, frictions, code=f"PACK-{number}")
            self.fits.append(fit.pk)
        self.left: Iterator[int] = iter(range(packs))

    def asked(self) -> tuple[uuid.UUID, int, dict[str, Any]]:
        """A fresh match: its id, its first option that takes something, and the answer."""
        from tests.api import Api

        reply = Api(self.owner).post("matches/", question(next(self.left)))
        assert reply.status == 201, reply
        return uuid.UUID(reply.body["id"]), next(o["number"] for o in reply.body["options"] if o["in"]), reply.body


def compare(shop: Shop, url: str, port: int, clients: int, each: int) -> None:
    from django.db import connection

    from plates.bench.models import Match
    from shop.people.models import Token

    each += WARM
    who = (shop.owner.shop_id, shop.owner.pk)
    token = Token.make(shop.owner)
    rows: dict[str, Took] = {}
    found = [[shop.asked() for _ in range(each)] for _ in range(clients)]
    works = [Work([(match, answer, None) for match, _, answer in some], (who, False)) for some in found]
    rows["take, bare"] = run(bare, url, works)
    found = [[shop.asked() for _ in range(each)] for _ in range(clients)]
    works = [Work([(f"matches/{m}/take/", {"option": number}) for m, number, _ in some], token) for some in found]
    rows["take, served"] = run(served, port, works)

    columns = [field.column for field in Match._meta.concrete_fields]
    acts: list[Any] = []
    for _ in range(clients * each):
        match, _, answer = shop.asked()
        with connection.cursor() as cursor:  # the question as the service stored it, to be stored anew
            cursor.execute("SELECT * FROM plates_match WHERE id = %s", [match])
            names = [column.name for column in cursor.description]
            values = dict(zip(names, cursor.fetchone(), strict=True))
        asked = {name: Json(value) if isinstance(value, dict | list) else value for name, value in values.items()}
        asked = {name: Json(json.loads(v)) if name in _JSON and isinstance(v, str) else v for name, v in asked.items()}
        fit = shop.fits[int(answer["spec"].removeprefix("PACK-"))]
        acts.append((uuid.uuid4(), answer, (columns, asked, fit)))
    works = [Work(acts[number::clients], (who, True)) for number in range(clients)]
    rows["ask and take, bare"] = run(bare, url, works)
    bodies = [
        [("matches/", {**question(next(shop.left)), "take": True, "accept_marginal": True}) for _ in range(each)]
        for _ in range(clients)
    ]
    rows["ask and take, served"] = run(served, port, [Work(some, token) for some in bodies])

    for act in ("take", "ask and take"):
        bare_figures, served_figures = figures(rows[f"{act}, bare"]), figures(rows[f"{act}, served"])
        print(
            f"{clients:>7} {act:>13} | {bare_figures[0]:8.1f} {bare_figures[1]:8.1f} {bare_figures[2]:8.0f} |"
            f" {served_figures[0]:8.1f} {served_figures[1]:8.1f} {served_figures[2]:8.0f} |"
            f" {served_figures[0] / bare_figures[0]:8.1f} {served_figures[1] / bare_figures[1]:8.1f}"
            f" {served_figures[2] / bare_figures[2]:9.0%}",
            flush=True,
        )


#: Columns of a match that hold JSON; a plain cursor may hand out their text.
_JSON = ("readings", "question", "options", "shortfall", "cautions", "slip", "outs", "built", "comeback", "overrides")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--clients", nargs="+", type=int, default=[1, 4, 16])
    parser.add_argument("--each", type=int, default=60, help="calls of each client")
    asked = parser.parse_args()
    with server(fast=False) as urls, database(urls, "end_to_end") as own, TemporaryDirectory() as data:
        from tests.service import serving

        shop = Shop(4 * (asked.each + WARM) * sum(asked.clients))
        with serving(own, Path(data)) as service:
            print(f"{'':>21} | {'bare, ms':^26} | {'served, ms':^26} | served over bare")
            heads = (f"{'p50':>8} {'p99':>8} {'a second':>8}",) * 2
            print(f"{'clients':>7} {'':>13} | {' | '.join(heads)} | {'p50':>8} {'p99':>8} {'throughput':>9}")
            for clients in asked.clients:
                compare(shop, own.app, service.port, clients, asked.each)


if __name__ == "__main__":
    main()
