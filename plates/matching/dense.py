"""The one best exchange on a coarse lattice, where every cell of every state fits into an array.

The same walk as in :mod:`plates.matching.choose` with, for each cell, the largest rank that reaches it.
Walking back, the front holds every place from which the best rank is still reached and that has come by the
preferred path.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plates.matching.rank import MOST_RANK, Scale
from plates.matching.steps import Chain, Plates, Step, Taken, in_one_group

_NEVER = -(1 << 62)
_MOST_CELLS = 20_000_000  # in one array
_MOST_WORK = 30_000_000  # array cells: under a tenth of a second

Spot = tuple[int, int, int, int]  # balance, flag, changes, cell
Marks = tuple[NDArray[np.uint8], tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class _Trace:
    """What one step did: for each source of its flag, where taking the step was best."""

    component: int
    step: Step
    opens: bool
    marks: tuple[tuple[int, Marks], ...]  # (flag before the step, marks over the array after it)


def best_on_lattice(
    chain: Chain, plates: list[list[Step]], changes: int, cells: list[int], most_work: int
) -> tuple[Taken, ...] | None:
    """The steps of the best exchange of these plates that ends on one of ``cells``; None where that would be
    more work than ``most_work`` array cells, or where groups share plates.

    Raises ValueError where no exchange with so many changes ends there.
    """
    ranks = [np.array([step.rank for step in some], np.int64).reshape(-1, 2) for some in plates]
    scale = Scale.of([rank[:, 0] for rank in ranks], [rank[:, 1] for rank in ranks], changes)
    width = max(cells) + 1
    block = changes * (2 if chain.flagged else 1) * width
    work = sum(len(some) * block * (changes + 1 if number else 1) for number, some in enumerate(plates))
    many = block * (changes + 1) * (changes + 1) > _MOST_CELLS
    if scale is None or work > most_work or many or any(len(part.groups) > 1 for part in chain.components):
        return None
    table = np.full((changes + 1, 2 if chain.flagged else 1, changes + 1, width), _NEVER, np.int64)
    table[0, 0, 0, 0] = 0
    traces: list[_Trace] = []
    for number, component in reversed(list(enumerate(chain.components))):
        table[1:] = _NEVER
        for step in reversed(component.places):
            traces.append(_open(table, number, step))
        if number == 0:
            table[:, :, :changes] = _NEVER
        first = changes if number == 0 else 0
        values = scale.values(ranks[number][:, 0], ranks[number][:, 1]).tolist()
        for step, value in zip(reversed(plates[number]), reversed(values), strict=True):
            traces.append(_close(table[:, :, first:], number, step, value))
    flag = int(chain.flagged)
    best = max(int(table[0, flag, changes, cell]) for cell in cells)
    if best < -MOST_RANK:
        raise ValueError("no exchange with so many changes ends on these cells")
    ends = {(0, flag, changes, cell) for cell in cells if table[0, flag, changes, cell] == best}
    return _back(traces, ends, changes)


def _open(table: NDArray[np.int64], number: int, step: Step) -> _Trace:
    raises = step.choices[0][1]
    moved = np.full_like(table, _NEVER)
    width = max(0, table.shape[3] - step.shift)
    moved[1:, :, 1:, table.shape[3] - width :] = table[:-1, :, :-1, :width]
    return _settle(table, moved, number, step, True, raises)


def _close(table: NDArray[np.int64], number: int, step: Step, value: int) -> _Trace:
    width = table.shape[3] - step.shift
    if width <= 0:
        return _Trace(number, step, False, ())
    if step.choices[0][1]:
        moved = np.full_like(table, _NEVER)
        moved[:-1, :, :, step.shift :] = table[1:, :, :, :width] + value
        return _settle(table, moved, number, step, False, True)
    new = table[1:, :, :, :width] + value
    after = table[:-1, :, :, step.shift :]
    better = new >= after
    np.copyto(after, new, where=better)
    return _Trace(number, step, False, ((-1, (np.packbits(better), better.shape)),))


def _settle(
    table: NDArray[np.int64], moved: NDArray[np.int64], number: int, step: Step, opens: bool, raises: bool
) -> _Trace:
    """Take ``moved`` where it is at least as good. A step that raises the flag comes from either flag."""
    if step.forced:
        table[:] = _NEVER
    sources = [(-1, moved)]
    if raises:
        down, up = np.full_like(moved, _NEVER), np.full_like(moved, _NEVER)
        down[:, 1], up[:, 1] = moved[:, 0], moved[:, 1]
        sources = [(0, down), (1, up)]
    for _, source in sources:
        np.maximum(table, source, out=table)
    marks = tuple((flag, _marks(source == table)) for flag, source in sources)
    return _Trace(number, step, opens, marks)


def _marks(where: NDArray[np.bool_]) -> Marks:
    return np.packbits(where), where.shape


def _back(traces: list[_Trace], front: set[Spot], changes: int) -> tuple[Taken, ...]:
    taken = []
    for trace in reversed(traces):
        step, ahead = trace.step, set()
        for balance, flag, count, cell in front:
            for source, (bits, shape) in trace.marks:
                # The arrays of the component walked last hold the final number of changes alone; those of a
                # plain closing step begin at its shift.
                at = (
                    balance,
                    flag,
                    count - changes if shape[2] == 1 else count,
                    cell - step.shift if source == -1 and not trace.opens else cell,
                )
                if any(not 0 <= index < size for index, size in zip(at, shape, strict=True)):
                    continue
                place = int(np.ravel_multi_index(at, shape))
                if bits[place >> 3] >> (7 - (place & 7)) & 1:
                    before = flag if source == -1 else source
                    turn = -1 if trace.opens else 1
                    ahead.add((balance + turn, before, count - trace.opens, cell - step.shift))
        if ahead:
            taken.append(Taken(trace.component, 0, step))
            front = ahead
    return tuple(taken)


def least_variances(
    chain: Chain, changes: int, first: int, last: int
) -> tuple[NDArray[np.int64], NDArray[np.float64]] | None:
    """The cells from ``first`` to ``last`` that so many changes reach, and the least sum of variances of each.

    None where the arrays would grow too large or groups share plates.
    """
    if not in_one_group(chain):
        return None
    plates = [_surest(component.plates, changes) for component in chain.components]
    flags, width = 2 if chain.flagged else 1, last + 1
    work = sum(len(some) for some in plates) * changes * flags * (changes + 1) * width
    if work > _MOST_WORK:
        return None
    if width <= 0:
        return np.empty(0, np.int64), np.empty(0)
    table = np.full((changes + 1, flags, changes + 1, width), np.inf)
    table[0, 0, 0, 0] = 0.0
    for component, some in zip(chain.components, plates, strict=True):
        table[1:] = np.inf
        for step in component.places:
            moved = np.full_like(table, np.inf)
            if step.shift < width:
                moved[1:, :, 1:, step.shift :] = table[:-1, :, :-1, : width - step.shift] + step.variance
            _least(table, moved, step)
        for step in some:
            moved = np.full_like(table, np.inf)
            if step.shift < width:
                moved[:-1, :, :, step.shift :] = table[1:, :, :, : width - step.shift] + step.variance
            _least(table, moved, step)
    least = table[0, int(chain.flagged), changes]
    cells = np.flatnonzero(np.isfinite(least))
    cells = cells[cells >= first]
    return cells, least[cells]


def _least(table: NDArray[np.float64], moved: NDArray[np.float64], step: Step) -> None:
    if step.choices[0][1]:
        moved[:, 1] = moved.min(axis=1)
        moved[:, 0] = np.inf
    if step.forced:
        table[:] = np.inf
    np.minimum(table, moved, out=table)


def _surest(plates: Plates, changes: int) -> list[Step]:
    """Of plates of one thickness no more than the surest few can matter."""
    order = np.lexsort((plates.variance, plates.raises, plates.shift))
    shift, raises = plates.shift[order], plates.raises[order]
    alike = (shift[changes:] == shift[:-changes]) & (raises[changes:] == raises[:-changes])
    return [plates.step(number) for number in np.delete(order, np.flatnonzero(alike) + changes).tolist()]
