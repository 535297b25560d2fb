"""The search against two general-purpose solvers, side by side in one run. By hand: python -m tests.benchmarks.kernel

The task, the same for all three, the building of the model included: for each number of changes k = 1 … n the least
distance of the prediction to the target, by exchanges of the ordinary way. The packs of a row are random; n is how
many changes they need: a change is worth at most about half the spread of the shelf, and the pack is off by n - 0.4
times that. One thread each, measured in processor time, so that a busy machine slows none of them; the solvers are
given thicknesses with their counts, not single plates. ``match`` is the whole answer (options, ties, probabilities),
which the solvers are not asked. Where a solver reaches its time limit, a row counts with what it took until then, and
is marked with >. Of all rows as many are drawn as ``--rows`` says, always the same ones.
"""

import argparse
import math
import random
import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import product
from pathlib import Path

from plates.matching.problem import Installed, Problem, Slot, Way
from plates.matching.search import distances, match
from tests.benchmarks import plot
from tests.matching.packs import MOVE_NM, nm, pool_of, rows
from tests.matching.solvers import TimeIsUp, by_cp_sat, by_highs

PICTURE = Path(__file__).resolve().parents[2] / "fixtures" / "pictures" / "kernel-growth.svg"
STEPS = {"0.0001 in": 2_540, "0.001 mm": 1_000, "1 nm": 1}
SPREAD_NM = nm("0.040")
TARGET_NM, LOW_NM, HIGH_NM = nm("0.050"), nm("0.040"), nm("0.060")
SOLVERS = {"CP-SAT": by_cp_sat, "HiGHS": by_highs}
COLOURS = {"kernel": "#b3311f", "match": "#1c1c1c", "CP-SAT": "#2f6f8f", "HiGHS": "#7a6a2f"}


@dataclass
class Row:
    """Times in ms of the packs of one row, by who worked on them; ``late``: whose time limit was reached."""

    step: str
    distinct: int
    slots: int
    changes: int
    times: dict[str, list[float]] = field(default_factory=lambda: {name: [] for name in COLOURS})
    late: set[str] = field(default_factory=set)

    def ratios(self, name: str) -> list[float]:
        return [theirs / ours for theirs, ours in zip(self.times[name], self.times["kernel"], strict=True)]


def pack(rng: random.Random, step: int, distinct: int, slots: int, need: int) -> Problem:
    """The spread of the shelf is widened where its lattice has not so many thicknesses."""
    thinnest, spread = nm("0.070") // step, max(SPREAD_NM // step, distinct * 8 // 5)
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
    reads = TARGET_NM + int((need - 0.4) * spread / 2) * step
    return Problem("gap", reads, LOW_NM, HIGH_NM, TARGET_NM, pool, tuple(places), float(nm("0.0015")), MOVE_NM)


def timed(task: Callable[[], object]) -> tuple[float, object]:
    begin = time.process_time()
    answer = task()
    return 1e3 * (time.process_time() - begin), answer


def solved(
    solver: Callable[..., int | None], problem: Problem, need: int, limit: float
) -> dict[int, int] | None:
    """The least distances; None where the solver needed more than ``limit`` seconds for one of them."""
    found = {}
    for k in range(1, need + 1):
        try:
            distance = solver(problem, Way.ORDINARY, k, limit=limit)
        except TimeIsUp:
            return None
        if distance is not None:
            found[k] = distance
    return found


def measured(row: Row, packs: int, limit: float) -> int:
    """Fill in the times of a row; the number of optima that a solver has found, too."""
    agreed = 0
    for seed in range(packs):
        rng = random.Random(f"{row.step} {row.distinct} {row.slots} {row.changes} {seed}")
        problem = pack(rng, STEPS[row.step], row.distinct, row.slots, row.changes)
        took, ours = timed(partial(distances, problem, Way.ORDINARY, row.changes))
        row.times["kernel"].append(took)
        row.times["match"].append(timed(partial(match, problem))[0])
        for name, solver in SOLVERS.items():
            took, theirs = timed(partial(solved, solver, problem, row.changes, limit))
            row.times[name].append(took)
            if theirs is None:
                row.late.add(name)
            elif theirs != ours:
                raise SystemExit(f"optima differ: {ours} and {theirs} by {name} for {row} {seed}")
            else:
                agreed += row.changes
    return agreed


