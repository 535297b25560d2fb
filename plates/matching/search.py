"""The exact search: which exchanges of plates bring a pack into its window, and in which order they are
shown.

For each way the numbers of changes are tried from one upwards. Shown are

1. the exchange nearest to the target, where it is nearer than every one of its way with fewer changes;
2. the first sure one of its way: with the fewest changes, and nearest to the target among those.

Equally near ones: the sure before the marginal, then the larger sum of pieces, the older plates, the
preferred path (see :mod:`plates.matching.choose`).

All of 1 is exact for any number of changes and any window, ties included but for the one case that
:func:`plates.matching.choose.choose` names; so is 2 but for the one that
:meth:`plates.matching.ways.WaySearch._first_sure` names.
"""

from itertools import groupby

from plates.matching.build import chain_build
from plates.matching.exchange import exchange_build
from plates.matching.limits import keeps, within_limits
from plates.matching.problem import Answer, Exchange, Problem, Shortfall, Way
from plates.matching.shortfall import delta_window, would_close
from plates.matching.steps import Chain
from plates.matching.ways import WaySearch


def match(problem: Problem) -> Answer:
    """Every option in its total order, or the shortfall where there is none.

    Raises ValueError where ``measures`` is neither gap nor height.
    """
    delta_window(problem)  # refuses a pack that measures neither
    still = stand_still(problem)
    first = still if still and problem.low_nm <= still.predicted_nm <= problem.high_nm else None
    shown = within_limits(problem, lambda part: _shown(part, first))
    options = _shown_of_all(problem, first, shown) if len(shown) > 1 else [one for some in shown for one in some]
    if first:
        options.append(first)
    if options:
        return Answer(tuple(sorted(options, key=lambda option: _order(problem, option))), None)
    near = [one for some in within_limits(problem, lambda part: _nearest(part, still)) for one in some]
    nearest = min(near, key=lambda one: _nearness(problem, one)) if near else still
    return Answer((), Shortfall(nearest, would_close(problem)))


def first(problem: Problem) -> Exchange | None:
    """The first option of :func:`match`, without a search for those behind it; None where there is none.

    Raises as :func:`match`.
    """
    delta_window(problem)  # refuses a pack that measures neither
    still = stand_still(problem)
    if still and problem.low_nm <= still.predicted_nm <= problem.high_nm:
        return still
    found = [one for some in within_limits(problem, _up_to_sure) for one in some]
    return min(found, key=lambda one: _order(problem, one), default=None)


def _up_to_sure(problem: Problem) -> list[Exchange]:
    """What is shown of one part, from the book outwards, up to the first sure one: all that follow stand behind it."""
    found = []
    for chain in chains(problem):
        for one in WaySearch(problem, chain).shown(None):
            found.append(one)
            if one.sure:
                return found
    return found


def _shown(problem: Problem, first: Exchange | None) -> list[Exchange]:
    searches = [WaySearch(problem, chain) for chain in chains(problem)]
    return [one for search in searches for one in search.shown(first if search.chain.way == Way.ORDINARY else None)]


def _shown_of_all(problem: Problem, first: Exchange | None, parts: list[list[Exchange]]) -> list[Exchange]:
    """Of what is shown of each part, what is to be shown of them all, by the same rule."""
    ranked = sorted(
        {one for some in parts for one in some}, key=lambda one: (one.way, one.changes, *_order(problem, one))
    )
    options: list[Exchange] = []
    for way, some in groupby(ranked, key=lambda one: one.way):
        before = first if way == Way.ORDINARY else None
        best = abs(before.predicted_nm - problem.target_nm) if before else None
        sure = before is not None and before.sure
        for _, alike in groupby(some, key=lambda one: one.changes):
            exchanges = list(alike)
            nearest = min(exchanges, key=lambda one: _nearness(problem, one))
            distance = abs(nearest.predicted_nm - problem.target_nm)
            if best is None or distance < best:
                best, sure = distance, sure or nearest.sure
                options.append(nearest)
            if not sure and (sure_ones := [one for one in exchanges if one.sure]):
                options.append(min(sure_ones, key=lambda one: _nearness(problem, one)))
                sure = True
    return options


def _nearness(problem: Problem, one: Exchange) -> tuple[object, ...]:
    return abs(one.predicted_nm - problem.target_nm), one.way, one.changes, *_order(problem, one)


def chains(problem: Problem) -> list[Chain]:
    """The ways that can be gone at all, from the book outwards."""
    limit = len(problem.pool) if problem.max_changes is None else problem.max_changes
    return [chain for way in Way if (chain := chain_build(problem, way, limit))]


def stand_still(problem: Problem) -> Exchange | None:
    """The exchange of no changes; None where something must go, a place is empty or a limit is broken."""
    for slot in problem.slots:
        if slot.empty or any(plate.must_go for plate in slot.installed):
            return None
    still = exchange_build(problem, Way.ORDINARY, (), ())
    return still if keeps(problem, still) else None


def distances(problem: Problem, way: Way, most: int) -> dict[int, int]:
    """For each number of changes 1 … ``most`` the least distance to the target, in the window or not."""
    chain = chain_build(problem, way, most)
    if chain is None:
        return {}
    search = WaySearch(problem, chain)
    near = {changes: search.near(changes) for changes in range(1, chain.most + 1)}
    return {changes: abs(deltas[0] - search.target) for changes, deltas in near.items() if deltas}


def _order(problem: Problem, option: Exchange) -> tuple[object, ...]:
    rows = [row for _, row in option.ins]
    return (
        option.changes > 0,
        not option.sure,
        option.way,
        option.changes,
        abs(option.predicted_nm - problem.target_nm),
        -sum(int(problem.pool.pieces[row]) for row in rows),
        sum(int(problem.pool.received[row]) for row in rows),
        sorted(problem.pool.keys[row] for row in rows),  # type: ignore[type-var]
        option.outs,
    )


def _nearest(problem: Problem, still: Exchange | None) -> list[Exchange]:
    """The reachable exchange nearest to the target, where it is nearer than doing nothing.

    Equally near ones: the way nearer to the book, then fewer changes, then as among options.
    """
    best = (abs(still.predicted_nm - problem.target_nm), Way.ORDINARY, 0) if still else None
    found: tuple[WaySearch, int, list[int]] | None = None
    for search in (WaySearch(problem, chain) for chain in chains(problem)):
        least = search.least_distance()
        for changes in range(1, search.chain.most + 1):
            if best and best[0] <= least:
                break  # nothing is nearer, and what is as near is farther from the book
            deltas = search.near(changes)
            rank = (abs(deltas[0] - search.target), search.chain.way, changes) if deltas else None
            if rank and (best is None or rank < best):
                best, found = rank, (search, changes, deltas)
    return [found[0].best(found[1], found[2])] if found else []
