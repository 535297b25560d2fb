"""A chain of shops in one database: what a shop of the crowd pays for the others, and what each adds.

By hand: python -m tests.benchmarks.chain [--shops 5000] [--plates 200] [--times 30]

Beside the crowd stands a database with a single shop of the same size; the two take turns, one act or page each, so
that a busy machine slows both. The crowd is such a shop copied: every id with the number of the copy in it.
"""

import argparse
import io
import random
import statistics
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, NamedTuple

from tests.benchmarks.scale import asked, plan_of, shop_of, timed
from tests.benchmarks.shops import database, server

if TYPE_CHECKING:
    from shop.people.models import Person
    from tests.api import Api
    from tests.conftest import Urls
    from tests.pages.counter import Counter

FITS, ACTS_A_YEAR = 4, 20_000
#: Of a text that nobody else may have; all other columns but the ids are the same in every shop.
UNIQUE = {("shop_person", "username"), ("shop_token", "sha256")}

# The number goes in behind the mark of the version, where these ids have zeros or random bits.
_OF_COPY = """
CREATE FUNCTION pg_temp.of_copy(id uuid, n int) RETURNS uuid IMMUTABLE STRICT LANGUAGE sql AS
$$ SELECT overlay(replace(id::text, '-', '') PLACING lpad(to_hex(n), 5, '0') FROM 18 FOR 5)::uuid $$
"""
_UUIDS = """
SELECT column_name FROM information_schema.columns
 WHERE table_schema = 'public' AND table_name = %s AND data_type = 'uuid'
"""
_WEIGHT = """
SELECT relname, pg_table_size(oid), pg_indexes_size(oid) FROM pg_class
 WHERE relnamespace = 'public'::regnamespace AND relkind = 'r'
"""


class Place(NamedTuple):
    """A shop in its database."""

    name: str
    urls: "Urls"
    owner: "Person"


def copies(urls: "Urls", shop: Any, count: int) -> None:
    """Copy the shop so many times, table by table."""
    import psycopg

    from tests.database.moving import shop_tables

    with psycopg.connect(urls.app) as connection:
        connection.execute(_OF_COPY)
        for table, columns in shop_tables(connection).items():
            ids = {name for (name,) in connection.execute(_UUIDS, [table])}
            new = [
                f'pg_temp.of_copy("{name}", n)' if name in ids
                else f"{name} || '.' || n" if (table, name) in UNIQUE
                else f'"{name}"'
                for name in columns
            ]  # fmt: skip
            into = ", ".join(f'"{name}"' for name in columns)
            whose = "id" if table == "shop_shop" else "shop_id"
            connection.execute(
                f"INSERT INTO {table} ({into}) SELECT {', '.join(new)}"  # type: ignore[call-overload]
                f"  FROM {table}, generate_series(1, %s) n WHERE {whose} = %s ORDER BY n",
                [count, shop],
            )
    with psycopg.connect(urls.owner, autocommit=True) as connection:
        connection.execute("VACUUM ANALYZE")


def weights(urls: "Urls") -> dict[str, tuple[int, int]]:
    """Bytes of each table and of its indexes."""
    import psycopg

    with psycopg.connect(urls.app) as connection:
        return {name: (table, indexes) for name, table, indexes in connection.execute(_WEIGHT)}


def weighed(before: dict[str, tuple[int, int]], after: dict[str, tuple[int, int]], shops: int, plates: int) -> None:
    """What a shop weighs, of so many that were added, and a year of it."""
    added = {name: (after[name][0] - before[name][0], after[name][1] - before[name][1]) for name in after}
    rows = shops * plates
    print(f"\nA shop of {plates} plates weighs {sum(map(sum, added.values())) / shops / 1e3:.0f} kB")
    for name, what in (("plates_plate", "plate"), ("plates_ledgerline", "ledger line")):
        table, indexes = (part / rows for part in added[name])
        print(f"    {what}: {table:.0f} bytes in the table, {indexes:.0f} in its indexes")
    line = sum(added["plates_ledgerline"]) / rows
    print(f"    a year of {ACTS_A_YEAR} acts of one line each: {line * ACTS_A_YEAR / 1e6:.1f} MB of ledger, "
          f"{line * ACTS_A_YEAR * 5_000 / 1e9:.0f} GB of 5 000 shops")  # fmt: skip