def line(row: Row) -> str:
    columns = [
        f"{'>' if name in row.late else ''}{statistics.median(some):.1f}".rjust(9) + f" {max(some):8.1f}"
        for name, some in row.times.items()
    ]
    last = [f"{statistics.median(row.ratios(name)):8.0f}" for name in SOLVERS]
    return f"{row.step:>10} {row.distinct:>8} {row.slots:>5} {row.changes:>7} | {' '.join(columns)} | {' '.join(last)}"


def summary(known: Sequence[Row]) -> str:
    lines = []
    for name in SOLVERS:
        ratios = [ratio for row in known for ratio in row.ratios(name)]
        lines.append(
            f"{name}: kernel {statistics.median(ratios):.0f} times as fast in the median, {min(ratios):.0f} at least."
        )
        for distinct in sorted({row.distinct for row in known}):
            some = [ratio for row in known if row.distinct == distinct for ratio in row.ratios(name)]
            lines.append(f"  {distinct} thicknesses: {statistics.median(some):.0f}, {min(some):.0f} at least")
    worst = {name: max(max(row.times[name]) for row in known) for name in COLOURS}
    lines.append("Worst case, ms: " + ", ".join(f"{name} {ms:.0f}" for name, ms in worst.items()))
    return "\n".join(lines)


def drawing(known: Sequence[Row]) -> str:
    """Median time against distinct thicknesses, both in powers of ten, as SVG."""
    frame = plot.Frame(420, 400, 80, 30, 90)
    sizes = sorted({row.distinct for row in known})
    medians = {
        name: [statistics.median(t for row in known if row.distinct == size for t in row.times[name]) for size in sizes]
        for name in COLOURS
    }
    every = [ms for some in medians.values() for ms in some]
    low, high = math.floor(math.log10(min(every))), math.ceil(math.log10(max(every)))
    first, last = math.log10(sizes[0]), math.log10(sizes[-1] if len(sizes) > 1 else 10 * sizes[0])

    def x(size: float) -> float:
        return frame.across((math.log10(size) - first) / (last - first))

    def y(ms: float) -> float:
        return frame.down((high - math.log10(ms)) / (high - low))

    curves = []
    for name, colour in COLOURS.items():
        points = [(x(size), y(ms)) for size, ms in zip(sizes, medians[name], strict=True)]
        curves.append(plot.Curve(name, colour, points, (points[-1][0] + 10, points[-1][1] + 5)))
    return plot.drawing(
        frame,
        curves,
        says="Median time of the kernel, the whole answer and two solvers against the number of distinct thicknesses.",
        across=("distinct thicknesses of a slot", [(x(size), str(size)) for size in sizes]),
        down=("ms, median", [(y(10.0**power), f"{10.0**power:g}") for power in range(low, high + 1)]),
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--packs", type=int, default=2, help="random packs a row")
    parser.add_argument("--rows", type=int, default=60, help="how many of the rows")
    parser.add_argument("--limit", type=float, default=30.0, help="seconds for one solve of a solver")
    parser.add_argument("--steps", nargs="+", choices=STEPS, default=["0.0001 in", "0.001 mm"])
    parser.add_argument("--distinct", nargs="+", type=int, default=[20, 100, 250, 1000])
    parser.add_argument("--slots", nargs="+", type=int, default=[1, 2, 3, 4, 5, 6])
    parser.add_argument("--changes", nargs="+", type=int, default=[1, 2, 3, 4, 5])
    parser.add_argument("--plot", type=Path, nargs="?", const=PICTURE, help="draw the growth")
    options = parser.parse_args()
    warm = Row("0.0001 in", 20, 1, 1)
    measured(warm, 1, options.limit)  # what is loaded once is not measured
    every = list(product(options.steps, options.distinct, options.slots, options.changes))
    chosen = sorted(random.Random(0).sample(range(len(every)), min(options.rows, len(every))))
    head = f"{'step':>10} {'distinct':>8} {'slots':>5} {'changes':>7} | "
    print(head + " ".join(f"{name:>18}" for name in COLOURS) + " | × CP-SAT  × HiGHS   (ms: median, worst)")
    known, agreed = [], 0
    for number in chosen:
        row = Row(*every[number])
        agreed += measured(row, options.packs, options.limit)
        known.append(row)
        print(line(row), flush=True)
    late = sum(bool(row.late) for row in known)
    print(f"\n{agreed} optima of a solver, the same by the kernel; {late} rows at the time limit.")
    print(summary(known))
    if options.plot:
        options.plot.parent.mkdir(parents=True, exist_ok=True)
        options.plot.write_text(drawing(known), encoding="utf-8")
        print(f"Drawn: {options.plot.name}")


if __name__ == "__main__":
    main()
