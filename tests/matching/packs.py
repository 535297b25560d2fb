"""Packs for the tests: written by hand in inch or mm, drawn at random, and mirrored."""

import random
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np

from plates.lengths import NM_PER
from plates.matching.problem import Installed, Pool, Problem, Slot, Splines, Spread

#: A tenth of a thou and a thousandth of a millimetre: the steps in which the trade reads.
LATTICES = {"inch": 2_540, "mm": 1_000}

#: Starting figures of a shop, standard uncertainties in inch (common practice, no source).
FEELER, INDICATOR = "0.0015", "0.0010"
MOVE_NM = (5_080**2 + 12_700**2) ** 0.5  # micrometer 0.0002 in and stacked against measured height 0.0005 in


def nm(text: str | float, unit: str = "in") -> int:
    value = Fraction(str(text)) * NM_PER[unit]
    assert value.denominator == 1
    return int(value)


def pool_of(thickness: Sequence[int], **columns: Sequence[int] | Sequence[float]) -> Pool:
    """Plates of these thicknesses in nm; ``u``, ``pieces``, ``received``, ``keys`` where they matter."""
    count = len(thickness)
    return Pool(
        np.array(thickness, np.int64),
        np.array(columns.get("u", [0.0] * count), np.float64),
        np.array(columns.get("pieces", [1] * count), np.int64),
        np.array(columns.get("received", [0] * count), np.int64),
        list(columns.get("keys", range(count))),
    )


def rows(*numbers: int) -> np.ndarray:
    return np.array(numbers, np.int64)


def every(pool: Pool) -> np.ndarray:
    return np.arange(len(pool), dtype=np.int64)


def installed(*thickness: int) -> tuple[Installed, ...]:
    return tuple(Installed(one) for one in thickness)


def mirrored(problem: Problem, measures: str, lattice: str) -> Problem:
    """The same question, told as a height where it was a gap, or in mm where it was in inch.

    A gap y answers to a height ``around`` - y; a tenth of a thou to a thousandth of a millimetre. What is exchanged
    stays the same. The problem must be a gap in tenths of a thou.
    """
    assert problem.measures == "gap"
    around = 4_000 * 2_540 if measures == "height" else 0
    step, unit = LATTICES["inch"], LATTICES[lattice]

    def scaled(length: int) -> int:
        assert lattice == "inch" or length % step == 0
        return length if lattice == "inch" else length // step * unit

    def turned(length: int) -> int:
        return scaled(around - length if measures == "height" else length)

    low, high = sorted((turned(problem.low_nm), turned(problem.high_nm)))
    pool, factor = problem.pool, unit / step
    return replace(
        problem,
        measures=measures,
        clearance_nm=turned(problem.clearance_nm),
        low_nm=low,
        high_nm=high,
        target_nm=turned(problem.target_nm),
        pool=replace(
            pool,
            thickness_nm=np.array([scaled(int(one)) for one in pool.thickness_nm], np.int64),
            u_nm=pool.u_nm * factor,
        ),
        slots=tuple(
            replace(
                slot,
                installed=tuple(
                    replace(one, thickness_nm=scaled(one.thickness_nm), u_nm=one.u_nm * factor)
                    for one in slot.installed
                ),
            )
            for slot in problem.slots
        ),
        u_reading_nm=problem.u_reading_nm * factor,
        u_move_nm=problem.u_move_nm * factor,
        u_gauge_nm=tuple(u * factor for u in problem.u_gauge_nm),
        spread=problem.spread and replace(problem.spread, most_nm=scaled(problem.spread.most_nm)),
        splines=problem.splines and replace(problem.splines, most_nm=scaled(problem.splines.most_nm)),
    )


def with_limits(problem: Problem, rng: random.Random) -> Problem:
    """The same pack, whose plates may differ by so much only, or whose stack may grow by so much only, or both.

    Only what holds a single plate may stand off the splines.
    """
    step, numbers = 2_540, range(len(problem.slots))
    single = [n for n in numbers if problem.slots[n].empty + len(problem.slots[n].installed) <= 1]
    outside = [n for n in single if not problem.slots[n].extra and rng.random() < 0.6]
    spread = Spread(tuple(n for n in numbers if rng.random() < 0.7), step * rng.randint(0, 20))
    splines = Splines(tuple(n for n in numbers if n not in outside), step * rng.randint(-15, 25))
    which = rng.choice(["spread", "splines", "both"])
    spread, splines = spread if which != "splines" else None, splines if which != "spread" else None
    return replace(problem, spread=spread, splines=splines)


