"""A mixed working day at 1, 4, 16 and 64 terminals, on the service and by hand on the bare database.

By hand: python -m tests.benchmarks.load [--terminals 1 4 16 64] [--plates 10000 1000000] [--seconds 120]

The shop has 250 plates of each fit, pack specs and bins for up to 200 fits, and half of all packs are of four fits,
where the terminals meet. *Served*: gunicorn with two workers on loopback; a terminal is a process with one kept-alive
connection. *Bare*: a terminal is a process with one connection of psycopg that does the same acts in the same order,
each one transaction with the same locks, rows and answers stored, written by hand, without search, validation or JSON
shapes. Both work on one database that waits for the disk, for so many seconds after a few that are not counted, each
act as soon as the one before is answered.

An answer is *done* (2xx), *refused* (another terminal was first) or an *error*. Exit status 1 for any error, for a
difference between shelf and ledger after a run, and where the ledger has not as many plates scanned in as were
answered.
"""

import argparse
import random
import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests.benchmarks.clients import at_once, figures, match_row
from tests.benchmarks.day import ACTS, ByHand, FitWork, Place, Samples, Served, Tally, Work, terminal

#: The embedded server takes 100 connections; the service and the benchmark itself need some of them.
MOST = 64
PACKS, QUESTIONS, SHOWN = 200, 24, 5
#: Connections, workers and caches warm up.
WARM_SECONDS = 5.0


@dataclass(frozen=True)
class Shop:
    """The shop of a run. ``owner``: a Person."""

    owner: Any
    fits: list[FitWork]
    samples: Samples


@dataclass(frozen=True)
class Outcome:
    """What one run came to. ``received``: plates that the ledger has more; ``differing``: shelf against ledger."""

    tally: Tally
    received: int
    differing: int

    @property
    def wrong(self) -> list[str]:
        errors = self.tally.errors
        found = [f"{len(errors)} errors, the first: {'; '.join(errors[:SHOWN])}"] if errors else []
        if self.received != self.tally.done["scan"]:
            found.append(f"{self.tally.done['scan']} scans were answered, the ledger has {self.received}")
        return found + ([f"shelf and ledger differ {self.differing} times"] if self.differing else [])


def questions() -> list[dict[str, Any]]:
    """Packs of five thin steels, 0.011 to 0.022 in above the target: one or two plates close each, always others."""
    chance = random.Random(1)
    return [
        {
            "readings": [f"0.0{chance.randint(610, 720)} in"] * 3, "method": "feeler", "counted": True,
            "installed": {"steels": [f"0.0{chance.randint(715, 745)} in" for _ in range(5)]},
        }
        for _ in range(QUESTIONS)
    ]  # fmt: skip


def works_of(owner: Any) -> list[FitWork]:
    """What terminals of this shop need to know."""
    from plates.catalogue.spec_models import Slot
    from plates.stock.models import Bin

    places: dict[Any, list[Place]] = {}
    for row in Bin.objects.filter(shop_id=owner.shop_id).order_by("code"):
        places.setdefault(row.fit_id, []).append(Place(row.pk, row.code))
    slots = Slot.objects.filter(shop_id=owner.shop_id, role="steel").select_related("spec", "fit").order_by("fit__code")
    return [
        FitWork(slot.fit_id, slot.fit.code.replace("FIT", "STEEL"), slot.spec_id, slot.spec.code, places[slot.fit_id])
        for slot in slots
    ]


