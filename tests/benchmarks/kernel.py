"""The search against two general-purpose solvers, side by side in one run. By hand: python -m tests.benchmarks.kernel

The task, the same for all three, the building of the model included: for each number of changes k = 1 … n the least
distance of the prediction to the target, by exchanges of the ordinary way. The packs of a row are random; n is how
many changes they need: a change is worth at most about half the spread of the shelf, and the pack is off by n - 0.4
times that. One thread each; the solvers are given thicknesses with their counts, not single plates. ``match`` is the
whole answer (options, ties, probabilities), which the solvers are not asked.
"""

import argparse
import random
import statistics
import time
from collections.abc import Callable

from plates.matching.problem import Installed, Problem, Slot, Way
from plates.matching.search import distances, match
from tests.matching.packs import MOVE_NM, nm, pool_of, rows
from tests.matching.solvers import by_cp_sat, by_highs

STEPS = {"0.0001 in": 2_540, "0.001 mm": 1_000, "1 nm": 1}
SPREAD_NM = nm("0.040")
TARGET_NM, LOW_NM, HIGH_NM = nm("0.050"), nm("0.040"), nm("0.060")


def pack(rng: random.Random, step: int, distinct: int, slots: int, need: int) -> Problem:
    thinnest, spread = nm("0.070") // step, SPREAD_NM // step
    thicknesses: list[int] = []
    places = []
    for index in range(slots):
        mine = [t for t in rng.sample(range(thinnest, thinnest + spread), distinct) for _ in range(rng.randint(1, 2))]
        middle = thinnest + spread // 2
        stack = [rng.randint(middle - spread // 20, middle + spread // 20) for _ in range(5)]
        places.append(
            Slot(
                f"slot {index}",
                tuple(Installed(step * t) for t in stack),
                swap=True,
                ordinary=rows(*range(len(thicknesses), len(thicknesses) + len(mine))),
            )
        )
        thicknesses += [step * t for t in mine]
    numbers = range(len(thicknesses))
    pool = pool_of(
        thicknesses,
        pieces=[rng.randint(1, 30) for _ in numbers],
        received=[rng.randrange(10**6) for _ in numbers],
    )
    reads = TARGET_NM + int((need - 0.4) * SPREAD_NM / 2) // step * step
    return Problem("gap", reads, LOW_NM, HIGH_NM, TARGET_NM, pool, tuple(places), float(nm("0.0015")), MOVE_NM)


def timed(task: Callable[[], object]) -> tuple[float, object]:
    begin = time.perf_counter()
    answer = task()
    return 1e3 * (time.perf_counter() - begin), answer


def solved(solver: Callable[[Problem, Way, int], int | None], problem: Problem, need: int) -> dict[int, int]:
    found = {k: solver(problem, Way.ORDINARY, k) for k in range(1, need + 1)}
    return {k: distance for k, distance in found.items() if distance is not None}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--packs", type=int, default=3, help="random packs a row")
    parser.add_argument("--steps", nargs="+", choices=STEPS, default=["0.0001 in", "0.001 mm"])
    parser.add_argument("--distinct", nargs="+", type=int, default=[20, 100, 250])
    parser.add_argument("--slots", nargs="+", type=int, default=[1, 2, 3, 4])
    parser.add_argument("--changes", nargs="+", type=int, default=[1, 2, 3, 4])
    options = parser.parse_args()
    distances(pack(random.Random(0), 2_540, 20, 1, 1), Way.ORDINARY, 1)  # what is loaded once is not measured
    head = f"{'step':>10} {'distinct':>8} {'slots':>5} {'changes':>7} | {'kernel':>15} {'match':>15} "
    print(head + f"{'CP-SAT':>17} {'HiGHS':>17} | {'× CP-SAT':>8} {'× HiGHS':>8}   (ms: median, worst)")
    ratios: dict[str, list[float]] = {"CP-SAT": [], "HiGHS": []}
    agreed = 0
    for step, distinct, slots, need in (
        (s, d, n, c) for s in options.steps for d in options.distinct for n in options.slots for c in options.changes
    ):
        times: dict[str, list[float]] = {"kernel": [], "match": [], "CP-SAT": [], "HiGHS": []}
        for seed in range(options.packs):
            rng = random.Random(f"{step} {distinct} {slots} {need} {seed}")
            problem = pack(rng, STEPS[step], distinct, slots, need)
            tasks: dict[str, Callable[[], object]] = {
                "kernel": lambda p=problem, n=need: distances(p, Way.ORDINARY, n),
                "CP-SAT": lambda p=problem, n=need: solved(by_cp_sat, p, n),
                "HiGHS": lambda p=problem, n=need: solved(by_highs, p, n),
            }
            answers = []
            for name, task in tasks.items():
                took, answer = timed(task)
                times[name].append(took)
                answers.append(answer)
            if answers[0] != answers[1] or answers[0] != answers[2]:
                raise SystemExit(f"optima differ: {answers} for {step} {distinct} {slots} {need} {seed}")
            agreed += need
            times["match"].append(timed(lambda p=problem: match(p))[0])
            for name, known in ratios.items():
                known.append(times[name][-1] / times["kernel"][-1])
        columns = [f"{statistics.median(some):8.1f} {max(some):8.1f}" for some in times.values()]
        last = [statistics.median(known[-options.packs :]) for known in ratios.values()]
        print(
            f"{step:>10} {distinct:>8} {slots:>5} {need:>7} | {columns[0]:>15} {columns[1]:>15} "
            f"{columns[2]:>17} {columns[3]:>17} | {last[0]:8.0f} {last[1]:8.0f}",
            flush=True,
        )
    print(f"\n{agreed} optima, the same by all three.")
    for name, known in ratios.items():
        print(f"{name}: kernel {statistics.median(known):.0f} times as fast in the median, {min(known):.0f} at least.")


if __name__ == "__main__":
    main()