def with_gauges(problem: Problem, rng: random.Random, into: Sequence[int], out_of: Sequence[int]) -> Problem:
    """The same pack with its plates read with some gauges out of ``into`` and ``out_of`` (-1: nobody knows)."""
    return replace(
        problem,
        pool=replace(problem.pool, gauge=np.array([rng.choice(into) for _ in range(len(problem.pool))], np.int64)),
        slots=tuple(
            replace(slot, installed=tuple(replace(one, gauge=rng.choice(out_of)) for one in slot.installed))
            for slot in problem.slots
        ),
        u_gauge_nm=(2_540.0, 5_080.0),
        read_net=rng.choice([(), (1, 0), (0, 1), (-2, 0), (-1, -3)]),
    )


def told(problem: Problem, mirror: Problem, predicted: int) -> int:
    """The prediction of the mirrored question that answers to this one (nm of the first question)."""
    step = 2_540
    unit = (mirror.high_nm - mirror.low_nm) // ((problem.high_nm - problem.low_nm) // step)
    value = predicted // unit * step
    return 4_000 * step - value if mirror.measures == "height" else value


def shuffled(problem: Problem, order: Sequence[int]) -> Problem:
    """The same shelf with its rows in another order."""
    place = {row: new for new, row in enumerate(order)}
    pool, take = problem.pool, np.array(order, np.int64)

    def moved(some: np.ndarray) -> np.ndarray:
        return np.array([place[int(row)] for row in reversed(some)], np.int64)

    return replace(
        problem,
        pool=Pool(
            pool.thickness_nm[take],
            pool.u_nm[take],
            pool.pieces[take],
            pool.received[take],
            [pool.keys[row] for row in order],
            None if pool.gauge is None else pool.gauge[take],
        ),
        slots=tuple(
            replace(slot, ordinary=moved(slot.ordinary), substitute=moved(slot.substitute)) for slot in problem.slots
        ),
    )


def random_pack(
    rng: random.Random, plates: int, *, least: int = 1, slots: int = 3, spread: int = 30, most: int = 3
) -> Problem:
    """A pack with a bit of everything: outs that must go, empty and extra places, substitutes, shared pools.

    From ``least`` to ``plates`` plates, up to ``most`` installed in each slot.
    """
    step = 2_540
    count = rng.randint(least, plates)
    numbers = range(count)
    pool = pool_of(
        [step * rng.randint(700, 700 + spread) for _ in numbers],
        u=[rng.choice([0.0, 3.0 * step, 8.0 * step]) for _ in numbers],
        pieces=[rng.randint(1, 3) for _ in numbers],
        received=[rng.randint(0, 2) for _ in numbers],
        keys=rng.sample(range(10 * count), count),
    )
    shared = rng.random() < 0.3
    many = rng.randint(1, slots)
    mixed = rng.sample(numbers, count)
    places = []
    for index in range(many):
        mine = rng.sample(numbers, rng.randint(0, count)) if shared else mixed[index::many]
        cut = rng.randint(0, len(mine)) if rng.random() < 0.5 else len(mine)
        places.append(
            Slot(
                f"slot {index}",
                tuple(
                    Installed(step * rng.randint(700, 700 + spread), rng.random() < 0.1, rng.choice([0.0, 5.0 * step]))
                    for _ in range(rng.randint(0, most))
                ),
                swap=rng.random() < 0.8,
                empty=int(rng.random() < 0.15),
                extra=int(rng.random() < 0.25),
                ordinary=rows(*mine[:cut]),
                substitute=rows(*mine[cut:]),
            )
        )
    low = step * rng.randint(30, 60)
    high = low + step * rng.randint(1, 25)
    target = step * rng.randint(low // step, high // step)
    clearance = step * rng.randint(20, 90)
    return Problem(
        "gap",
        clearance,
        low,
        high,
        target,
        pool,
        tuple(places),
        rng.choice([0.0, 1.0, 2.0, 5.0]) * step,
        0.5 * step,
        0.95,
        rng.choice([None, None, 2]),
    )


def every_nanometre(problem: Problem, rng: random.Random) -> Problem:
    """The same pack with every thickness and the reading off its lattice, as means of readings are."""
    pool = problem.pool
    off = np.array([rng.randint(-400, 400) for _ in range(len(pool))], np.int64)
    return replace(
        problem,
        clearance_nm=problem.clearance_nm + rng.randint(-400, 400),
        pool=replace(pool, thickness_nm=pool.thickness_nm + off),
        slots=tuple(
            replace(
                slot,
                installed=tuple(
                    replace(one, thickness_nm=one.thickness_nm + rng.randint(-400, 400)) for one in slot.installed
                ),
            )
            for slot in problem.slots
        ),
    )
