"""What an ask and a take cost in a shop of 10 000 plates and in one of 1 000 000.

By hand: python -m tests.benchmarks.scale [--plates 10000 1000000] [--asks 30]

Two ways to grow: *wide*, 250 plates of each fit and more fits; *deep*, 200 fits and more plates of each. Each shop
stands in a database of its own on one server; the shops take turns, one question each, so that a busy machine slows
both. Every question goes the whole way but the wire: JSON, token, question, search, stored answer. The plan is
PostgreSQL's own.
"""

import argparse
import random
import statistics
import time
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any

from tests.benchmarks.shops import database, server

FITS_DEEP, PLATES_WIDE = 200, 250
#: Where one bin ends and the next begins: four of 0.005 in for all steels of a fit.
BINS_NM = range(2540 * 700, 2540 * 901, 2540 * 50)

#: Steels of 0.0700 to 0.0899 in, twenty of an age; and the first ledger line of each.
_PLATES = """
INSERT INTO plates_plate (id, shop_id, kind_id, fit_id, role, bin_id, thickness_nm, spread_nm, u_nm, state, revision,
                          condition, source, owner, box, mark, gauge, received_at)
SELECT (lpad(to_hex(1700000000000 + n), 12, '0') || '7' || lpad(to_hex(n % 4096), 3, '0') || '8' ||
        lpad(to_hex(n), 15, '0'))::uuid,
       %(shop)s, k.id, k.fit_id, 'steel', b.id, t.thickness_nm, 0, 0, 'on_shelf', 1,
       'new', '', '', '', '', '', now() - make_interval(secs => n / 20)
  FROM generate_series(1, %(count)s) n
  JOIN (SELECT id, fit_id, row_number() OVER (ORDER BY code) AS place
          FROM plates_kind WHERE shop_id = %(shop)s AND role = 'steel') k ON k.place = n %% %(fits)s + 1
 CROSS JOIN LATERAL (SELECT 2540 * (700 + (hashint8(n) & 2147483647) %% 200) AS thickness_nm) t
  LEFT JOIN plates_bin b ON b.shop_id = %(shop)s AND b.fit_id = k.fit_id AND b.role = 'steel'
       AND b.from_nm <= t.thickness_nm AND t.thickness_nm < b.to_nm
"""
_LINES = """
INSERT INTO plates_ledgerline (id, shop_id, plate_id, seq, delta, balance, act, state, bin_id, thickness_nm, spread_nm,
                               u_nm, readings, findings, gauge, reason, person_id, at)
SELECT p.id, p.shop_id, p.id, 1, 1, 1, 'received', 'on_shelf', p.bin_id, p.thickness_nm, 0, 0, '[]', '{}', '', '',
       %(person)s, p.received_at
  FROM plates_plate p WHERE p.shop_id = %(shop)s
"""


def shop_of(plates: int, fits: int, packs: int = 1, bins: bool = False) -> Any:
    """The owner of a shop with so many steels on its shelf, and a pack spec for each of the first ``packs`` fits: PACK,
    PACK-000001 and so on. ``bins``: the steels of these fits lie in bins, else in none.
    """
    from django.db import connection, connections

    from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory, pack

    owner = PersonFactory.create()
    frictions = FitFactory.create(shop=owner.shop, tooth_side="external")
    for number in range(fits):
        fit = FitFactory.create(shop=owner.shop, code=f"FIT-{number:06}")
        KindFactory.create(fit=fit, code=f"STEEL-{number:06}")
        if number < packs:
            pack(owner, fit, frictions, code=f"PACK-{number:06}" if number else "PACK")
            for low_nm, high_nm in pairwise(BINS_NM) if bins else ():
                BinFactory.create(fit=fit, from_nm=low_nm, to_nm=high_nm)
    with connection.cursor() as cursor:
        values = {"shop": owner.shop_id, "count": plates, "fits": fits, "person": owner.pk}
        cursor.execute(_PLATES.replace("n % 4096", "n %% 4096"), values)
        cursor.execute(_LINES, values)
    with connections["owner"].cursor() as cursor:
        cursor.execute("ANALYZE")  # the tables are its own
    return owner


