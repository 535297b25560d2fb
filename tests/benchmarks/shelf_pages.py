"""What the pages of the shelf cost in a shop of 1 000 plates and in one of 100 000.

By hand: python -m tests.benchmarks.shelf_pages [--plates 1000 100000] [--times 15] [--plans]

Two ways to grow: *wide*, 250 plates of each fit and more fits; *deep*, 20 fits and more plates of each. Each shop
stands in a database of its own on one server; the shops take turns, one page each, so that a busy machine slows both.
Median of the whole way but the wire; the ratio is to the smaller shop. ``--plans`` prints PostgreSQL's plan of the
dearest statement of each page in the larger one.
"""

import argparse
import random
import statistics
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from tests.benchmarks.scale import asked, timed
from tests.benchmarks.shops import database, server

if TYPE_CHECKING:
    from shop.people.models import Person
    from tests.conftest import Urls

FITS_DEEP, PLATES_WIDE = 20, 250
#: Nominals of each fit in 0.0001 in: a kind of each, and the bin that spans it.
NOMINALS, SPAN = (700, 735, 770, 805, 840), 35
STEP_NM = 2_540

#: Plates within 0.0012 in of the nominal of their kind, in its bin. One in fifty is gone, one in five hundred is held.
#: They have no ledger, which none of these pages reads.
_PLATES = """
INSERT INTO plates_plate (id, shop_id, kind_id, fit_id, role, bin_id, thickness_nm, spread_nm, u_nm, state, revision,
                          condition, source, owner, box, mark, gauge, received_at, match_id, held_until)
SELECT (lpad(to_hex(1700000000000 + n), 12, '0') || '7' || lpad(to_hex(n %% 4096), 3, '0') || '8' ||
        lpad(to_hex(n), 15, '0'))::uuid,
       %(shop)s, k.id, k.fit_id, 'steel', CASE WHEN state <> 'scrapped' THEN b.id END,
       k.nominal_nm + %(step)s * ((hashint8(n) & 2147483647) %% 25 - 12), 0, 0, state, 1,
       'new', '', '', '', '', '', now() - make_interval(secs => n),
       CASE WHEN state = 'held' THEN %(match)s::uuid END, CASE WHEN state = 'held' THEN now() + interval '1 d' END
  FROM (SELECT n, CASE WHEN hashint8(n + 1) %% 500 = 0 THEN 'held' WHEN hashint8(n + 1) %% 50 = 1 THEN 'scrapped'
                       ELSE 'on_shelf' END AS state
          FROM generate_series(1, %(count)s) n) drawn
  JOIN (SELECT id, fit_id, nominal_nm, row_number() OVER (ORDER BY code) AS place
          FROM plates_kind WHERE shop_id = %(shop)s AND role = 'steel') k ON k.place = n %% %(kinds)s + 1
  JOIN plates_bin b ON b.fit_id = k.fit_id AND b.from_nm <= k.nominal_nm AND b.to_nm > k.nominal_nm
"""


