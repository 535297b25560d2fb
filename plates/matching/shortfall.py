"""Which plate would have closed the pack: ranges of thickness, true to the nanometre."""

from itertools import combinations

from plates.matching.problem import Problem, Range, Slot


def delta_window(problem: Problem) -> tuple[int, int, int]:
    """(low, high, target) for D = everything put in - everything taken out, both kinds of pack alike."""
    if problem.measures == "gap":  # new clearance = measured - D
        base = problem.clearance_nm
        return base - problem.high_nm, base - problem.low_nm, base - problem.target_nm
    if problem.measures == "height":  # new height = measured + D
        base = -problem.clearance_nm
        return base + problem.low_nm, base + problem.high_nm, base + problem.target_nm
    raise ValueError(f"a pack measures gap or height, not {problem.measures!r}")


def would_close(problem: Problem) -> tuple[Range, ...]:
    """Every maximal range of thickness t (whole nm, t ≥ 1) such that one, or two equal, new plates close the
    pack.

    The new plates fill the empty places of one slot and go in place of some choice of its installed ones;
    whatever must go in the whole pack has gone by that. Extras are not proposed. Sorted by count, slot,
    thickness.
    """
    ranges: list[Range] = []
    limit = 2 if problem.max_changes is None else min(2, problem.max_changes)
    for count in range(1, limit + 1):
        for index, slot in enumerate(problem.slots):
            others = (other for place, other in enumerate(problem.slots) if place != index)
            if any(other.empty or any(plate.must_go for plate in other.installed) for other in others):
                continue
            ranges += _ranges(problem, index, slot, count)
    return tuple(ranges)


def _ranges(problem: Problem, index: int, slot: Slot, count: int) -> list[Range]:
    chosen = count - slot.empty - sum(plate.must_go for plate in slot.installed)
    if chosen < 0 or (count > slot.empty and not slot.swap):
        return []
    free = [number for number, plate in enumerate(slot.installed) if not plate.must_go]
    spans = set()
    for choice in combinations(free, chosen):
        stays = [slot.installed[number].thickness_nm for number in free if number not in choice]
        out = sum(plate.thickness_nm for plate in slot.installed) - sum(stays)
        spans.add(_span(problem, index, count, out, tuple(stays)))
    merged: list[tuple[int, int]] = []
    for start, end in sorted(span for span in spans if span[0] <= span[1]):
        if merged and start <= merged[-1][1] + 1:
            merged[-1] = merged[-1][0], max(end, merged[-1][1])
        else:
            merged.append((start, end))
    return [Range(index, count, start, end) for start, end in merged]


def _span(problem: Problem, index: int, count: int, out: int, stays: tuple[int, ...]) -> tuple[int, int]:
    """What so many new plates may measure where plates of ``out`` together went out of the slot and others stayed."""
    slot = problem.slots[index]
    low, high, _ = delta_window(problem)
    if (splines := problem.splines) is not None:
        if index in splines.slots:
            high = min(high, splines.most_nm)
        elif splines.most_nm < 0:
            return 1, 0
    if problem.most_delta_nm is not None:
        high = min(high, problem.most_delta_nm)
    start, end = max(slot.thinnest_nm, -((-low - out) // count)), (high + out) // count
    if slot.thickest_nm is not None:
        end = min(end, slot.thickest_nm)
    if (spread := problem.spread) is not None:
        elsewhere = [plate.thickness_nm for n in spread.slots if n != index for plate in problem.slots[n].installed]
        beside = [*elsewhere, *(stays if index in spread.slots else ())]
        if beside and max(beside) - min(beside) > spread.most_nm:
            return 1, 0
        if beside and index in spread.slots:
            start, end = max(start, max(beside) - spread.most_nm), min(end, min(beside) + spread.most_nm)
    return start, end
