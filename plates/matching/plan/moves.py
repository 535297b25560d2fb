"""Several packs over one shelf, where a plate that comes out of one pack may go into another."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from plates.matching.plan.alone import best_option
from plates.matching.problem import Exchange, Installed, Pool, Problem, Slot, Way

Exchanges = Mapping[int, Exchange | None]  # by pack; None: it is left alone and not closed


@dataclass(frozen=True)
class Move:
    """An installed plate that may go into other packs, once an exchange has taken it out of its own.

    ``pack``, ``slot``, ``index``: where it lies. ``ordinary``, ``substitute``: the (pack, slot) that it may serve.
    What must go never moves, nor what is in a slot that does not swap, even where it is listed.
    """

    pack: int
    slot: int
    index: int
    ordinary: tuple[tuple[int, int], ...] = ()
    substitute: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True)
class Packs:
    """The problems of the packs over one pool that ends with a row for each move: row ``shelf + i`` is ``moves[i]``."""

    problems: tuple[Problem, ...]
    moves: tuple[Move, ...]
    shelf: int

    @cached_property
    def source(self) -> dict[int, tuple[int, int, int]]:
        """Of each row that is no plate of the shelf (pack, slot, index)."""
        return {self.shelf + i: (move.pack, move.slot, move.index) for i, move in enumerate(self.moves)}

    def left(self, exchanges: Exchanges) -> NDArray[np.bool_]:
        """Of each row whether it can be taken after these exchanges."""
        free = np.arange(self.shelf + len(self.moves)) < self.shelf
        out = {(pack, *place) for pack, one in exchanges.items() if one for place in one.outs}
        free[[row for row, place in self.source.items() if place in out]] = True
        free[[row for one in exchanges.values() if one for _, row in one.ins]] = False
        return free


def packs_build(problems: Sequence[Problem], moves: Sequence[Move]) -> Packs:
    """Raises ValueError where the packs do not share one pool and its gauges, or a move is none."""
    pool = problems[0].pool
    if any(one.pool is not pool or one.u_gauge_nm != problems[0].u_gauge_nm for one in problems):
        raise ValueError("packs planned together share one pool and number their gauges alike")
    for move in moves:
        if any(pack == move.pack for pack, _ in (*move.ordinary, *move.substitute)):
            raise ValueError(f"plate {move.index} of pack {move.pack} cannot move into its own pack")
    if len({(move.pack, move.slot, move.index) for move in moves}) < len(moves):
        raise ValueError("a plate is listed once, with all places that it may serve")
    plates = [problems[move.pack].slots[move.slot].installed[move.index] for move in moves]
    wider = _with_plates(pool, moves, plates)
    serves: dict[tuple[int, int, Way], list[int]] = {}
    for row, (move, plate) in enumerate(zip(moves, plates, strict=True), len(pool)):
        stays = plate.must_go or not problems[move.pack].slots[move.slot].swap
        for way, places in ((Way.ORDINARY, move.ordinary), (Way.SUBSTITUTE, move.substitute)):
            for pack, slot in () if stays else places:
                serves.setdefault((pack, slot, way), []).append(row)

    def slot_with(pack: int, number: int, slot: Slot) -> Slot:
        ordinary, substitute = (
            np.append(rows, np.array(serves.get((pack, number, way), ()), np.int64)).astype(np.int64)
            for way, rows in ((Way.ORDINARY, slot.ordinary), (Way.SUBSTITUTE, slot.substitute))
        )
        return replace(slot, ordinary=ordinary, substitute=substitute)

    return Packs(
        tuple(
            replace(
                one, pool=wider, slots=tuple(slot_with(pack, number, slot) for number, slot in enumerate(one.slots))
            )
            for pack, one in enumerate(problems)
        ),
        tuple(moves),
        len(pool),
    )


def _with_plates(pool: Pool, moves: Sequence[Move], plates: Sequence[Installed]) -> Pool:
    """Plates of other packs come last: they count as the youngest, and as pieces of no size."""
    youngest = int(pool.received.max(initial=0))
    gauge = np.array([plate.gauge for plate in plates], np.int64)
    more = Pool(
        np.array([plate.thickness_nm for plate in plates], np.int64),
        np.array([plate.u_nm for plate in plates], np.float64),
        np.zeros(len(plates), np.int64),
        np.full(len(plates), youngest, np.int64),
        [(1, (move.pack, move.slot, move.index)) for move in moves],
        gauge if (gauge >= 0).any() else None,
    )
    return replace(pool, keys=[(0, key) for key in pool.keys]).with_more(more)


def one_by_one(packs: Packs, order: Iterable[int]) -> Exchanges:
    """Each pack answered by itself in this order: the best of its options from what the others left."""
    found: dict[int, Exchange | None] = {}
    for pack in order:
        found[pack] = best_option(packs.problems[pack].only(packs.left(found)))
    return found
