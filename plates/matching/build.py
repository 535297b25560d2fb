"""From the question to its chain: places, plates and the lattice that all thicknesses share."""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from plates.matching.problem import Problem, Way
from plates.matching.steps import Chain, Choices, Component, Plates, Step

Pools = dict[int, tuple[NDArray[np.int64], NDArray[np.int64]]]  # slot: rows, ordinary and further


def chain_build(problem: Problem, way: Way, limit: int) -> Chain | None:
    """The steps of one way for at most ``limit`` changes; None where the way cannot be gone at all."""
    slots = problem.slots
    substitutes = way != Way.ORDINARY
    extras = way == Way.EXTRA
    pools: Pools = {}
    for index, slot in enumerate(slots):
        if any(plate.must_go for plate in slot.installed) and not slot.swap:
            return None
        if (slot.swap and slot.installed) or slot.empty or (extras and slot.extra):
            ordinary = _rising(slot.ordinary)
            further = _rising(np.setdiff1d(slot.substitute, ordinary)) if substitutes else _NONE
            pools[index] = ordinary, further
    if way == Way.SUBSTITUTE and not any(len(further) for _, further in pools.values()):
        return None
    if extras and not any(slots[index].extra for index in pools):
        return None
    openings = sum(
        slot.empty + slot.swap * len(slot.installed) + extras * slot.extra for slot in slots
    )
    groups: dict[tuple[bytes, bytes], list[int]] = {}
    for index, (ordinary, further) in pools.items():
        groups.setdefault((ordinary.tobytes(), further.tobytes()), []).append(index)
    plates = [np.concatenate(pools[members[0]]) for members in groups.values()]
    rows = _rising(np.concatenate(plates)) if plates else _NONE
    most = min(openings, len(rows), limit)
    if most == 0:
        return None
    members = [tuple(some) for some in groups.values()]
    shared = len(rows) < sum(map(len, plates))
    components = _joined(members, plates) if shared else [[some] for some in members]
    return _Builder(problem, way, pools, rows, most).chain(components)


_NONE = np.empty(0, np.int64)


