"""What the buy list costs in a large shop, and how much of it the shelf page reads.

By hand: python -m tests.benchmarks.buy_list [--plates 1000 100000] [--fits 10 200] [--misses 2000] [--kinds N]

Each shop stands in a database of its own on one server and has a year of ledger: every plate came in, one in four was
taken since, spread evenly over the year; its misses lie in the last thirteen weeks. The shops take turns. Median of the
whole way but the wire; the ratio is to the smallest shop. ``--kinds N`` adds a shop of so many kinds, for the shelf.
"""

import argparse
import statistics
from collections.abc import Sequence
from typing import TYPE_CHECKING

import psycopg

from tests.benchmarks.scale import timed
from tests.benchmarks.shelf_pages import NOMINALS, STEP_NM, Shop, dearest, shop_of
from tests.benchmarks.shops import database, server

if TYPE_CHECKING:
    from shop.people.models import Person

_CAME_AND_WENT = """
INSERT INTO plates_ledgerline (id, shop_id, plate_id, seq, delta, balance, act, state, thickness_nm, spread_nm, u_nm,
                               person_id, readings, findings, gauge, reason, at)
SELECT gen_random_uuid(), p.shop_id, p.id, s.seq, CASE s.seq WHEN 1 THEN 1 ELSE -1 END,
       CASE s.seq WHEN 1 THEN 1 ELSE 0 END, CASE s.seq WHEN 1 THEN 'received' ELSE 'taken' END,
       CASE s.seq WHEN 1 THEN 'on_shelf' ELSE 'taken' END, p.thickness_nm, 0, 0, %(person)s, '[]', '{}', '', '',
       now() - interval '365 d' * (CASE s.seq WHEN 1 THEN 1.0 ELSE (p.n %% 1000) / 1000.0 END)
  FROM (SELECT *, row_number() OVER (ORDER BY id) AS n FROM plates_plate WHERE shop_id = %(shop)s) p
  JOIN generate_series(1, 2) s(seq) ON s.seq = 1 OR p.n %% 4 = 0
 ORDER BY s.seq
"""
# Its job is named by the one question there is; misses of nobody in particular do not wait.
_MISSED = """
INSERT INTO plates_missed (id, shop_id, match_id, job_id, spec_id, day, at, ranges)
SELECT gen_random_uuid(), m.shop_id, m.id, NULL, m.spec_id, current_date, now() - interval '90 d' * n / %(misses)s,
       jsonb_build_array(jsonb_build_object('slot', 'steels', 'fit', 'FIT-' || lpad((n %% %(fits)s)::text, 4, '0'),
           'role', 'steel', 'count', 1, 'from_nm', %(low)s, 'to_nm', %(high)s))
  FROM generate_series(1, %(misses)s) n, plates_match m WHERE m.shop_id = %(shop)s
"""


def buying_shop(plates: int, fits: int, misses: int) -> "Person":
    """The owner of a shop of :mod:`tests.benchmarks.shelf_pages`, with its ledger and misses."""
    from django.db import connection

    owner = shop_of(plates, fits)
    low, high = STEP_NM * NOMINALS[1], STEP_NM * NOMINALS[3]
    with connection.cursor() as cursor:
        cursor.execute(_CAME_AND_WENT, {"shop": owner.shop_id, "person": owner.pk})
        cursor.execute(_MISSED, {"shop": owner.shop_id, "misses": misses, "fits": fits, "low": low, "high": high})
        cursor.execute("VACUUM ANALYZE")
    return owner


PAGES = {"buy list": "/buying/", "the week": "/week/", "shelf": "/shelf/", "one size": "/buying/rules/set/?{size}"}
SIZE = "fit=FIT-0003&role=steel&nominal=0.0770 in"


def measured(shops: Sequence[Shop], times: int, plans: bool) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from tests.conftest import pointed_at
    from tests.pages.counter import Counter

    took: dict[tuple[str, str], list[float]] = {}
    queries: dict[tuple[str, str], int] = {}
    counters = []
    for shop in shops:
        with pointed_at(shop.urls):
            counters.append(Counter(shop.owner))
    for turn in range(-1, times):
        for shop, counter in zip(shops, counters, strict=True):
            with pointed_at(shop.urls):
                counter.open("/fits/")  # the connection is new
                for name, path in PAGES.items():
                    address = path.format(size=SIZE)
                    if turn < 0:  # what is loaded once is not measured
                        counter.open(address)  # now and then a session is written anew: not while it is counted
                        with CaptureQueriesContext(connection) as asked:
                            counter.open(address)
                        assert counter.status == 200, f"{name}: {counter.text[:300]}"
                        queries[name, shop.name] = len(asked)
                        sql = sum(float(one["time"]) for one in asked.captured_queries) * 1000
                        print(f"{shop.name}: {name}, {len(asked)} queries, {sql:.0f} ms in the database", flush=True)
                    else:
                        ms = timed(lambda counter=counter, address=address: counter.open(address))[0]
                        took.setdefault((name, shop.name), []).append(ms)
    for name in PAGES:
        assert len({queries[name, shop.name] for shop in shops}) == 1, f"{name}: queries grow with the shop"
        base = statistics.median(took[name, shops[0].name])
        for shop in shops:
            ms = statistics.median(took[name, shop.name])
            print(f"{name:>10} {shop.name:>36} {ms:8.1f} ms {ms / base:6.2f} times")
    if plans:
        with pointed_at(shops[-1].urls):
            for name, path in PAGES.items():
                address = path.format(size=SIZE)
                print(f"\n{name}: " + dearest(lambda address=address: counters[-1].open(address)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--plates", nargs="+", type=int, default=[1_000, 100_000])
    parser.add_argument("--fits", nargs="+", type=int, default=[10, 200])
    parser.add_argument("--misses", type=int, default=2_000)
    parser.add_argument("--kinds", type=int, default=0)
    parser.add_argument("--times", type=int, default=7)
    parser.add_argument("--plans", action="store_true")
    said = parser.parse_args()
    wanted = [(plates, fits) for plates in said.plates for fits in said.fits]
    if said.kinds:
        wanted.append((said.plates[0], said.kinds // len(NOMINALS)))
    with server() as urls:
        shops = []
        for plates, fits in wanted:
            with database(urls, f"buying_{plates}_{fits}") as own:
                # A question is missed once; here all misses hang on the only one that there is.
                with psycopg.connect(own.owner, autocommit=True) as connection:
                    connection.execute("ALTER TABLE plates_missed DROP CONSTRAINT missed_once")
                owner = buying_shop(plates, fits, said.misses)
                shops.append(Shop(f"{plates} plates of {fits} fits", own, owner))
        measured(shops, said.times, said.plans)


if __name__ == "__main__":
    main()
