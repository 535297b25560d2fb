"""The best distance by two general-purpose solvers, from one model of the exchange.

Variables: for each slot and each thickness that may go in how many go in, for each installed thickness how many go
out, how many extra places are filled. The objective is the distance of D = in - out to its target, in whole steps of
the lattice. Where the plates of a pack may differ by so much only, a variable tells of each thickness whether it is in
the pack in the end, and two more where its thinnest and thickest lie. Every answer is worked out anew from the rounded
variables, so no tolerance of a solver can hide in it.
"""

import math
from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from ortools.sat.python import cp_model
from scipy.optimize import Bounds, LinearConstraint, milp

from plates.matching.problem import Problem, Spread, Way
from plates.matching.shortfall import delta_window


class GaveUp(Exception):
    """The solver says that it failed, numerically: neither an optimum nor a proof that there is none."""


class TimeIsUp(Exception):
    """A solver has not proved its optimum within its time limit."""


@dataclass
class Model:
    """Rows of ``sums``: (coefficients by variable, low, high). ``weight``: what each variable adds to D, in steps."""

    step: int
    target: int
    upper: list[int] = field(default_factory=list)
    weight: list[int] = field(default_factory=list)
    sums: list[tuple[dict[int, int], int, int]] = field(default_factory=list)

    def variable(self, upper: int, weight: int) -> int:
        self.upper.append(upper)
        self.weight.append(weight)
        return len(self.upper) - 1

    def distance(self, values: list[int]) -> int:
        """The distance in nm; fails where the values break a rule."""
        for coefficients, low, high in self.sums:
            assert low <= sum(factor * values[number] for number, factor in coefficients.items()) <= high
        assert all(0 <= value <= upper for value, upper in zip(values, self.upper, strict=True))
        return abs(self.step * sum(map(int.__mul__, values, self.weight)) - self.target)


