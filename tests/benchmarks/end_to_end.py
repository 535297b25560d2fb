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
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

from tests.benchmarks.clients import Bare, Wire, at_once, figures, match_row
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


def bare(url: str, work: Work, gate: Any, found: Any) -> None:
    """One bare client: (match, answer, the row of a question to insert first or None) for each act."""
    client = Bare(url, *work.target)
    gate.wait()
    took: Took = []
    for match, answer, asked in work.acts:
        begin = time.perf_counter()
        with client.once(200, answer) as (cursor, _):
            if asked:
                client.shelf(cursor, asked["fit"])
                client.match_insert(cursor, {**asked["row"], "id": match})
            client.take(cursor, match)
        took.append((begin, time.perf_counter()))
    found.put(took[WARM:])


def served(port: int, work: Work, gate: Any, found: Any) -> None:
    """One client of the service."""
    wire = Wire(port, work.target)
    gate.wait()
    took: Took = []
    for path, body in work.acts:
        begin = time.perf_counter()
        status, answer = wire.post(path, body)
        took.append((begin, time.perf_counter()))
        assert status in (200, 201), answer
        assert answer["state"] == "taken", answer
    found.put(took[WARM:])


def run(task: Callable[..., None], where: Any, works: Sequence[Work]) -> Took:
    """All clients together; the calls of all of them."""
    return [call for calls in at_once(task, where, works) for call in calls]


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
    from shop.people.models import Token

    each += WARM
    who = (shop.owner.shop_id, shop.owner.pk)
    token = Token.make(shop.owner)
    rows: dict[str, Took] = {}
    found = [[shop.asked() for _ in range(each)] for _ in range(clients)]
    works = [Work([(match, answer, None) for match, _, answer in some], who) for some in found]
    rows["take, bare"] = run(bare, url, works)
    found = [[shop.asked() for _ in range(each)] for _ in range(clients)]
    works = [Work([(f"matches/{m}/take/", {"option": number}) for m, number, _ in some], token) for some in found]
    rows["take, served"] = run(served, port, works)

    acts: list[Any] = []
    for _ in range(clients * each):
        match, _, answer = shop.asked()
        fit = shop.fits[int(answer["spec"].removeprefix("PACK-"))]
        acts.append((uuid.uuid4(), answer, {"fit": fit, "row": match_row(url, str(match))}))
    works = [Work(acts[number::clients], who) for number in range(clients)]
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
