"""Many shops of one database at work at once: a terminal in each of so many, out of a crowd, over one service.

By hand: python -m tests.benchmarks.crowd [--shops 5000] [--plates 200] [--terminals 16] [--seconds 60] [--pool 8]

The crowd is one shop copied (`tests.benchmarks.chain`), the day that of `tests.benchmarks.load`, without a pause. The
same terminals work *apart*, each in a shop of its own, and *together*, all in one of them. Between the service and the
database, which waits for the disk, stands a PgBouncer in transaction mode with ``--pool`` connections; 0 is none.
Terminals, service, pooler and database share the machine.

Exit status 1 for any error, for a difference between shelf and ledger, and where the ledgers of these shops have not as
many plates scanned in as were answered.
"""

import argparse
import sys
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, NamedTuple

from tests.benchmarks.clients import at_once
from tests.benchmarks.day import FitWork, Samples, Served, Tally, Work, terminal
from tests.benchmarks.load import MOST, WARM_SECONDS, Outcome, questions, shown, works_of

if TYPE_CHECKING:
    from tests.conftest import Urls

FITS = 4


class Where(NamedTuple):
    """The service, and the token of each terminal by its seed."""

    port: int
    tokens: Mapping[str, str]
    fits: Sequence[FitWork]


def terminal_of_a_shop(where: Where, work: Work, gate: Any, found: Any) -> None:
    acts = partial(Served, where.port, where.tokens[work.seed], Samples(questions(), [], [], {}))
    terminal((acts, where.fits), work, gate, found)


def crowd(urls: "Urls", shops: int, plates: int) -> Any:
    """The owner of the first of so many shops of so many plates; the others are called as it is, with a number."""
    from tests.benchmarks.chain import copies
    from tests.benchmarks.scale import shop_of

    owner = shop_of(plates, FITS, packs=FITS, bins=True)
    copies(urls, owner.shop_id, shops - 1)
    return owner


def run(port: int, owner: Any, shops: Sequence[int], seconds: float, warm: float, turns: int = 0) -> Outcome:
    """A terminal in each of these copies of the owner's shop, all at once; one that is named twice has two. Each for so
    many seconds after those of warming up, and so many turns at least.
    """
    from plates.stock.ledger_models import LedgerLine
    from plates.stock.verify import differences
    from shop.people.models import Person, Token

    people = [Person.objects.get(username=f"{owner.username}.{number}") for number in shops]
    received = LedgerLine.objects.filter(shop_id__in={one.shop_id for one in people}, act="received")
    before = received.count()
    tokens = {f"terminal {number}": Token.make(person) for number, person in enumerate(people)}
    works = [Work(seed, warm, seconds, turns) for seed in tokens]
    # Codes are alike in every copy, and ids go unused over the service.
    where = Where(port, tokens, works_of(owner))
    tallies = at_once(terminal_of_a_shop, where, works, patience=seconds + 300)
    return Outcome(sum(tallies, Tally()), received.count() - before, len(list(differences())))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--shops", type=int, default=5_000)
    parser.add_argument("--plates", type=int, default=200, help="of each shop")
    parser.add_argument("--terminals", type=int, default=16, help=f"at most {MOST}, and fewer than shops")
    parser.add_argument("--seconds", type=float, default=60, help="of each run")
    parser.add_argument("--pool", type=int, default=8, help="connections of the pooler; 0: no pooler")
    said = parser.parse_args()
    if not 1 <= said.terminals <= min(MOST, said.shops - 1):
        parser.error(f"Between 1 and {MOST} terminals, and fewer than shops.")
    from tests.benchmarks.shops import database, server

    with server(fast=False) as urls, ExitStack() as stack:
        from tests.database.pooler import limit_set, pooler
        from tests.service import serving

        own = stack.enter_context(database(urls, "crowd"))
        owner = crowd(own, said.shops, said.plates)
        print(f"{said.shops} shops of {said.plates} plates; terminals: {said.terminals}; pool: {said.pool}", flush=True)
        there, pooled = own, {}
        if said.pool:
            limit_set(own)
            there = stack.enter_context(pooler(own, "transaction", said.pool)).urls
            pooled = {"PLATES_POOLER": "1"}
        data = stack.enter_context(TemporaryDirectory())
        service = stack.enter_context(serving(there, Path(data), **pooled))
        spread = [1 + number * (said.shops - 1) // said.terminals for number in range(said.terminals)]
        apart = run(service.port, owner, spread, said.seconds, WARM_SECONDS)
        together = run(service.port, owner, spread[:1] * said.terminals, said.seconds, WARM_SECONDS)
        print(shown(together, apart, ("together", "apart")))
    return 1 if apart.wrong or together.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