def shop_of(plates: int, fits: int) -> "Person":
    """The owner of a shop with so many steels: five kinds and bins a fit."""
    from django.db import connection

    from tests.api import Api
    from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory, pack

    owner = PersonFactory.create()
    for number in range(fits):
        fit = FitFactory.create(shop=owner.shop, code=f"FIT-{number:04}")
        for nominal in NOMINALS:
            low_nm = STEP_NM * (nominal - SPAN // 2)
            KindFactory.create(fit=fit, code=f"STEEL-{number:04}-{nominal}", nominal_nm=STEP_NM * nominal)
            BinFactory.create(fit=fit, code=f"B-{number:04}-{nominal}", from_nm=low_nm, to_nm=low_nm + STEP_NM * SPAN)
        if number == 0:
            pack(owner, fit, FitFactory.create(shop=owner.shop, tooth_side="external"))
    match = Api(owner).post("matches/", asked(random.Random(0))).body["id"]
    with connection.cursor() as cursor:
        values = {"shop": owner.shop_id, "count": plates, "kinds": fits * len(NOMINALS), "step": STEP_NM}
        cursor.execute(_PLATES, {**values, "match": match})
        cursor.execute("VACUUM ANALYZE")
    return owner


PAGES = {
    "shelf": "/shelf/",
    "shelf, one fit": "/shelf/?fit=FIT-0003",
    "one size": "/shelf/FIT-0003/steel/?from=0.0765 in&to=0.0775 in",
    "bins": "/bins/",
    "one bin": "/bins/B-0003-770/",
    "kinds": "/kinds/",
    "one kind": "/kinds/STEEL-0003-770/",
    "find a size": "/find/?q=.077",
    "find a bin": "/find/?q=B-0003",
}


class Shop(NamedTuple):
    name: str
    urls: "Urls"
    owner: "Person"


def dearest(open_page: Callable[[], object]) -> str:
    """The statement of a page that takes the longest, with PostgreSQL's plan of it."""
    from django.db import connection

    ran: list[tuple[float, str, Any]] = []

    def keep(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        took, answer = timed(lambda: execute(sql, params, many, context))
        ran.append((took, sql, params))
        return answer

    with connection.execute_wrapper(keep):
        open_page()
    took, sql, params = max(ran, key=lambda one: one[0])
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN (ANALYZE, BUFFERS, COSTS OFF, TIMING OFF) {sql}", params)
        plan = "\n".join(f"    {line}" for (line,) in cursor.fetchall())
    return f"{took:.1f} ms of {sum(one[0] for one in ran):.1f} ms in {len(ran)} statements\n    {sql.strip()}\n{plan}"


def measured(shops: Sequence[Shop], times: int, plans: bool) -> None:
    """Open every page in every shop by turns; print median times and their ratio to the first shop's."""
    from tests.conftest import pointed_at
    from tests.pages.counter import Counter

    counters = []
    for shop in shops:
        with pointed_at(shop.urls):
            counters.append(Counter(shop.owner))
    took: dict[tuple[str, str], list[float]] = {}
    for turn in range(-2, times):
        for shop, counter in zip(shops, counters, strict=True):
            with pointed_at(shop.urls):
                counter.open("/fits/")  # the connection is new
                for name, path in PAGES.items():
                    ms = timed(lambda counter=counter, path=path: counter.open(path))[0]
                    assert counter.status == 200, f"{name}: {counter.text[:300]}"
                    if turn >= 0:  # what is loaded once is not measured
                        took.setdefault((name, shop.name), []).append(ms)
    print("{:>16} ".format("median, ms") + " ".join(f"{shop.name:>28}" for shop in shops) + f" {'ratio':>6}")
    for name in PAGES:
        medians = [statistics.median(took[name, shop.name]) for shop in shops]
        print(f"{name:>16} " + " ".join(f"{ms:28.1f}" for ms in medians) + f" {medians[-1] / medians[0]:6.2f}")
    if plans:
        with pointed_at(shops[-1].urls):
            for name, path in PAGES.items():
                print(f"\n{name}, {shops[-1].name}: " + dearest(lambda path=path: counters[-1].open(path)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--plates", nargs="+", type=int, default=[1_000, 100_000])
    parser.add_argument("--times", type=int, default=15)
    parser.add_argument("--plans", action="store_true")
    said = parser.parse_args()
    with server() as urls:
        for growth in ("wide", "deep"):
            shops = []
            for plates in said.plates:
                fits = FITS_DEEP if growth == "deep" else max(4, plates // PLATES_WIDE)
                with database(urls, f"{growth}_{plates}") as own:
                    shops.append(Shop(f"{growth}: {plates} of {fits} fits", own, shop_of(plates, fits)))
            measured(shops, said.times, said.plans)
            print(flush=True)


if __name__ == "__main__":
    main()
