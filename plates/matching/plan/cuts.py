"""Which predictions are sure, said in straight lines: with each variance goes another span of them.

The model of a pack gets it as cuts. A cut at a prediction says: whoever lies that far from the middle of the window, or
farther, is sure only with a variance that is sure there. Variances are rounded down to whole nm², so the model takes
every sure exchange for sure; where it takes a marginal one for sure, the exchange is built, found out, and a cut added
at its own prediction. Two exchanges that end on one prediction with variances in the same nm² count as one there: that
much is inexact.

Distances from the middle are given twice, since it may lie between two nanometres.
"""

import math

from plates.matching.probability import conformance, sure_span
from plates.matching.problem import Problem
from plates.matching.shortfall import delta_window

_FAR = 1 << 50
_FIRST_CUTS = 16  # on each side of a window, for exchanges of a few changes; all others come when they are needed


def doubtful(problem: Problem, step_nm: int, least: int, most: int) -> list[int]:
    """How far from the middle, twice, a prediction is sure with the ``least`` variance but not with the ``most``.

    On the steps of the lattice, some of them where there are many; the last is sure with none.
    """
    low, high, _ = delta_window(problem)
    best, worst = (sure_span(math.sqrt(variance), low, high, problem.sure) for variance in (least, most))
    if best is None:
        return [0]
    middle = (low + high) // 2
    found = set()
    for best_end, worst_end, sign in (
        (best[0], worst[0] if worst else middle + 1, -1),
        (best[1], worst[1] if worst else middle - 1, 1),
    ):
        first, last = sorted((worst_end // step_nm, best_end // step_nm + sign))
        every = max(1, (last - first) // _FIRST_CUTS)
        found |= {abs(2 * step_nm * delta - low - high) for delta in (*range(first, last, every), last)}
    return sorted(found)


def most_variance(problem: Problem, twice_off_nm: int) -> int:
    """The largest variance in whole nm², rounded up, that is sure so far from the middle; -1 where none is."""
    width = problem.high_nm - problem.low_nm

    def sure(variance: int) -> bool:
        return conformance(twice_off_nm / 2, math.sqrt(variance), -width / 2, width / 2) >= problem.sure

    if not sure(0):
        return -1
    good, bad = 0, 1
    while sure(bad) and bad < _FAR:
        good, bad = bad, 4 * bad
    while bad - good > 1:
        middle = (good + bad) // 2
        good, bad = (middle, bad) if sure(middle) else (good, middle)
    return good + 1
