"""The one best exchange among all that reach given cells.

The chain is walked places first, so backwards it decides the plates before the outs, slot by slot. Between
two exchanges equal in every figure the first step on which they differ, walked backwards, decides: the one
that takes it is preferred. For one slot that is the smaller sorted row of keys, then the thinner plates out.
"""

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace

from plates.matching.dense import best_on_lattice
from plates.matching.hands import TooMany
from plates.matching.join import best_by_joining
from plates.matching.rank import contenders
from plates.matching.reach import Table, advance, start
from plates.matching.steps import Chain, State, Step, Taken


@dataclass(frozen=True, slots=True)
class _Label:
    """A way to finish: what it adds to rank and variance, and its path (the preferred the larger, same
    length).
    """

    rank: tuple[int, int]
    path: int
    variance: float
    taken: tuple[Taken, ...]


Wanted = Callable[[int, float], bool]  # (cell, variance of all plates moved): is that exchange good enough?
_FEW_SUMS, _MANY_SUMS = 1_000_000, 20_000_000  # in both hands
_LIGHT, _HEAVY = 20_000_000, 400_000_000  # array cells: some hundredths of a second, a second
_FINE = 100_000  # cells for each change from which labels take minutes
_BLOCK = 16  # steps between two tables that are kept

Plates = list[list[Step]]  # of each component


def choose(
    chain: Chain, changes: int, cells: list[int], wanted: Wanted | None = None
) -> tuple[Taken, ...] | None:
    """The best exchange with so many changes that ends on one of ``cells`` and is ``wanted``; None if there
    is none.

    Best: larger rank (pieces, then age), then the preferred path. Exact, whichever of the searches finds it:
    two hands where few plates rank high, arrays where the lattice is coarse, and labels for what is too much for both.
    ``wanted`` must hold for every smaller variance on the same cell, too.

    But for one case: where on a lattice of nanometres so many exchanges end on the cell that listing them would take
    minutes, one is named that is made of plates of high rank, and another may have more pieces or older plates.
    """
    for sums, array_cells in ((_FEW_SUMS, _LIGHT), (_MANY_SUMS, _HEAVY)):
        with suppress(TooMany):
            return best_by_joining(chain, changes, cells, wanted, sums)
        if wanted is None:
            plates = _steps(chain, changes, cells, True)
            if (dense := best_on_lattice(chain, plates, changes, cells, array_cells)) is not None:
                return dense
    if chain.width > _FINE:
        with suppress(TooMany):
            return best_by_joining(chain, changes, cells, wanted, _MANY_SUMS, settle=True)
    return best_by_labels(chain, _steps(chain, changes, cells, wanted is None), changes, cells, wanted)


def _steps(chain: Chain, changes: int, cells: list[int], only_best: bool) -> Plates:
    """The plates that can be among so many that end on the cells: not too thick or too thin for all others."""
    low, high = chain.extent(changes, given=1)
    plates = [
        [step for step in component.steps if min(cells) - high <= step.shift <= max(cells) - low]
        for component in chain.components
    ]
    return [contenders(some, changes) for some in plates] if only_best else plates


def best_by_labels(
    chain: Chain, plates: Plates, changes: int, cells: list[int], wanted: Wanted | None
) -> tuple[Taken, ...] | None:
    """The best exchange of these plates by walking back from each cell along all that can be reached.

    Without ``wanted`` one label a cell is kept, with it every label that no other beats in variance as well as
    in rank and path.
    """
    walk = _Walk(chain, plates, changes)
    best: _Label | None = None
    for cell in cells:
        for end, reached in walk.last.items():
            if end[:2] != (chain.flagged, changes) or any(end[2]) or not reached >> cell & 1:
                continue
            for label in _backward(chain, walk, end, cell, wanted is not None):
                good = wanted is None or wanted(cell, label.variance)
                if good and (best is None or (label.rank, label.path) > (best.rank, best.path)):
                    best = label
    return best.taken if best else None