def acts(api: "Api", counter: "Counter", turn: int) -> dict[str, Callable[[], None]]:
    """What is measured; the pack asked for is the one that is taken."""
    match: dict[str, Any] = {}

    def ask() -> None:
        match.update(api.post("matches/", asked(random.Random(turn))).body)
        assert "options" in match, match

    def take() -> None:
        number = next(one["number"] for one in match["options"] if one["changes"])
        reply = api.post(f"matches/{match['id']}/take/", {"option": number, "counted": True})
        assert reply.status == 200, reply

    def scan_in() -> None:
        reply = api.post("plates/", {"kind": "STEEL-000000", "readings": ["0.0770 in"], "confirm": True})
        assert reply.status == 201, reply

    def page(path: str) -> Callable[[], None]:
        def opened() -> None:
            counter.open(path)
            assert counter.status == 200, counter.text[:300]

        return opened

    takes = {"take": take} if turn % 3 == 0 else {}  # more is scanned in than taken, so that the shelf lasts
    return {"ask": ask, **takes, "scan in": scan_in, "buy list": page("/buying/"), "shelf": page("/shelf/")}


def measured(places: list[Place], times: int) -> None:
    """Every act and page in both by turns; print medians and the ratio to the single shop."""
    from tests.api import Api
    from tests.conftest import pointed_at
    from tests.pages.counter import Counter

    clients = []
    for place in places:
        with pointed_at(place.urls):
            clients.append((Api(place.owner), Counter(place.owner)))
    took: dict[tuple[str, str], list[float]] = {}
    for turn in range(-3, times):
        for place, (api, counter) in zip(places, clients, strict=True):
            with pointed_at(place.urls):
                counter.open("/fits/")  # the connection is new
                try:
                    for name, act in acts(api, counter, turn).items():
                        ms = timed(act)[0]
                        if turn >= 0:  # what is loaded once is not measured
                            took.setdefault((name, place.name), []).append(ms)
                except StopIteration:
                    continue  # nothing on the shelf closes this one: the same in both
    print(f"{'median, ms':>12} " + " ".join(f"{place.name:>30}" for place in places) + f" {'ratio':>6}")
    for name in dict.fromkeys(name for name, _ in took):
        medians = [statistics.median(took[name, place.name]) for place in places]
        print(f"{name:>12} " + " ".join(f"{ms:30.1f}" for ms in medians) + f" {medians[-1] / medians[0]:6.2f}")
    with pointed_at(places[-1].urls):
        api = clients[-1][0]
        print("\nThe shelf of one fit in the crowd:\n" + plan_of(lambda: api.post("matches/", asked(random.Random(0)))))


def over_all(place: Place) -> None:
    """A shop that opens, and the commands that go over all of them."""
    from django.core.management import call_command

    from shop.people.services import shop_open
    from tests.conftest import pointed_at

    with pointed_at(place.urls):
        opened = [timed(lambda n=n: shop_open(name="New", owner=f"new{n}", password="a mile of string 4"))[0]
                  for n in range(5)]  # fmt: skip
        print(f"a new shop opens in {statistics.median(opened):.0f} ms, most of it the hash of the password")
        for command in ("ledger_verify", "week_sheet"):  # the second takes minutes: shop by shop
            took, said = timed(lambda command=command: call_command(command, stdout=(out := io.StringIO())) or out)
            last = said.getvalue().strip().splitlines()[-1][:100]
            print(f"{command} over all shops: {took / 1e3:.1f} s", last, flush=True)


def moved(urls: "Urls", place: Place) -> None:
    """One shop out of the crowd into an empty database, and its ledger verified there."""
    from django.core.management import call_command

    from tests.conftest import pointed_at
    from tests.database.moving import shop_move

    with database(urls, "apart") as apart:
        took, rows = timed(lambda: shop_move(place.owner.shop_id, out=place.urls, into=apart))
    with pointed_at(apart):
        out = io.StringIO()
        call_command("ledger_verify", stdout=out)
    print(f"a shop of {rows} rows moves in {took / 1e3:.2f} s; there: {out.getvalue().strip()}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--shops", type=int, default=5_000)
    parser.add_argument("--plates", type=int, default=200)
    parser.add_argument("--times", type=int, default=30)
    said = parser.parse_args()
    with server() as urls:
        places = []
        for name in ("single", "crowd"):
            with database(urls, name) as own:
                owner = shop_of(said.plates, FITS)
            places.append(Place(name, own, owner))
        crowd = places[-1]
        before, begun = weights(crowd.urls), time.monotonic()
        copies(crowd.urls, crowd.owner.shop_id, said.shops - 1)
        print(f"{said.shops} shops of {said.plates} plates, built in {time.monotonic() - begun:.0f} s", flush=True)
        weighed(before, weights(crowd.urls), said.shops - 1, said.plates)
        measured(places, said.times)
        moved(urls, crowd)
        over_all(crowd)


if __name__ == "__main__":
    main()