def _rising(rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """The rows sorted, each once."""
    rows = np.asarray(rows, np.int64)
    return rows if (rows[1:] > rows[:-1]).all() else np.unique(rows)


def _joined(groups: list[tuple[int, ...]], plates: list[NDArray[np.int64]]) -> list[list[tuple[int, ...]]]:
    """The groups (slots with the same pools) by component: those that share plates together."""
    components: list[tuple[NDArray[np.int64], list[tuple[int, ...]]]] = []
    for group, mine in zip(groups, plates, strict=True):
        joined, apart = [group], []
        for known, others in components:
            if np.intersect1d(known, mine).size:
                mine = np.union1d(known, mine)
                joined += others
            else:
                apart.append((known, others))
        components = [*apart, (mine, sorted(joined))]
    return sorted(joined for _, joined in components)


class _Builder:
    def __init__(self, problem: Problem, way: Way, pools: Pools, rows: NDArray[np.int64], most: int) -> None:
        self.problem, self.way, self.pools, self.rows, self.most = problem, way, pools, rows, most
        self.move = problem.u_move_nm**2
        self.outs = [
            (slot.installed[i].thickness_nm, index, i)
            for index, slot in enumerate(problem.slots)
            if slot.swap and index in pools
            for i in range(len(slot.installed))
        ]
        extras = way == Way.EXTRA
        hollow = any(problem.slots[i].empty or (extras and problem.slots[i].extra) for i in pools)
        thickness = problem.pool.thickness_nm[rows]
        self.a = int(thickness.min())
        self.b = max((out[0] for out in self.outs), default=0)
        steps = (_shared_step(thickness - self.a), *(self.b - out[0] for out in self.outs))
        self.g = math.gcd(*steps, self.b if hollow else 0) or 1

    def chain(self, components: list[list[tuple[int, ...]]]) -> Chain:
        parts = tuple(self._component(groups) for groups in components)
        flagged = self.way != Way.ORDINARY
        return Chain(self.way, parts, flagged, self.most, self.g, self.a, self.b, self._bounds)

    def _component(self, groups: list[tuple[int, ...]]) -> Component:
        pool = self._choices(groups)
        stock = []
        for choice in sorted(pool):
            shifts = (self.problem.pool.thickness_nm[pool[choice]] - self.a) // self.g
            stock.append((choice, *np.unique(shifts, return_counts=True)))
        places = tuple(self._places(groups))
        return Component(tuple(groups), places, tuple(stock), lambda: self._plates(pool), lambda: self._steps(pool))

    def _choices(self, groups: list[tuple[int, ...]]) -> dict[Choices, NDArray[np.int64]]:
        """The rows that may serve the component, by the groups that they may serve."""
        raises = self.way == Way.SUBSTITUTE
        if len(groups) == 1:
            ordinary, further = self.pools[groups[0][0]]
            found = {((0, raises),): further, ((0, False),): ordinary}
            if not raises:
                found = {((0, False),): np.concatenate((ordinary, further))}
            return {choice: rows for choice, rows in found.items() if len(rows)}
        choices: dict[int, Choices] = {}
        for group, members in enumerate(groups):
            ordinary, further = self.pools[members[0]]
            for rows, flag in ((ordinary, False), (further, raises)):
                for row in rows.tolist():
                    choices[row] = (*choices.get(row, ()), (group, flag))
        by_choice: dict[Choices, list[int]] = {}
        for row, choice in choices.items():
            by_choice.setdefault(choice, []).append(row)
        return {choice: np.array(some, np.int64) for choice, some in by_choice.items()}

    def _places(self, groups: list[tuple[int, ...]]) -> Iterator[Step]:
        """Outs from the thinnest, then empty places, then extra ones, slot by slot."""
        for group, members in enumerate(groups):
            for index in members:
                slot = self.problem.slots[index]
                for thickness, i in sorted((t, i) for t, s, i in self.outs if s == index):
                    plate = slot.installed[i]
                    yield Step(
                        (self.b - thickness) // self.g, ((group, False),), plate.must_go,
                        variance=self.move + plate.u_nm**2, slot=index, index=i,
                    )  # fmt: skip
                hollow = Step(self.b // self.g, ((group, False),), True, slot=index)
                yield from [hollow] * slot.empty
                if self.way == Way.EXTRA:
                    more = Step(self.b // self.g, ((group, True),), slot=index)
                    yield from [more] * slot.extra

    def _plates(self, of_choice: dict[Choices, NDArray[np.int64]]) -> Plates:
        pool, rows = self.problem.pool, np.concatenate(list(of_choice.values()) or [_NONE])
        raises = [np.full(len(some), choices[0][1]) for choices, some in of_choice.items()]
        return Plates(
            rows, (pool.thickness_nm[rows] - self.a) // self.g, pool.pieces[rows], pool.received[rows],
            self.move + pool.u_nm[rows] ** 2, np.concatenate(raises or [np.zeros(0, np.bool_)]), pool.keys,
        )  # fmt: skip

    def _steps(self, of_choice: dict[Choices, NDArray[np.int64]]) -> Iterator[Step]:
        """Plates by key. Of plates alike in all but age only the first by (received, key) can ever matter."""
        pool = self.problem.pool
        ways_of = {row: choice for choice, rows in of_choice.items() for row in rows.tolist()}
        alike: dict[tuple[object, ...], int] = {}
        kept = []
        for row in sorted(ways_of, key=lambda row: (int(pool.received[row]), pool.keys[row])):
            thickness, u = int(pool.thickness_nm[row]), float(pool.u_nm[row])
            pieces, ways = int(pool.pieces[row]), ways_of[row]
            seen = alike.get((thickness, u, pieces, ways), 0)
            if seen < self.most:
                alike[thickness, u, pieces, ways] = seen + 1
                kept.append((pool.keys[row], row, thickness, u, pieces, ways))
        for _, row, thickness, u, pieces, ways in sorted(kept, key=lambda entry: entry[0]):
            yield Step(
                (thickness - self.a) // self.g, ways, rank=(pieces, -int(pool.received[row])),
                variance=self.move + u * u, row=row,
            )  # fmt: skip

    def _bounds(self) -> Iterator[tuple[float, float]]:
        """For each number of changes bounds on the sum of variances that plates in and out may have."""
        slots = [self.problem.slots[index] for index in self.pools]
        ins = np.sort(self.problem.pool.u_nm[self.rows] ** 2)
        outs = np.sort([plate.u_nm**2 for slot in slots if slot.swap for plate in slot.installed])
        empty = sum(slot.empty for slot in slots)
        extra = sum(slot.extra for slot in slots) if self.way == Way.EXTRA else 0
        ins_sum, outs_sum = (np.concatenate(([0.0], np.cumsum(part))) for part in (ins, outs))
        for k in range(self.most + 1):
            few, many = max(0, k - empty - extra), min(max(0, k - empty), len(outs))
            least = ins_sum[k] + outs_sum[min(few, len(outs))] + (k + few) * self.move
            largest = ins_sum[-1] - ins_sum[-1 - k] + outs_sum[-1] - outs_sum[-1 - many] + (k + many) * self.move
            yield float(least), float(largest)


def _shared_step(lengths: NDArray[np.int64]) -> int:
    """The greatest common divisor: of a few, then of what these leave over of the others."""
    step = int(np.gcd.reduce(lengths[:16]))
    return math.gcd(step, int(np.gcd.reduce(lengths % step))) if step else int(np.gcd.reduce(lengths))
