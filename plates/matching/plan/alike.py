"""Plates that nothing tells apart but their age: a plan counts them, and hands out single ones in the end."""

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from plates.matching.plan.moves import Exchanges, Packs
from plates.matching.problem import Way

Serves = tuple[tuple[int, int, Way], ...]  # (pack, slot, way)


@dataclass(frozen=True)
class Stack:
    """Installed plates of one slot that are alike; ``indexes`` in the order in which they leave."""

    pack: int
    slot: int
    thickness_nm: int
    u_nm: float
    gauge: int
    must_go: bool
    serves: Serves
    indexes: tuple[int, ...]


@dataclass(frozen=True)
class Alike:
    """Rows of the pool that are alike, in the order in which they are taken.

    ``stack``: the number of the stack that they lie in; None on the shelf.
    """

    thickness_nm: int
    u_nm: float
    gauge: int
    serves: Serves
    stack: int | None
    rows: tuple[int, ...]


@dataclass(frozen=True)
class Sorted:
    """All plates of the packs, sorted; the order of the rows of the pool does not show in it."""

    packs: Packs
    stacks: tuple[Stack, ...]
    alike: tuple[Alike, ...]

    def apart(self) -> list[list[int]]:
        """The packs in parts that have no plate in common, so that each part is a question of its own."""
        part_of = list(range(len(self.packs.problems)))
        for one in self.alike:
            joined = {part_of[pack] for pack, *_ in one.serves}
            if one.stack is not None:
                joined.add(part_of[self.stacks[one.stack].pack])
            part_of = [min(joined) if part in joined else part for part in part_of]
        return [[pack for pack, part in enumerate(part_of) if part == number] for number in sorted(set(part_of))]

    def handed_out(
        self, ins: Mapping[tuple[int, int, int], int], outs: Mapping[int, int]
    ) -> list[tuple[tuple[tuple[int, int], ...], tuple[tuple[int, int], ...]]]:
        """For each pack (ins, outs) of single plates.

        ``ins``: how many of (pack, slot, alike); ``outs``: how many of each stack.
        """
        gone = {number: self.stacks[number].indexes[:count] for number, count in outs.items()}
        of_pack: list[tuple[list[tuple[int, int]], list[tuple[int, int]]]] = [([], []) for _ in self.packs.problems]
        for number, indexes in gone.items():
            stack = self.stacks[number]
            of_pack[stack.pack][1].extend((stack.slot, index) for index in indexes)
        left: dict[int, list[int]] = {}
        for (pack, slot, number), count in sorted(ins.items()):
            alike = self.alike[number]
            if number not in left:
                source = self.packs.source
                left[number] = [
                    row for row in alike.rows if alike.stack is None or source[row][2] in gone.get(alike.stack, ())
                ]
            of_pack[pack][0].extend((slot, left[number].pop(0)) for _ in range(count))
        return [(tuple(sorted(into)), tuple(sorted(out_of))) for into, out_of in of_pack]

    def counted(self, exchanges: Exchanges) -> tuple[Counter[tuple[int, int, int]], Counter[int]]:
        """The other way round: how many of (pack, slot, alike) go in, and of each stack come out."""
        alike_of = {row: number for number, alike in enumerate(self.alike) for row in alike.rows}
        stack_of = {(s.pack, s.slot, i): number for number, s in enumerate(self.stacks) for i in s.indexes}
        moved = [(pack, one) for pack, one in exchanges.items() if one]
        ins = Counter((pack, slot, alike_of[row]) for pack, one in moved for slot, row in one.ins)
        return ins, Counter(stack_of[pack, *place] for pack, one in moved for place in one.outs)


def sort_plates(packs: Packs) -> Sorted:
    serves: dict[int, dict[tuple[int, int], Way]] = defaultdict(dict)
    for pack, problem in enumerate(packs.problems):
        for number, slot in enumerate(problem.slots):
            for row in slot.substitute.tolist():
                serves[row][pack, number] = Way.SUBSTITUTE
            for row in slot.ordinary.tolist():
                serves[row][pack, number] = Way.ORDINARY
    fixed = {row: tuple((*place, way) for place, way in sorted(ways.items())) for row, ways in serves.items()}
    row_of = {place: row for row, place in packs.source.items()}
    stacks = _stacks(packs, fixed, row_of)
    stack_of = {(s.pack, s.slot, i): number for number, s in enumerate(stacks) for i in s.indexes}
    pool = packs.problems[0].pool
    thickness, u, pieces, received = (
        column.tolist() for column in (pool.thickness_nm, pool.u_nm, pool.pieces, pool.received)
    )
    gauge = [-1] * len(pool) if pool.gauge is None else pool.gauge.tolist()
    rows_of: dict[Any, list[int]] = defaultdict(list)
    for row, ways in fixed.items():
        stack = stack_of[packs.source[row]] if row in packs.source else -1
        rows_of[thickness[row], u[row], gauge[row], ways, stack].append(row)
    alike = []
    for (thickness_nm, u_nm, read_with, ways, stack), rows in sorted(rows_of.items()):
        rows.sort(key=lambda row: (-pieces[row], received[row], pool.keys[row]))
        alike.append(Alike(thickness_nm, u_nm, read_with, ways, None if stack < 0 else stack, tuple(rows)))
    return Sorted(packs, stacks, tuple(alike))


def _stacks(
    packs: Packs, serves: Mapping[int, Serves], row_of: Mapping[tuple[int, int, int], int]
) -> tuple[Stack, ...]:
    found: dict[Any, list[int]] = defaultdict(list)
    for pack, problem in enumerate(packs.problems):
        for number, slot in enumerate(problem.slots):
            for index, plate in enumerate(slot.installed if slot.swap else ()):
                moves = serves.get(row_of.get((pack, number, index), -1), ())
                found[pack, number, plate.thickness_nm, plate.u_nm, plate.gauge, plate.must_go, moves].append(index)
    return tuple(
        Stack(pack, slot, thickness_nm, u_nm, gauge, must_go, moves, tuple(indexes))
        for (pack, slot, thickness_nm, u_nm, gauge, must_go, moves), indexes in sorted(found.items())
    )
