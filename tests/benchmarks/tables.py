"""What an import costs: rows written together, beside the same rows made one by one by their services.

By hand: python -m tests.benchmarks.tables [--rows 500 2000 20000] [--single 500]

Files without a bad row, of 20 fits; each kind has two barcodes, a supplier and a limit. *check* is the dry run, *write*
what the press does, *locked* the part of it from the first row written to its end, while whoever makes the same code
has to wait. One by one goes as far as ``--single``; the ratio is its time to that of *write*. The memory
is the most that the process ever had, so that it grows from line to line.
"""

import argparse
import resource
import time
from typing import TYPE_CHECKING, Any

from tests.benchmarks.scale import timed
from tests.benchmarks.shops import database, server

if TYPE_CHECKING:
    from shop.people.models import Person

FITS = 20


def kinds_file(rows: int) -> bytes:
    heads = "code,fit,role,nominal_in,scan_codes,supplier,unit_cost,taper_limit_in\n"
    lines = (
        f"K-{row},FIT-{row % FITS},steel,0.0{500 + row % 400},S{row} | T{row},Supplier {row % 10},1.25,0.001\n"
        for row in range(rows)
    )
    return (heads + "".join(lines)).encode()


def bins_file(rows: int) -> bytes:
    lines = (f"B-{row},FIT-{row % FITS},steel,{row // FITS},{row // FITS + 1}\n" for row in range(rows))
    return ("code,fit,role,from_mm,to_mm\n" + "".join(lines)).encode()


def one_by_one(owner: "Person", sort: Any, content: bytes) -> None:
    """The rows of a file as single calls of their service, each in a savepoint of one transaction."""
    from django.db import transaction

    from plates.tables import services
    from plates.tables.bodies import Reader
    from plates.tables.columns import KINDS
    from plates.tables.decoding import table_of

    table = table_of(content, sort)
    reader = Reader(table, sort)
    fits = {fit.code: fit for fit in services.fits(owner.shop_id)}
    make = services._kinds if sort is KINDS else services._bins
    with transaction.atomic():
        for row in table.rows:
            body, _ = reader.read(row)
            assert not make(owner, [{**body, "fit": fits[body["fit"]]}])
        transaction.set_rollback(True)


class FirstWrite:
    """When the first row was written."""

    at = 0.0

    def __call__(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        if not self.at and sql.startswith("INSERT"):
            self.at = time.perf_counter()
        return execute(sql, params, many, context)


def measured(owner: "Person", sort: Any, content: bytes, rows: int, single: int) -> str:
    from django.db import connection, transaction

    from plates.tables.services import table_check, table_write

    check_ms, checked = timed(lambda: table_check(person=owner, sort=sort, content=content))
    assert checked.good == rows
    first = FirstWrite()
    with transaction.atomic():
        with connection.execute_wrapper(first):
            write_ms, _ = timed(lambda: table_write(person=owner, sort=sort, content=content))
        locked_ms = 1_000 * (time.perf_counter() - first.at)
        transaction.set_rollback(True)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1_024
    line = f"{sort.name:>6} {rows:>6} {check_ms:>10.0f} {write_ms:>10.0f} {locked_ms:>10.0f} {memory:>8.0f}"
    if rows > single:
        return line
    single_ms, _ = timed(lambda: one_by_one(owner, sort, content))
    return f"{line} {single_ms:>12.0f} {single_ms / write_ms:>6.1f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", nargs="+", type=int, default=[500, 2_000, 20_000])
    parser.add_argument("--single", type=int, default=500)
    said = parser.parse_args()
    with server() as urls, database(urls, "tables"):
        from plates.tables.columns import BINS, KINDS
        from tests.factories import FitFactory, PersonFactory

        owner = PersonFactory.create()
        for number in range(FITS):
            FitFactory.create(shop=owner.shop, code=f"FIT-{number}")
        print(f"{'table':>6} {'rows':>6} {'check, ms':>10} {'write, ms':>10} {'locked, ms':>10} {'MB':>8} ", end="")
        print(f"{'one by one':>12} {'ratio':>6}")
        for sort, file in ((KINDS, kinds_file), (BINS, bins_file)):
            for rows in said.rows:
                print(measured(owner, sort, file(rows), rows, said.single), flush=True)


if __name__ == "__main__":
    main()
