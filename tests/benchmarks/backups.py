"""What a backup, and the drill that proves it, cost in shops of several sizes.

By hand: python -m tests.benchmarks.backups [--plates 100000 1000000]

The first shop is the demo's. The server waits for the disk, as a shop's does.
"""

import argparse
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from django.db import connection

from tests.benchmarks.scale import FITS_DEEP, shop_of
from tests.benchmarks.shops import database, server


def measured(name: str, file: Path) -> None:
    from shop.backup import backup_drill, backup_make

    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_database_size(current_database())")
        size = cursor.fetchone()[0]
    begun = time.monotonic()
    manifest = backup_make(file)
    took = time.monotonic() - begun
    proof = backup_drill(file)
    steps = ", ".join(f"{step} {seconds:.1f} s" for step, seconds in proof.steps)
    print(
        f"{name}: {manifest.rows} rows, database {size / 1e6:.1f} MB, file {file.stat().st_size / 1e6:.1f} MB, "
        f"backup {took:.1f} s; drill: {steps}",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--plates", nargs="*", type=int, default=[100_000, 1_000_000])
    asked = parser.parse_args()
    with server(fast=False) as urls, tempfile.TemporaryDirectory() as directory:
        from shop.demo import demo_load

        with database(urls, "demo"):
            demo_load(datetime.now(UTC))
            measured("demo", Path(directory, "demo"))
        for plates in asked.plates:
            with database(urls, f"plates_{plates}"):
                shop_of(plates, FITS_DEEP)
                measured(f"{plates} plates", Path(directory, str(plates)))


if __name__ == "__main__":
    main()