def asked(rng: random.Random) -> dict[str, Any]:
    stack = [f"0.{rng.randint(760, 780):04} in" for _ in range(5)]
    reading = f"0.{rng.randint(700, 900):04} in"
    return {"spec": "PACK", "readings": [reading] * 3, "method": "feeler", "installed": {"steels": stack}}


def plan_of(ask: Callable[[], object]) -> str:
    """PostgreSQL's plan of the statement that reads the shelf."""
    from django.db import connection

    found: list[tuple[str, Any]] = []

    def keep(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        if "FROM plates_plate" in sql and "array_agg" in sql:
            found.append((sql, params))
        return execute(sql, params, many, context)

    with connection.execute_wrapper(keep):
        ask()
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN (ANALYZE, COSTS OFF, TIMING OFF, SUMMARY OFF) {found[0][0]}", found[0][1])
        return "\n".join(f"    {line}" for (line,) in cursor.fetchall())


def timed(task: Callable[[], Any]) -> tuple[float, Any]:
    begin = time.perf_counter()
    answer = task()
    return 1e3 * (time.perf_counter() - begin), answer


def measured(shops: Sequence[tuple[str, Any, Any]], asks: int) -> None:
    """Ask and take in every shop by turns; print median times and their ratio to the first shop's."""
    from tests.api import Api
    from tests.conftest import pointed_at

    times: dict[str, dict[str, list[float]]] = {name: {"ask": [], "take": []} for name, _, _ in shops}
    apis = []  # one client a shop: the first request of each loads the service
    for _, urls, owner in shops:
        with pointed_at(urls):
            apis.append(Api(owner))
    for turn in range(-3, asks):
        if turn == 0:  # what is loaded once is not measured
            times = {name: {"ask": [], "take": []} for name, _, _ in shops}
        for (name, urls, _), api in zip(shops, apis, strict=True):
            with pointed_at(urls):
                body = asked(random.Random(turn))
                took, reply = timed(lambda api=api, body=body: api.post("matches/", body))
                assert reply.status == 201, reply
                times[name]["ask"].append(took)
                options = [one for one in reply.body["options"] if one["changes"]]
                if not options:
                    continue
                path = f"matches/{reply.body['id']}/take/"
                took_take, taken = timed(
                    lambda api=api, path=path, number=options[0]["number"]: api.post(
                        path, {"option": number, "counted": True}
                    )
                )
                assert taken.status == 200, taken
                times[name]["take"].append(took_take)
    first = next(iter(times.values()))
    print(f"{'shop':>34} {'ask, ms':>9} {'ratio':>6} {'take, ms':>9} {'ratio':>6}   (median)")
    for name, some in times.items():
        ask, take = statistics.median(some["ask"]), statistics.median(some["take"])
        ratios = ask / statistics.median(first["ask"]), take / statistics.median(first["take"])
        print(f"{name:>34} {ask:9.1f} {ratios[0]:6.2f} {take:9.1f} {ratios[1]:6.2f}")
    for name, urls, owner in shops:
        with pointed_at(urls):
            api = Api(owner)
            print(f"\nThe shelf of one fit, {name}:")
            print(plan_of(lambda api=api: api.post("matches/", asked(random.Random(0)))))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--plates", nargs="+", type=int, default=[10_000, 1_000_000])
    parser.add_argument("--asks", type=int, default=30)
    asked_for = parser.parse_args()
    with server() as urls:
        _run(asked_for.plates, asked_for.asks, urls)


def _run(sizes: Sequence[int], asks: int, urls: Any) -> None:
    for growth in ("wide", "deep"):
        shops = []
        for plates in sizes:
            fits = FITS_DEEP if growth == "deep" else max(1, plates // PLATES_WIDE)
            with database(urls, f"{growth}_{plates}") as own:
                shops.append((f"{growth}: {plates} plates of {fits} fits", own, shop_of(plates, fits)))
        measured(shops, asks)
        print()


if __name__ == "__main__":
    main()
