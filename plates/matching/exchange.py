"""One exchange with its figures: prediction, uncertainty, probability.

Standard uncertainties combine as the root of the sum of squares, except that the error which all readings of one
gauge share adds linearly over them first (JCGM 100:2008, 5.1.2 and 5.2.2).
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from plates.matching.probability import combined, conformance
from plates.matching.problem import Exchange, Pool, Problem, Way


def _gauges(pool: Pool, ins: Iterable[tuple[int, int]]) -> list[int]:
    return [] if pool.gauge is None else [int(pool.gauge[row]) for _, row in ins]


def shared_variance(problem: Problem, ins: Iterable[int], outs: Iterable[int]) -> float:
    """The variance that shared errors make, from the gauges of the plates in and out (-1: not known)."""
    sign = 1 if problem.measures == "gap" else -1
    net = list(problem.read_net or [0] * len(problem.u_gauge_nm))
    for gauges, times in ((outs, sign), (ins, -sign)):
        for gauge in gauges:
            if gauge >= 0:
                net[gauge] += times
    return math.fsum((times * u) ** 2 for times, u in zip(net, problem.u_gauge_nm, strict=True))


def exchange_build(
    problem: Problem, way: Way, ins: tuple[tuple[int, int], ...], outs: tuple[tuple[int, int], ...]
) -> Exchange:
    pool = problem.pool
    leaving = [problem.slots[slot].installed[index] for slot, index in outs]
    delta = sum(int(pool.thickness_nm[row]) for _, row in ins) - sum(plate.thickness_nm for plate in leaving)
    predicted = problem.clearance_nm + (delta if problem.measures == "height" else -delta)
    u = combined(
        [
            problem.u_reading_nm**2,
            (len(ins) + len(outs)) * problem.u_move_nm**2,
            *(float(pool.u_nm[row]) ** 2 for _, row in ins),
            *(plate.u_nm**2 for plate in leaving),
            shared_variance(problem, _gauges(pool, ins), [plate.gauge for plate in leaving]),
        ]
    )
    probability = conformance(predicted, u, problem.low_nm, problem.high_nm)
    return Exchange(way, ins, outs, predicted, u, probability, probability >= problem.sure)


def read_with(problem: Problem, way: Way) -> tuple[int, int] | None:
    """(gauge of all plates that may go in, gauge of all that may come out); None where they are not one."""
    if not problem.u_gauge_nm or way == Way.EXTRA:
        return None
    rows = np.concatenate([rows for slot in problem.slots for rows in (slot.ordinary, slot.substitute)])
    into = {-1} if problem.pool.gauge is None else set(problem.pool.gauge[rows].tolist())
    out_of = {plate.gauge for slot in problem.slots if slot.swap for plate in slot.installed}
    if len(into) > 1 or len(out_of) > 1:
        return None
    return min(into, default=-1), min(out_of, default=-1)


def with_most_shared(problem: Problem, changes: int) -> Problem:
    """The problem with each plate as uncertain as shared errors can make it among so many: (Σ cᵢ u)² ≤ n Σ u²."""
    own = [abs(times) for times in problem.read_net]
    most = 2 * changes + sum(own)
    u_most = np.array([*problem.u_gauge_nm, 0.0]) * math.sqrt(most)  # the last: gauge not known
    gauge = problem.pool.gauge
    pool = problem.pool
    if gauge is not None:
        pool = replace(pool, u_nm=np.hypot(pool.u_nm, u_most[gauge]), gauge=None)
    slots = [
        replace(s, installed=tuple(replace(p, u_nm=math.hypot(p.u_nm, u_most[p.gauge]), gauge=-1) for p in s.installed))
        for s in problem.slots
    ]
    reading = math.hypot(*(math.sqrt(times) * float(u) for times, u in zip(own, u_most, strict=False)))
    return replace(
        problem,
        pool=pool,
        slots=tuple(slots),
        u_reading_nm=math.hypot(problem.u_reading_nm, reading),
        u_gauge_nm=(),
        read_net=(),
    )


def of_one_gauge(problem: Problem) -> Iterator[Problem]:
    """The problem with the plates of each gauge by themselves, those of no known gauge included."""
    gauge = problem.pool.gauge
    if gauge is None:
        return
    for one in np.unique(gauge).tolist():
        yield problem.only(gauge == one)
