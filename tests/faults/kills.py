"""Many clients, every act sent twice, while workers, backends and the whole server are killed again and again.

By hand: python -m tests.faults.kills --clients 16 --minutes 5 --kills 100

It starts an embedded server in a data directory of its own and gunicorn on loopback, kills nothing else, and ends
within the minutes and the patience after them. Exit status 1 when anything was lost, done twice, or differs from the
ledger.
"""

import argparse
import os
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import django

if TYPE_CHECKING:
    from shop import database
    from tests.faults.clients import Table

PATIENCE = 120.0


def run(
    server: "database.Server", clients: int, seconds: float, kills: int, seed: int, module: str = "shop.wsgi"
) -> "tuple[Table, dict[str, int]]":
    """One run on this server, to which Django's connections lead; how often each was killed."""
    from shop.people.models import Token
    from tests.faults.clients import Clients, table_of
    from tests.faults.victims import Killer, urls_of
    from tests.faults.world import shop_new
    from tests.service import serving

    owner = shop_new()
    token = Token.make(owner)
    with TemporaryDirectory() as files, serving(urls_of(server), Path(files), module) as service:
        crowd, killer = Clients(owner, token, service, seed), Killer(service, server, seed)
        end = time.monotonic() + seconds
        with ThreadPoolExecutor(1) as beside:
            killing = beside.submit(killer.run, kills, seconds)
            tally = crowd.run(clients, lambda: killing.done() and time.monotonic() >= end, PATIENCE)
            killing.result()
    from django.db import connections

    connections.close_all()  # those of before the kills are dead
    return table_of(tally, owner.shop_id), dict(killer.killed)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--clients", type=int, default=16)
    parser.add_argument("--minutes", type=float, default=5)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
    django.setup()
    from tests.faults.victims import migrated, own_server

    with own_server() as server, migrated(server):
        table, killed = run(server, asked.clients, 60 * asked.minutes, asked.kills, asked.seed)
    print(table)
    print("killed: " + ", ".join(f"{count} times a {name}" for name, count in killed.items()))
    return 0 if table.whole else 1


if __name__ == "__main__":
    sys.exit(main())
