"""What a pack may not become: its plates too different in thickness, or its stack too high for its splines.

The search along a way knows of limits only by how much the whole pack may grow. A problem with limits is cut into parts
that say no more, and that together hold the very exchanges which keep to the limits: first one for each plate that may
stand off the splines; then, where what is found in a part breaks the spread, that part is cut further.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from plates.matching.problem import Exchange, Problem, Slot, Splines, Spread


def keeps(problem: Problem, exchange: Exchange) -> bool:
    """Whether the pack as it is after the exchange keeps to its limits."""
    if problem.splines and _growth(problem, problem.splines, exchange) > problem.splines.most_nm:
        return False
    if problem.spread is None:
        return True
    ends = _ends(problem, problem.spread, exchange)
    return ends is None or ends[1] - ends[0] <= problem.spread.most_nm


def within_limits(problem: Problem, ask: Callable[[Problem], Sequence[Exchange]]) -> list[list[Exchange]]:
    """What ``ask`` finds in each part; the best of them all keeps to the limits, and nothing that does is better."""
    parts, found = list(by_plate_off_splines(problem)), []
    while parts:
        part = parts.pop()
        exchanges = list(ask(part))
        broken = next((exchange for exchange in exchanges if not keeps(part, exchange)), None)
        if broken is None:
            found.append(exchanges)
        else:
            parts += _halves(part, broken)
    return found


def thicknesses(problem: Problem) -> list[tuple[int, int] | None]:
    """Ends between which the plates of the limited slots keep to the spread: every exchange that does lies between
    some. Those that others hold are left out, as are those that a plate that must stay lies beyond; [None] without a
    limit.
    """
    spread = problem.spread
    if spread is None:
        return [None]
    known = {plate.thickness_nm for slot in spread.slots for plate in problem.slots[slot].installed}
    for slot in spread.slots:
        rows = np.concatenate((problem.slots[slot].ordinary, problem.slots[slot].substitute))
        known.update(problem.pool.thickness_nm[rows].tolist())
    if not known:
        return [None]
    stay = [p.thickness_nm for n in spread.slots if not problem.slots[n].swap for p in problem.slots[n].installed]
    sizes = np.array(sorted(known), np.int64)
    last = np.searchsorted(sizes, sizes + spread.most_nm, "right")
    widest = np.flatnonzero(np.diff(last, prepend=-1))
    found = [(low, low + spread.most_nm) for low in sizes[widest].tolist()]
    return [(low, high) for low, high in found if all(low <= one <= high for one in stay)]


def _growth(problem: Problem, splines: Splines, exchange: Exchange) -> int:
    ins = sum(int(problem.pool.thickness_nm[row]) for slot, row in exchange.ins if slot in splines.slots)
    return ins - sum(
        problem.slots[slot].installed[index].thickness_nm for slot, index in exchange.outs if slot in splines.slots
    )


def _ends(problem: Problem, spread: Spread, exchange: Exchange) -> tuple[int, int] | None:
    """The thinnest and the thickest plate of the limited slots after the exchange; None where they hold none."""
    gone = set(exchange.outs)
    left = [
        plate.thickness_nm
        for slot in spread.slots
        for index, plate in enumerate(problem.slots[slot].installed)
        if (slot, index) not in gone
    ]
    left += [int(problem.pool.thickness_nm[row]) for slot, row in exchange.ins if slot in spread.slots]
    return (min(left), max(left)) if left else None


def _halves(problem: Problem, broken: Exchange) -> Iterator[Problem]:
    """The packs whose thinnest plate is at most so thick, so that the thickest is not far, and all others.

    Cut half-way between the ends of what broke the limit, which then is in neither half.
    """
    assert problem.spread is not None
    ends = _ends(problem, problem.spread, broken)
    assert ends is not None
    middle = (ends[0] + ends[1] - problem.spread.most_nm) // 2
    for low, high in ((0, middle + problem.spread.most_nm), (middle + 1, None)):
        if part := between(problem, low, high):
            yield part


def between(problem: Problem, low: int, high: int | None) -> Problem | None:
    """The pack with no plate of the slots of limited spread beyond these ends; None where one that must stay is."""
    assert problem.spread is not None
    top = high if high is not None else 1 << 62
    fits = (problem.pool.thickness_nm >= low) & (problem.pool.thickness_nm <= top)
    slots = list(problem.slots)
    for number in problem.spread.slots:
        slot = slots[number]
        beyond = [not low <= plate.thickness_nm <= top for plate in slot.installed]
        if any(beyond) and not slot.swap:
            return None
        installed = (
            replace(plate, must_go=plate.must_go or out) for plate, out in zip(slot.installed, beyond, strict=True)
        )
        slots[number] = replace(slot.only(fits), installed=tuple(installed))
    return replace(problem, slots=tuple(slots))


def by_plate_off_splines(problem: Problem) -> Iterator[Problem]:
    """The pack once for each plate that the slots off the splines could hold in the end."""
    if problem.splines is None:
        yield problem
        return
    inside = problem.splines.slots
    outside = [number for number in range(len(problem.slots)) if number not in inside]
    for choice in product(*(_held(problem, problem.slots[number]) for number in outside)):
        slots = list(problem.slots)
        grown = 0
        for number, (slot, growth) in zip(outside, choice, strict=True):
            slots[number] = slot
            grown += growth
        yield replace(problem, slots=tuple(slots), splines=None, most_delta_nm=problem.splines.most_nm + grown)


def _held(problem: Problem, slot: Slot) -> Iterator[tuple[Slot, int]]:
    """The slot as it stays, where it may, and with each thickness that could go in; and by how much it grows."""
    if ((slot.swap or slot.empty) and slot.empty + len(slot.installed) > 1) or slot.extra:
        raise ValueError(f"slot {slot.name!r} lies off the splines and holds more than one plate")
    if not slot.empty and not any(plate.must_go for plate in slot.installed):
        yield replace(slot, swap=False), 0
    if not slot.empty and not (slot.swap and slot.installed):
        return
    was_nm = sum(plate.thickness_nm for plate in slot.installed)
    must_go = tuple(replace(plate, must_go=True) for plate in slot.installed)
    thickness = problem.pool.thickness_nm
    for new_nm in np.unique(thickness[np.concatenate((slot.ordinary, slot.substitute))]).tolist():
        yield replace(slot.only(thickness == new_nm), installed=must_go), new_nm - was_nm