class _Walk:
    """The tables before each step, of which only every sixteenth is kept: the others are worked out again."""

    def __init__(self, chain: Chain, plates: Plates, changes: int) -> None:
        self.chain, self.changes = chain, changes
        self.steps: list[tuple[int, Step | None, bool]] = []  # component, step (None: it begins), opens
        for number, component in reversed(list(enumerate(chain.components))):
            self.steps.append((number, None, True))
            self.steps += [(number, step, True) for step in reversed(component.places)]
            self.steps += [(number, step, False) for step in reversed(plates[number])]
        self.kept: list[Table] = []
        table: Table = {(False, 0, ()): 1}
        for at, step in enumerate(self.steps):
            if at % _BLOCK == 0:
                self.kept.append(table)
            table = self._after(table, *step)
        self.last = table

    def _after(self, table: Table, number: int, step: Step | None, opens: bool) -> Table:
        if step is None:
            return start(self.chain.components[number], table)
        return advance(table, step, opens, self.changes)

    def back(self) -> Iterator[tuple[int, Step | None, bool, Table]]:
        """Every step with the table before it, from the last."""
        for block in range(len(self.kept) - 1, -1, -1):
            steps = self.steps[block * _BLOCK : (block + 1) * _BLOCK]
            tables = [self.kept[block]]
            for step in steps[:-1]:
                tables.append(self._after(tables[-1], *step))
            for step, before in zip(reversed(steps), reversed(tables), strict=True):
                yield (*step, before)


def _backward(chain: Chain, walk: _Walk, end: State, cell: int, with_variance: bool) -> list[_Label]:
    digits = 1 + max(len(component.groups) for component in chain.components)
    front: dict[tuple[State, int], list[_Label]] = {(end, cell): [_Label((0, 0), 0, 0.0, ())]}
    for number, step, opens, before in walk.back():
        ahead: dict[tuple[State, int], list[_Label]] = {}
        for (state, at), labels in front.items():
            if step is None:  # into the component that was walked before this one
                earlier = chain.components[number + 1].groups if number + 1 < len(chain.components) else ()
                ahead[(*state[:2], (0,) * len(earlier)), at] = labels
                continue
            if not step.forced and before.get(state, 0) >> at & 1:
                for label in labels:
                    idle = replace(label, path=label.path * digits)
                    _keep(ahead.setdefault((state, at), []), idle, with_variance)
            if at < step.shift:
                continue
            for digit, (group, raises) in zip(range(digits - 1, 0, -1), step.choices, strict=False):
                for earlier_state in _before(state, group, raises, opens):
                    if before.get(earlier_state, 0) >> at - step.shift & 1:
                        there = ahead.setdefault((earlier_state, at - step.shift), [])
                        for label in labels:
                            moved = _Label(
                                (label.rank[0] + step.rank[0], label.rank[1] + step.rank[1]),
                                label.path * digits + digit,
                                label.variance + step.variance,
                                (*label.taken, Taken(number, group, step)),
                            )
                            _keep(there, moved, with_variance)
        front = ahead
    return [label for labels in front.values() for label in labels]


def _before(state: State, group: int, raises: bool, opens: bool) -> list[State]:
    flag, changes, balance = state
    moved = balance[group] + (-1 if opens else 1)
    if moved < 0 or (raises and not flag):
        return []
    rest = changes - opens, (*balance[:group], moved, *balance[group + 1 :])
    return [(earlier, *rest) for earlier in ((False, True) if raises else (flag,))]


def _keep(labels: list[_Label], new: _Label, with_variance: bool) -> None:
    """Add ``new`` unless a label beats it; drop the labels that it beats."""

    def beats(one: _Label, other: _Label) -> bool:
        return (one.rank, one.path) >= (other.rank, other.path) and (
            not with_variance or one.variance <= other.variance
        )

    if not any(beats(label, new) for label in labels):
        labels[:] = [label for label in labels if not beats(new, label)]
        labels.append(new)
