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
    low, high, _ = delta_window(problem)
    must = sum(plate.thickness_nm for plate in slot.installed if plate.must_go)
    free = [plate.thickness_nm for plate in slot.installed if not plate.must_go]
    chosen = count - slot.empty - (len(slot.installed) - len(free))
    if chosen < 0 or (count > slot.empty and not slot.swap):
        return []
    spans = []
    for out in {must + sum(choice) for choice in combinations(free, chosen)}:
        start, end = max(1, -((-low - out) // count)), (high + out) // count
        if start <= end:
            spans.append((start, end))
    merged: list[tuple[int, int]] = []
    for start, end in sorted(spans):
        if merged and start <= merged[-1][1] + 1:
            merged[-1] = merged[-1][0], max(end, merged[-1][1])
        else:
            merged.append((start, end))
    return [Range(index, count, start, end) for start, end in merged]
