"""The question answered by trying every exchange: slow, short and written from the rules alone."""

from itertools import combinations, product

from plates.matching.probability import conformance
from plates.matching.problem import Exchange, Problem, Way


def exchanges(problem: Problem) -> list[Exchange]:
    """Every exchange there is, the one of no changes among them."""
    choices = [_slot_choices(problem, index) for index in range(len(problem.slots))]
    found = {}
    for choice in product(*choices):
        rows = [row for ins, *_ in choice for _, row in ins]
        if len(rows) != len(set(rows)) or (problem.max_changes is not None and len(rows) > problem.max_changes):
            continue
        ins = tuple(sorted(pair for ins, *_ in choice for pair in ins))
        outs = tuple(sorted(pair for _, outs, _ in choice for pair in outs))
        way = max((way for *_, way in choice), default=Way.ORDINARY)
        if _allowed(problem, ins, outs):
            found[ins, outs] = _exchange(problem, way, ins, outs)
    return list(found.values())


def _allowed(problem: Problem, ins, outs) -> bool:
    """Whether the stack that results keeps to its limits."""
    stacks: list[list[int]] = []
    for index, slot in enumerate(problem.slots):
        stays = [plate.thickness_nm for i, plate in enumerate(slot.installed) if (index, i) not in outs]
        stacks.append(stays + [int(problem.pool.thickness_nm[row]) for place, row in ins if place == index])
    if problem.spread:
        plates = [nm for index in problem.spread.slots for nm in stacks[index]]
        if plates and max(plates) > min(plates) + problem.spread.most_nm:
            return False
    if problem.splines:
        before = sum(p.thickness_nm for index in problem.splines.slots for p in problem.slots[index].installed)
        return sum(nm for index in problem.splines.slots for nm in stacks[index]) <= before + problem.splines.most_nm
    return True


def _slot_choices(problem: Problem, index: int):
    slot = problem.slots[index]
    rows = {int(row): Way.SUBSTITUTE for row in slot.substitute} | {int(row): Way.ORDINARY for row in slot.ordinary}
    must = {i for i, plate in enumerate(slot.installed) if plate.must_go}
    places = range(len(slot.installed))
    leaving = [c for n in range(len(places) + 1) for c in combinations(places, n)] if slot.swap else [()]
    for out in leaving:
        if not must <= set(out):
            continue
        for extra in range(slot.extra + 1):
            for chosen in combinations(sorted(rows), slot.empty + len(out) + extra):
                way = max([Way.EXTRA if extra else Way.ORDINARY, *(rows[row] for row in chosen)])
                yield tuple((index, row) for row in chosen), tuple((index, i) for i in out), way


def _exchange(problem: Problem, way: Way, ins, outs) -> Exchange:
    moved_in = [int(problem.pool.thickness_nm[row]) for _, row in ins]
    moved_out = [problem.slots[slot].installed[i] for slot, i in outs]
    change = sum(moved_in) - sum(plate.thickness_nm for plate in moved_out)
    predicted = problem.clearance_nm - change if problem.measures == "gap" else problem.clearance_nm + change
    variance = problem.u_reading_nm**2 + (len(ins) + len(outs)) * problem.u_move_nm**2
    variance += sum(float(problem.pool.u_nm[row]) ** 2 for _, row in ins) + sum(p.u_nm**2 for p in moved_out)
    for gauge, u in enumerate(problem.u_gauge_nm):  # one error for all that this gauge has read
        readings = [float(problem.read_net[gauge]) if problem.read_net else 0.0]
        readings += [(1 if problem.measures == "gap" else -1) * (plate.gauge == gauge) for plate in moved_out]
        if problem.pool.gauge is not None:
            sign = -1 if problem.measures == "gap" else 1
            readings += [sign * (int(problem.pool.gauge[row]) == gauge) for _, row in ins]
        variance += (sum(readings) * u) ** 2
    u = variance**0.5
    probability = conformance(predicted, u, problem.low_nm, problem.high_nm)
    return Exchange(way, ins, outs, predicted, u, probability, probability >= problem.sure)


def figures(problem: Problem, exchange: Exchange):
    """What decides between two equally near exchanges, path aside: sure, pieces, age."""
    rows = [row for _, row in exchange.ins]
    return (
        abs(exchange.predicted_nm - problem.target_nm),
        not exchange.sure,
        -sum(int(problem.pool.pieces[row]) for row in rows),
        sum(int(problem.pool.received[row]) for row in rows),
    )


def path(problem: Problem, exchange: Exchange):
    """Slot by slot the keys of the plates in, then the plates out from the thinnest: the first difference decides.

    Only for packs whose pools do not overlap.
    """
    marks = [(slot, 0, problem.pool.keys[row], row) for slot, row in exchange.ins]
    marks += [(slot, 1, problem.slots[slot].installed[i].thickness_nm, i) for slot, i in exchange.outs]
    return (*sorted(marks), (len(problem.slots),))


def options(problem: Problem) -> list[Exchange]:
    """The options by the rules of the search, in their order."""
    fits = [e for e in exchanges(problem) if problem.low_nm <= e.predicted_nm <= problem.high_nm]
    best = lambda some: min(some, key=lambda e: (*figures(problem, e), path(problem, e)))  # noqa: E731
    still = [e for e in fits if not e.changes]
    shown = list(still)
    for way in Way:
        before = still if way == Way.ORDINARY else []  # doing nothing is of the ordinary way
        nearest = min((figures(problem, e)[0] for e in before), default=None)
        sure = any(e.sure for e in before)
        mine = [e for e in fits if e.way == way and e.changes]
        for changes in sorted({e.changes for e in mine}):
            these = [e for e in mine if e.changes == changes]
            kept = best(these)
            if nearest is None or figures(problem, kept)[0] < nearest:
                nearest = figures(problem, kept)[0]
                sure = sure or kept.sure
                shown.append(kept)
            if not sure and any(e.sure for e in these):
                sure = True
                shown.append(best([e for e in these if e.sure]))

    def order(e: Exchange):
        distance, marginal, pieces, age = figures(problem, e)
        keys = sorted(problem.pool.keys[row] for _, row in e.ins)
        return (e.changes > 0, marginal, e.way, e.changes, distance, pieces, age, keys)

    return sorted(shown, key=order)
