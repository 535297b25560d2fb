"""Packs that share a shelf as problems of the kernel: which of them do, over which plates, and with what is bought."""

from collections import Counter, defaultdict
from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from plates.matching.problem import Pool, Problem


@dataclass(frozen=True)
class Offer:
    """``count`` plates of one kind and thickness, bought at once for ``cost``, which would lie there for so many
    ``weeks`` until they are used.
    """

    kind: str
    thickness_nm: int
    u_nm: float
    count: int
    cost: Decimal
    weeks: float = 1.0


@dataclass(frozen=True)
class Takers:
    """The slots of a pack that take a kind: by the book, and by a further proven fit."""

    ordinary: Collection[int] = ()
    substitute: Collection[int] = ()


@dataclass(frozen=True)
class Pack:
    """One pack. The problems of all packs number the rows of one pool; packs of which none takes a kind or a plate of
    another's ``fits`` have nothing to do with it. ``takers``: by kind.
    """

    problem: Problem
    period: int
    fits: frozenset[Hashable]
    takers: Mapping[str, Takers]


def widened(packs: Sequence[Pack], shelf: list[Problem], bought: Sequence[Offer]) -> list[Problem]:
    """The problems of these packs over the shelf, with what was bought behind it."""
    if not bought:
        return shelf
    pool, counts = shelf[0].pool, [offer.count for offer in bought]
    new = np.arange(len(pool), len(pool) + sum(counts))
    of_each = list(zip(bought, np.split(new, np.cumsum(counts)[:-1]), strict=True))
    of_size = Counter[int]()
    for offer in bought:
        of_size[offer.thickness_nm] += offer.count
    each = [offer for offer in bought for _ in range(offer.count)]
    newest = int(pool.received.max(initial=0)) + 1
    wider = pool.with_more(
        Pool(
            np.array([one.thickness_nm for one in each], np.int64),
            np.array([one.u_nm for one in each]),
            np.array([of_size[one.thickness_nm] for one in each], np.int64),
            np.full(len(new), newest),
            [f"~{row:09}" for row in new.tolist()],  # behind every plate that is there
        )
    )
    return [_with(pack, problem, wider, of_each) for pack, problem in zip(packs, shelf, strict=True)]


def _with(pack: Pack, problem: Problem, pool: Pool, bought: Sequence[tuple[Offer, NDArray[np.int64]]]) -> Problem:
    slots = []
    for number, slot in enumerate(problem.slots):
        ordinary, substitute = [slot.ordinary], [slot.substitute]
        for offer, rows in bought:
            takers = pack.takers.get(offer.kind, Takers())
            ordinary += [rows] if number in takers.ordinary else []
            substitute += [rows] if number in takers.substitute else []
        slots.append(replace(slot, ordinary=np.concatenate(ordinary), substitute=np.concatenate(substitute)))
    return replace(problem, pool=pool, slots=tuple(slots))


def apart(packs: Sequence[Pack]) -> list[list[Pack]]:
    """The packs in groups that share no fit, each in the order given."""
    group_of: dict[Hashable, set[Hashable]] = {}
    for pack in packs:
        joined = set[Hashable]().union(pack.fits, *(group_of[fit] for fit in pack.fits if fit in group_of))
        group_of |= dict.fromkeys(joined, joined)
    found: dict[int, list[Pack]] = defaultdict(list)
    for pack in packs:
        found[id(group_of[next(iter(pack.fits))])].append(pack)
    return list(found.values())


def own_pool(problems: Sequence[Problem]) -> list[Problem]:
    """The same problems over those rows alone that some slot of theirs takes."""
    slots = [slot for problem in problems for slot in problem.slots]
    rows = np.unique(np.concatenate([rows for slot in slots for rows in (slot.ordinary, slot.substitute)]))
    pool = problems[0].pool
    own = Pool(
        pool.thickness_nm[rows],
        pool.u_nm[rows],
        pool.pieces[rows],
        pool.received[rows],
        [pool.keys[row] for row in rows.tolist()],
        None if pool.gauge is None else pool.gauge[rows],
    )

    def over_own(problem: Problem) -> Problem:
        slots = tuple(
            replace(
                slot,
                ordinary=np.searchsorted(rows, slot.ordinary),
                substitute=np.searchsorted(rows, slot.substitute),
            )
            for slot in problem.slots
        )
        return replace(problem, pool=own, slots=slots)

    return [over_own(problem) for problem in problems]