def shop_new(plates: int, url: str) -> Shop:
    """A shop of so many plates, in the database to which Django's connections lead; ``url`` is its address."""
    from tests.api import Api
    from tests.benchmarks.scale import PLATES_WIDE, shop_of

    fits = max(1, plates // PLATES_WIDE)
    owner = shop_of(plates, fits, packs=min(fits, PACKS), bins=True)
    works = works_of(owner)
    api, bodies = Api(owner), questions()
    answers = [api.post("matches/", {**body, "spec": works[0].pack}) for body in bodies]
    assert all(any(option["in"] for option in answer.body["options"]) for answer in answers)
    scanned = api.post("plates/", {"kind": works[0].kind, "readings": ["0.0771 in"]})
    rows = [match_row(url, answer.body["id"]) for answer in answers]
    return Shop(owner, works, Samples(bodies, rows, [answer.body for answer in answers], scanned.body))


def run(
    acts: Callable[[], Served | ByHand], shop: Shop, terminals: int, seconds: float, warm: float, turns: int = 0
) -> Outcome:
    """So many terminals at once, each for so many seconds after those of warming up, and so many turns at least."""
    from plates.stock.ledger_models import LedgerLine
    from plates.stock.verify import differences

    received = LedgerLine.objects.filter(shop_id=shop.owner.shop_id, act="received")
    before = received.count()
    works = [Work(f"terminal {number}", warm, seconds, turns) for number in range(terminals)]
    tallies = at_once(terminal, (acts, shop.fits), works, patience=seconds + 300)
    return Outcome(sum(tallies, Tally()), received.count() - before, len(list(differences())))


def served(shop: Shop, port: int) -> Callable[[], Served]:
    from shop.people.models import Token

    return partial(Served, port, Token.make(shop.owner), shop.samples)


def by_hand(shop: Shop, url: str) -> Callable[[], ByHand]:
    return partial(ByHand, url, shop.owner.shop_id, shop.owner.pk, shop.samples)


def _row(outcome: Outcome, name: str) -> tuple[float, float, float, str]:
    """p50 and p99 in ms and acts a second of one act, or of all; the same as text. Zeros where there was none."""
    every = [(begin, end) for _, begin, end in outcome.tally.calls]
    calls = [(begin, end) for act, begin, end in outcome.tally.calls if name in (act, "all")]
    p50, p99, _ = figures(calls) if calls else (0.0, 0.0, 0.0)
    rate = len(calls) / len(every) * figures(every)[2] if calls else 0.0
    return p50, p99, rate, f"{len(calls):>7} {p50:>8.1f} {p99:>8.1f} {rate:>8.1f}"


def shown(first: Outcome, second: Outcome, names: tuple[str, str] = ("bare", "served")) -> str:
    """Both as a table, act by act."""
    one, other = names
    heads = f"{'acts':>7} {'p50':>8} {'p99':>8} {'a second':>8}"
    lines = [
        f"{'':>10} | {f'{one}, ms':^34} | {f'{other}, ms':^34} | {other} over {one}",
        f"{'':>10} | {heads} | {heads} | {'p50':>6} {'p99':>6} throughput",
    ]
    for act in ("all", *ACTS):
        (b50, b99, b_rate, b_row), (s50, s99, s_rate, s_row) = (_row(outcome, act) for outcome in (first, second))
        ratios = f"{s50 / b50:>6.1f} {s99 / b99:>6.1f} {s_rate / b_rate:>10.0%}" if b_rate and s_rate else ""
        lines.append(f"{act:>10} | {b_row} | {s_row} | {ratios}")
    for name, outcome in ((one, first), (other, second)):
        refused = ", ".join(f"{what} {count}" for what, count in sorted(outcome.tally.refused.items())) or "nothing"
        clean = f"no error, ledger clean, all {outcome.received} plates scanned in are there"
        lines.append(f"{name}: refused {refused}; {'; '.join(outcome.wrong) or clean}")
    return "\n".join(lines)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--terminals", nargs="+", type=int, default=[1, 4, 16, 64], help=f"at most {MOST}")
    parser.add_argument("--plates", nargs="+", type=int, default=[10_000, 1_000_000])
    parser.add_argument("--seconds", type=float, default=120, help="of each run")
    asked = parser.parse_args()
    if not all(1 <= terminals <= MOST for terminals in asked.terminals):
        parser.error(f"The database has connections for 1 to {MOST} terminals.")
    # A terminal that starts loads this module again, and needs no Django.
    from tests.benchmarks.shops import database, server

    wrong = False
    with server(fast=False) as urls:
        from tests.service import serving

        for plates in asked.plates:
            with database(urls, f"load_{plates}") as own, TemporaryDirectory() as data:
                shop = shop_new(plates, own.app)
                with serving(own, Path(data)) as service:
                    for terminals in asked.terminals:
                        bare = run(by_hand(shop, own.app), shop, terminals, asked.seconds, WARM_SECONDS)
                        there = run(served(shop, service.port), shop, terminals, asked.seconds, WARM_SECONDS)
                        print(f"\n{plates} plates, {len(shop.fits)} pack specs, terminals: {terminals}")
                        print(shown(bare, there), flush=True)
                        wrong = wrong or bool(bare.wrong or there.wrong)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
