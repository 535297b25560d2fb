"""From which readings the shelf can close a pack, and with how few changes; what it loses and gains by single plates.

A gap pack closes from every reading between low + D and high + D, where D = in - out is reached; a height pack from
high - D down to low - D. What the pack reads now does not matter.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from plates.matching.limits import between, by_plate_off_splines, thicknesses
from plates.matching.near import Nearest
from plates.matching.problem import Pool, Problem
from plates.matching.search import chains, stand_still
from plates.matching.shortfall import delta_window
from plates.matching.sweep import Shelf, Spans, joined, spans_joined, sweep


@dataclass(frozen=True)
class Segment:
    """Neighbouring readings, both ends inclusive, that the same least number of changes brings into the window; None
    where no exchange does.
    """

    from_nm: int
    to_nm: int
    changes: int | None


def cover(problem: Problem, from_nm: int, to_nm: int) -> list[Segment]:
    """The readings from ``from_nm`` to ``to_nm``, gapless and ascending; neighbours differ in their changes.

    Raises ValueError where ``measures`` is neither gap nor height, or the span is empty.
    """
    found = _covered(problem, [()], from_nm, to_nm)
    ends = np.unique(np.concatenate(([from_nm, to_nm + 1], found.first_nm, found.last_nm + 1)))
    least = np.full(len(ends) - 1, -1)
    for changes in np.unique(found.changes)[::-1].tolist():
        mine = found.where(found.changes == changes)
        inside = np.zeros(len(ends), np.int64)
        np.add.at(inside, np.searchsorted(ends, mine.first_nm), 1)
        np.add.at(inside, np.searchsorted(ends, mine.last_nm + 1), -1)
        least[np.cumsum(inside)[:-1] > 0] = changes
    begins = np.concatenate(([0], np.flatnonzero(np.diff(least)) + 1))
    bounds = [*ends[begins].tolist(), to_nm + 1]
    return [
        Segment(bounds[number], bounds[number + 1] - 1, changes if changes >= 0 else None)
        for number, changes in enumerate(least[begins].tolist())
    ]


def losses(problem: Problem, from_nm: int, to_nm: int, rows: Sequence[int]) -> list[int]:
    """For each of these rows of the pool: how many nanometres of the span no exchange covers once it has left alone."""
    serves = [set(np.union1d(slot.ordinary, slot.substitute).tolist()) for slot in problem.slots]
    alike = [(int(problem.pool.thickness_nm[row]), tuple(row in some for some in serves)) for row in rows]
    one_of = dict(zip(alike, rows, strict=True))  # whichever of like plates leaves
    whole, *left = _widths(problem, [(), *((row,) for row in one_of.values())], from_nm, to_nm)
    lost = {size: whole - some for size, some in zip(one_of, left, strict=True)}
    return [lost[size] for size in alike]


@dataclass(frozen=True)
class More:
    """``count`` more plates of one thickness, and the slots that they fit by the book."""

    thickness_nm: int
    count: int
    takers: Collection[int]


def gains(problem: Problem, from_nm: int, to_nm: int, sizes: Sequence[tuple[int, Collection[int]]]) -> list[int]:
    """For each size, as (thickness, the slots that it fits by the book): how many nanometres of the span one more plate
    of it adds.
    """
    return _gained(problem, from_nm, to_nm, [More(thickness_nm, 1, takers) for thickness_nm, takers in sizes])


def closed_with(problem: Problem, mores: Sequence[More]) -> list[bool]:
    """For each of these: whether it brings a pack into its window that the shelf alone does not."""
    reads_nm = problem.clearance_nm
    return [gained > 0 for gained in _gained(problem, reads_nm, reads_nm, mores)]


def _gained(problem: Problem, from_nm: int, to_nm: int, mores: Sequence[More]) -> list[int]:
    pool, first = problem.pool, len(problem.pool)
    counts = [more.count for more in mores]
    new = np.arange(first, first + sum(counts))
    of_each = np.split(new, np.cumsum(counts)[:-1]) if mores else []
    new_nm = np.repeat(np.array([more.thickness_nm for more in mores], np.int64), counts)
    none = np.zeros(len(new), np.int64)  # which of like plates goes in does not matter here
    wider = pool.with_more(Pool(new_nm, none.astype(np.float64), none, none, new.tolist()))
    slots = [
        replace(
            slot,
            ordinary=np.concatenate(
                [slot.ordinary, *(rows for rows, more in zip(of_each, mores, strict=True) if number in more.takers)]
            ),
        )
        for number, slot in enumerate(problem.slots)
    ]
    with_all = replace(problem, pool=wider, slots=tuple(slots))
    missing = set(new.tolist())
    as_it_is, *then = _widths(
        with_all, [missing, *(missing - set(rows.tolist()) for rows in of_each)], from_nm, to_nm
    )
    return [some - as_it_is for some in then]


def _widths(problem: Problem, shelves: Sequence[Collection[int]], from_nm: int, to_nm: int) -> list[int]:
    """How many readings of the span each shelf covers."""
    found = _covered(problem, shelves, from_nm, to_nm)
    apart = found.shelf * (to_nm - from_nm + 2)
    first, last = joined(found.first_nm - from_nm + apart, found.last_nm - from_nm + apart)
    widths = np.zeros(len(shelves), np.int64)
    np.add.at(widths, first // (to_nm - from_nm + 2), last - first + 1)
    return widths.tolist()


def _covered(problem: Problem, shelves: Sequence[Collection[int]], from_nm: int, to_nm: int) -> Spans:
    """The readings of the span that each number of changes covers. ``shelves``: of each the rows that are missing."""
    if from_nm > to_nm:
        raise ValueError(f"the span ends at {to_nm} nm, before it begins at {from_nm} nm")
    delta_window(problem)  # refuses a pack that measures neither
    gap = problem.measures == "gap"
    most_nm = to_nm - problem.low_nm if gap else problem.high_nm - from_nm
    parts = [_still(problem, len(shelves))] if stand_still(problem) else []
    for part in by_plate_off_splines(problem):
        parts += _reached(part, shelves, most_nm)
    found = spans_joined(parts)
    if gap:
        first, last = problem.low_nm + found.first_nm, problem.low_nm + found.last_nm
    else:
        first, last = problem.high_nm - found.last_nm, problem.high_nm - found.first_nm
    inside = replace(found, first_nm=np.maximum(first, from_nm), last_nm=np.minimum(last, to_nm))
    return inside.where(inside.first_nm <= inside.last_nm)


def _still(problem: Problem, shelves: int) -> Spans:
    """Nothing is done, D = 0, whatever lies on the shelf."""
    nothing = np.zeros(shelves, np.int64)
    return Spans(np.arange(shelves), nothing, nothing, nothing + problem.high_nm - problem.low_nm)


def _reached(problem: Problem, shelves: Sequence[Collection[int]], most_nm: int) -> Iterator[Spans]:
    """The D of one part, grown by the width of the window."""
    ways = chains(problem)
    if not ways:
        return
    ends, width_nm = thicknesses(problem), problem.high_nm - problem.low_nm
    each = [Shelf(missing, one) for missing in shelves for one in ends]
    found = sweep(problem, ways[-1], each, width_nm, most_nm)
    if (limit_nm := problem.most_delta_nm) is not None:
        found = found.where(found.first_nm <= limit_nm)
        last_nm = found.last_nm.copy()
        for number in np.flatnonzero(last_nm > limit_nm).tolist():
            highest_nm = _highest(problem, each[int(found.shelf[number])], int(found.changes[number]), limit_nm)
            last_nm[number] = min(last_nm[number], highest_nm + width_nm)
        found = replace(found, last_nm=last_nm)
    yield replace(found, shelf=found.shelf // max(1, len(ends)))


def _highest(problem: Problem, shelf: Shelf, changes: int, limit_nm: int) -> int:
    """The largest D that this shelf reaches at or below the limit; it reaches one."""
    part = between(problem, *shelf.ends) if shelf.ends else problem
    assert part is not None  # else it would reach none
    found = []
    for chain in chains(part.without(shelf.missing)):
        cell = Nearest(chain).both(changes, (limit_nm - chain.base(changes)) // chain.g)[0]
        if cell is not None:
            found.append(chain.g * cell + chain.base(changes))
    return max(found)
