"""Which reading is of which plate? A count read blind, set against what is on record: pure arithmetic.

One reading is of one plate. Of all ways to pair them by the rule of agreement (two micrometer readings are of one plate
when they differ by no more than 2·√(u1² + u2²)) one that leaves the fewest plates and readings over counts, and of
those the one with the smallest sum of differences.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from plates.measuring.uncertainty import MICROMETER_U_NM


class Recorded(NamedTuple):
    """A plate as it is on record. ``moved``: something happened to it since the count began, so it may be there or not.
    ``apart_nm``: how far a reading may be off that is still taken for one of this plate, read wrongly.
    """

    thickness_nm: int
    u_nm: float
    apart_nm: int = 0
    moved: bool = False

    @property
    def within_nm(self) -> int:
        return math.floor(2 * math.hypot(MICROMETER_U_NM, MICROMETER_U_NM, self.u_nm))


class Pairs(NamedTuple):
    """By row: (reading, plate) that agree and that do not, readings without a plate, plates without a reading."""

    agreed: list[tuple[int, int]]
    doubtful: list[tuple[int, int]]
    over: list[int]
    missing: list[int]


def pairs_of(readings_nm: Sequence[int], plates: Sequence[Recorded]) -> Pairs:
    """The count set against the record. A moved plate takes a reading only where no other one wants it, and is never
    missing; what is left is paired once more within ``apart_nm``: these readings disagree.
    """
    agreed = _assigned(
        [
            (row, place, abs(reading - plate.thickness_nm), plate.moved)
            for row, reading in enumerate(readings_nm)
            for place, plate in enumerate(plates)
            if abs(reading - plate.thickness_nm) <= plate.within_nm
        ]
    )
    read, named = {row for row, _ in agreed}, {place for _, place in agreed}
    doubtful = _assigned(
        [
            (row, place, abs(reading - plate.thickness_nm), False)
            for row, reading in enumerate(readings_nm)
            for place, plate in enumerate(plates)
            if row not in read
            and place not in named
            and not plate.moved
            and abs(reading - plate.thickness_nm) <= plate.apart_nm
        ]
    )
    read |= {row for row, _ in doubtful}
    named |= {place for _, place in doubtful}
    return Pairs(
        agreed,
        doubtful,
        [row for row in range(len(readings_nm)) if row not in read],
        [place for place, plate in enumerate(plates) if place not in named and not plate.moved],
    )


def _assigned(arcs: Sequence[tuple[int, int, int, bool]]) -> list[tuple[int, int]]:
    """The largest one-to-one assignment over arcs (row, place, cost, second choice), the cheapest of the largest."""
    if not arcs:
        return []
    from ortools.graph.python.min_cost_flow import SimpleMinCostFlow  # loaded when a count needs it

    rows, places = sorted({arc[0] for arc in arcs}), sorted({arc[1] for arc in arcs})
    of_row = {row: 2 + at for at, row in enumerate(rows)}
    of_place = {place: 2 + len(rows) + at for at, place in enumerate(places)}
    pairs = min(len(rows), len(places))
    second = 1 + max(arc[2] for arc in arcs) * pairs  # more than all differences together
    alone = second * (pairs + 1) + second  # more than all second choices and differences
    flow = SimpleMinCostFlow()
    for row in rows:
        flow.add_arc_with_capacity_and_unit_cost(0, of_row[row], 1, 0)
        flow.add_arc_with_capacity_and_unit_cost(of_row[row], 1, 1, alone)
    for place in places:
        flow.add_arc_with_capacity_and_unit_cost(of_place[place], 1, 1, 0)
    numbered = [
        (flow.add_arc_with_capacity_and_unit_cost(of_row[row], of_place[place], 1, cost + second * late), row, place)
        for row, place, cost, late in arcs
    ]
    flow.set_node_supply(0, len(rows))
    flow.set_node_supply(1, -len(rows))
    if flow.solve() != flow.OPTIMAL:
        raise RuntimeError("every reading may stay alone, so an assignment exists")
    return sorted((row, place) for arc, row, place in numbered if flow.flow(arc))
