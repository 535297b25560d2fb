"""Several packs at once, against the same packs one by one. By hand: python -m tests.benchmarks.plan

Each row: random packs of four to six steels that read up to 0.030 in off their target, over plates of one or more fits,
all steels free to move within their fit. Seconds are processor seconds of one thread: *one by one* of answering the
packs in their order, *plan* of the whole plan, *solver* of CP-SAT within it. ``better`` counts the plans that beat one
by one, and by which figure first.
"""

import argparse
import random
import statistics
import time
from collections import Counter
from collections.abc import Callable
from typing import Any

from plates.matching import plan as planning
from plates.matching.plan.joint import Joint
from plates.matching.plan.moves import Move, one_by_one, packs_build
from plates.matching.plan.plan import Totals, plan
from plates.matching.problem import Installed, Problem, Slot
from tests.matching import bench
from tests.matching.packs import FEELER, nm, pool_of, rows

STEP_NM = 2_540
MICROMETER_NM, STACKED_NM = 5_080.0, 12_700.0
#: Plates that were read, and some that nobody can tell apart from their neighbours.
U_NM = (MICROMETER_NM, MICROMETER_NM, 6_500.0, 9_000.0)
SHELVES = ((12, 1_000, 4), (12, 1_000, 1), (12, 200, 1), (12, 60, 3), (12, 60, 1))


def asked(rng: random.Random, packs: int, plates: int, fits: int) -> tuple[list[Problem], list[Move]]:
    thickness = [STEP_NM * rng.randint(690, 850) for _ in range(plates)]
    pool = pool_of(
        thickness, u=[rng.choice(U_NM) for _ in thickness], received=[rng.randrange(10**6) for _ in thickness]
    )
    fit = [rng.randrange(fits) for _ in thickness]
    problems = []
    for number in range(packs):
        stack = tuple(Installed(STEP_NM * rng.randint(762, 778), u_nm=MICROMETER_NM) for _ in range(rng.randint(4, 6)))
        low, high = nm("0.008") * len(stack), nm("0.012") * len(stack)
        serving = rows(*(row for row in range(plates) if fit[row] == number % fits))
        problems.append(
            Problem(
                "gap",
                (low + high) // 2 + STEP_NM * rng.randint(-300, 300),
                low,
                high,
                (low + high) // 2,
                pool,
                (Slot("steels", stack, swap=True, ordinary=serving),),
                float(nm(FEELER)),
                STACKED_NM,
            )
        )
    moves = [
        Move(number, 0, index, tuple((n, 0) for n in range(packs) if n != number and n % fits == number % fits))
        for number, problem in enumerate(problems)
        for index in range(len(problem.slots[0].installed))
    ]
    return problems, moves


def timed(task: Callable[[], Any]) -> tuple[float, Any]:
    begin = time.process_time()
    answer = task()
    return time.process_time() - begin, answer


class TimedJoint(Joint):
    seconds = 0.0

    def solved(self, *of: Any) -> Any:
        took, answer = timed(lambda: super(TimedJoint, self).solved(*of))
        TimedJoint.seconds += took
        return answer


def first_better(problems: list[Problem], found: Totals, others: dict[int, Any]) -> str | None:
    ranks = [bench.rank(problem, others[number]) for number, problem in enumerate(problems)]
    before = tuple(map(sum, zip(*ranks, strict=True)))
    return next((name for name, a, b in zip(Totals._fields, found.rank, before, strict=True) if a != b), None)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--benches", type=int, default=10, help="random benches a row")
    parser.add_argument("--seconds", type=float, default=60.0, help="time limit of a plan")
    options = parser.parse_args()
    planning.Joint = TimedJoint  # type: ignore[misc]
    plan(*asked(random.Random("loaded once"), 3, 20, 1))  # what is loaded once is not measured
    print(
        f"{'packs':>5} {'plates':>6} {'fits':>4} | {'one by one':>15} {'plan':>15} {'solver':>15} | {'ratio':>5} "
        f"{'proven':>7} | better (seconds: median, worst)"
    )
    for packs, plates, fits in SHELVES:
        columns: tuple[list[float], list[float], list[float]] = [], [], []
        proven, better = 0, Counter[str]()
        for seed in range(options.benches):
            problems, moves = asked(random.Random(f"{packs} {plates} {fits} {seed}"), packs, plates, fits)
            shared = packs_build(problems, moves)
            alone, answers = timed(lambda s=shared: one_by_one(s, range(len(s.problems))))
            TimedJoint.seconds = 0.0
            took, found = timed(lambda p=problems, m=moves: plan(p, m, seconds=options.seconds))
            for column, value in zip(columns, (alone, took, TimedJoint.seconds), strict=True):
                column.append(value)
            proven += found.proven
            if name := first_better(problems, found.totals, answers):
                better[name] += 1
        shown = " ".join(f"{statistics.median(some):7.2f} {max(some):7.2f}" for some in columns)
        ratio = statistics.median(b / a for a, b in zip(*columns[:2], strict=True))
        print(
            f"{packs:5} {plates:6} {fits:4} | {shown} | {ratio:5.1f} {proven:3} of {options.benches:2} | "
            + ", ".join(f"{count} {name}" for name, count in better.items()),
            flush=True,
        )


if __name__ == "__main__":
    main()