def model_build(problem: Problem, way: Way, changes: int, within: bool) -> Model:
    """``within``: the prediction must lie in the window."""
    rows: dict[int, dict[int, Way]] = {}
    for index, slot in enumerate(problem.slots):
        for row in slot.substitute.tolist() if way >= Way.SUBSTITUTE else ():
            rows.setdefault(row, {})[index] = Way.SUBSTITUTE
        for row in slot.ordinary.tolist():
            rows.setdefault(row, {})[index] = Way.ORDINARY
    alike = Counter((int(problem.pool.thickness_nm[row]), tuple(sorted(may.items()))) for row, may in rows.items())
    lengths = [one for one, _ in alike] + [p.thickness_nm for slot in problem.slots for p in slot.installed]
    model = Model(math.gcd(*lengths) or 1, delta_window(problem)[2])
    far = changes + 1
    balance: list[dict[int, int]] = [{} for _ in problem.slots]
    total, beyond, extras = {}, {}, {}
    moved: list[dict[int, int]] = [{} for _ in problem.slots]
    present: list[tuple[int, int, dict[int, int], int]] = []  # slot, thickness, pieces left by variable, and beside
    for (thickness, may), count in alike.items():
        uses = {}
        for slot, kind in may:
            number = model.variable(min(count, changes), thickness // model.step)
            uses[number] = balance[slot][number] = total[number] = 1
            moved[slot][number] = thickness // model.step
            present.append((slot, thickness, {number: 1}, 0))
            if kind == Way.SUBSTITUTE:
                beyond[number] = 1
        if len(uses) > 1:
            model.sums.append((uses, 0, count))
    for index, slot in enumerate(problem.slots):
        for (thickness, must), count in Counter((p.thickness_nm, p.must_go) for p in slot.installed).items():
            number = model.variable(count if slot.swap else 0, -(thickness // model.step))
            balance[index][number] = -1
            moved[index][number] = -(thickness // model.step)
            present.append((index, thickness, {number: -1}, count))
            if must:
                model.sums.append(({number: 1}, count, count))
        if slot.extra and way == Way.EXTRA:
            number = model.variable(slot.extra, 0)
            balance[index][number], extras[number] = -1, 1
        model.sums.append((balance[index], slot.empty, slot.empty))
    model.sums.append((total, changes, changes))
    if way == Way.SUBSTITUTE:
        model.sums.append((beyond, 1, far))
    if way == Way.EXTRA:
        model.sums.append((extras, 1, far))
    if problem.splines:
        inside = {number: weight for slot in problem.splines.slots for number, weight in moved[slot].items()}
        model.sums.append((inside, -_FAR, problem.splines.most_nm // model.step))
    if problem.spread:
        _limit_spread(model, problem.spread, [one for one in present if one[0] in problem.spread.slots])
    if within:
        low, high, _ = delta_window(problem)
        every = {number: weight for some in moved for number, weight in some.items()}
        model.sums.append((every, -(-low // model.step), high // model.step))
    return model


_FAR = 1 << 40


def _limit_spread(model: Model, spread: Spread, present: list[tuple[int, int, dict[int, int], int]]) -> None:
    """In steps of the lattice; what is thinnest and thickest is only bounded, which is enough for the limit."""
    lengths = [thickness // model.step for _, thickness, *_ in present]
    if not lengths:
        return
    wide = max(lengths) - min(lengths)
    thin, thick = model.variable(max(lengths), 0), model.variable(max(lengths), 0)
    for (_, _, pieces, beside), length in zip(present, lengths, strict=True):
        there = model.variable(1, 0)
        most = beside + sum(model.upper[number] for number, factor in pieces.items() if factor > 0)
        left = {number: -factor for number, factor in pieces.items()}
        model.sums.append(({there: most, **left}, beside, _FAR))
        model.sums.append(({thin: 1, there: wide}, -_FAR, length + wide))
        model.sums.append(({thick: 1, there: -wide}, length - wide, _FAR))
    model.sums.append(({thick: 1, thin: -1}, -_FAR, spread.most_nm // model.step))


def by_cp_sat(
    problem: Problem, way: Way, changes: int, within: bool = False, limit: float = math.inf
) -> int | None:
    """The least distance in nm by OR-Tools CP-SAT; None where there is no such exchange.

    Raises :class:`TimeIsUp` after ``limit`` seconds.
    """
    model = model_build(problem, way, changes, within)
    cp = cp_model.CpModel()
    variables = [cp.new_int_var(0, upper, "") for upper in model.upper]
    for coefficients, low, high in model.sums:
        cp.add_linear_constraint(sum(f * variables[n] for n, f in coefficients.items()), low, high)
    whole, rest = divmod(model.target, model.step)
    off = sum(w * v for w, v in zip(model.weight, variables, strict=True)) - whole
    distance = cp.new_int_var(0, 1 << 40, "distance")
    cp.add(distance >= model.step * off - rest)
    cp.add(distance >= rest - model.step * off)
    cp.minimize(distance)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = limit
    status = solver.solve(cp)
    if status == cp_model.INFEASIBLE:
        return None
    if limit < math.inf and status in (cp_model.FEASIBLE, cp_model.UNKNOWN):
        raise TimeIsUp
    assert status == cp_model.OPTIMAL, solver.status_name(status)
    return model.distance([solver.value(variable) for variable in variables])


def by_highs(
    problem: Problem, way: Way, changes: int, within: bool = False, limit: float = math.inf
) -> int | None:
    """The least distance in nm by HiGHS; None where there is no such exchange.

    Raises :class:`TimeIsUp` after ``limit`` seconds.
    """
    model = model_build(problem, way, changes, within)
    count = len(model.upper)
    matrix = np.zeros((len(model.sums) + 2, count + 1))
    low, high = np.zeros(len(matrix)), np.full(len(matrix), np.inf)
    for line, (coefficients, least, most) in enumerate(model.sums):
        for number, factor in coefficients.items():
            matrix[line, number] = factor
        low[line], high[line] = -np.inf if least == -_FAR else least, np.inf if most == _FAR else most
    wanted = model.target / model.step
    matrix[-2, :count], matrix[-1, :count] = model.weight, [-weight for weight in model.weight]
    matrix[-2:, count] = 1.0
    low[-2:] = wanted, -wanted
    found = milp(
        np.array([0.0] * count + [1.0]),
        constraints=LinearConstraint(matrix, low, high),
        integrality=np.array([1] * count + [0]),
        bounds=Bounds(np.zeros(count + 1), np.array([*model.upper, np.inf], float)),
        options={"mip_rel_gap": 0.0, "time_limit": limit},
    )
    if found.status == 1 and limit < math.inf:
        raise TimeIsUp
    if found.status == 2:
        return None
    if found.status == 4:
        raise GaveUp(found.message)
    assert found.status == 0, found.message
    return model.distance([round(value) for value in found.x[:count]])
