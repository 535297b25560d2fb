"""What the cover of one pack costs, in single asks, side by side in one run.

By hand: python -m tests.benchmarks.cover [--packs 3] [--plates 250 5000] [--asks 15]

*Kernel*: random packs; the asks are ``match`` at readings drawn over the same span (``shown`` is their median), the
span goes from the window's low limit to four times its high one. *losses* are those of every plate on the shelf,
*gains* those of 32 sizes. *Alike*: the same packs whose steels may differ by 0.010 in. *Served*: the whole way but the
wire, JSON, token, stock, stored answer.
"""

import argparse
import os
import random
import statistics
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from plates.matching.cover import cover, gains, losses
from plates.matching.problem import Problem, Spread
from plates.matching.search import match
from tests.benchmarks.kernel import STEPS, pack, timed
from tests.benchmarks.scale import asked, shop_of
from tests.benchmarks.shops import database, server
from tests.matching.packs import nm

MOST = 20
ASKS = 7


def ratios(problem: Problem, rng: random.Random) -> tuple[float, dict[str, float]]:
    """Milliseconds of the median ask, and of the cover and what goes with it."""
    span = problem.low_nm, 4 * problem.high_nm
    asks = [replace(problem, clearance_nm=rng.randint(*span)) for _ in range(ASKS)]
    shown = statistics.median(timed(lambda one=one: match(one))[0] for one in asks)
    sizes = [(nm("0.066") + number * nm("0.001"), range(len(problem.slots))) for number in range(32)]
    tasks: dict[str, Callable[[], object]] = {
        "cover": lambda: cover(problem, *span),
        "losses": lambda: losses(problem, *span, range(len(problem.pool))),
        "gains": lambda: gains(problem, *span, sizes),
    }
    return shown, {name: timed(task)[0] for name, task in tasks.items()}


def kernel(packs: int) -> None:
    worst = 0.0
    head = f"{'step':>10} {'distinct':>8} {'slots':>5} {'alike':>5} | "
    head += " ".join(f"{name:>8}" for name in ("ask", "cover", "losses", "gains")) + " | "
    print(head + " ".join(f"{name:>7}" for name in ("cover", "losses", "gains")) + "   (ms, median; asks)")
    for step, distinct, slots, alike in (
        (step, distinct, slots, alike)
        for step in STEPS
        for distinct in (20, 100, 250)
        for slots in (1, 2)
        for alike in (False, True)
    ):
        found: list[tuple[float, dict[str, float]]] = []
        for seed in range(packs):
            rng = random.Random(f"{step} {distinct} {slots} {seed}")
            problem = pack(rng, STEPS[step], distinct, slots, 2)
            if alike:
                problem = replace(problem, spread=Spread(tuple(range(slots)), nm("0.010")))
            found.append(ratios(problem, rng))
        times = [statistics.median(took[name] for _, took in found) for name in ("cover", "losses", "gains")]
        asks = [statistics.median(took[name] / shown for shown, took in found) for name in ("cover", "losses", "gains")]
        worst = max(worst, *(took["cover"] / shown for shown, took in found))
        shown = statistics.median(shown for shown, _ in found)
        print(
            f"{step:>10} {distinct:>8} {slots:>5} {'yes' if alike else 'no':>5} | {shown:8.1f} "
            + " ".join(f"{one:8.1f}" for one in times) + " | " + " ".join(f"{one:7.2f}" for one in asks),
            flush=True,
        )  # fmt: skip
    print(f"The dearest cover cost {worst:.1f} asks; it may cost {MOST}.\n")


def served(plates: int, asks: int) -> None:
    from django.db import connection

    from tests.api import Api

    owner = shop_of(plates, 1)
    api = Api(owner)
    with connection.cursor() as cursor:
        cursor.execute("SELECT id::text FROM plates_plate WHERE shop_id = %s ORDER BY id LIMIT 1000", [owner.shop_id])
        ids = [key for (key,) in cursor.fetchall()]
    span: dict[str, Any] = {"spec": "PACK", "from": "0.040 in", "to": "0.240 in"}
    sizes = [f"0.0{700 + 5 * number} in" for number in range(40)]
    times: dict[str, list[float]] = {}
    for turn in range(-2, asks):
        body = asked(random.Random(turn))
        stack = {**span, "installed": body["installed"]}
        tasks = {
            "ask": ("matches/", body),
            "cover": ("cover/", stack),
            "with 40 sizes": ("cover/", {**stack, "sizes": sizes}),
            f"without {len(ids)} plates": ("cover/", {**stack, "without": ids}),
        }
        for name, (path, sent) in tasks.items():
            took, reply = timed(lambda path=path, sent=sent: api.post(path, sent, key=os.urandom(8).hex()))
            assert reply.status in (200, 201), reply
            if turn >= 0:
                times.setdefault(name, []).append(took)
    ask = statistics.median(times["ask"])
    print(f"served, {plates} plates of one fit: " + ", ".join(
        f"{name} {statistics.median(some):.1f} ms ({statistics.median(some) / ask:.2f} asks)"
        for name, some in times.items()
    ))  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--packs", type=int, default=3, help="random packs a row; 0: no kernel")
    parser.add_argument("--plates", type=int, nargs="+", default=[250, 5000])
    parser.add_argument("--asks", type=int, default=15)
    options = parser.parse_args()
    if options.packs:
        kernel(options.packs)
    with server() as urls:
        for plates in options.plates:
            with database(urls, f"cover_{plates}"):
                served(plates, options.asks)


if __name__ == "__main__":
    main()
