"""The exchanges of several packs as one model of whole numbers, for OR-Tools CP-SAT.

The model knows how many plates of each kind that is alike go into each slot, and how many come out of it. Lengths are
counted in steps that all thicknesses share.

*Sure* is no straight line: with each variance goes another span of predictions. The model gets it as cuts. A cut at a
prediction says: whoever lies that far from the middle of the window, or farther, is sure only with a variance that is
sure there. Variances are rounded down, so the model never calls a sure exchange marginal; where it calls a marginal one
sure, the exchange is built, found out, and a cut added at its own prediction.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from plates.matching.alike import Sorted
from plates.matching.alone import Reach
from plates.matching.exchange import exchange_build
from plates.matching.moves import Exchanges
from plates.matching.probability import conformance, sure_span
from plates.matching.problem import Exchange, Problem, Way
from plates.matching.shortfall import delta_window

_FAR = 1 << 50
_FARTHER = 1_000  # one change of a further fit counts more than all plates from pack to pack
Moved = tuple[tuple[int, int], ...]  # (slot, row of the pool or of the installed)
_PARAMETERS = {"num_workers": 1, "random_seed": 1, "linearization_level": 2, "cp_model_probing_level": 0}
_FIRST_CUTS = 16  # on each side of a window, for exchanges of a few changes; all others come when they are needed
_FEW_CHANGES = 3


@dataclass
class _Pack:
    """Variables of one pack. ``delta``: in - out, in steps; ``variance`` in whole nm², at most the true one."""

    closed: Any
    sure: Any
    ins: dict[tuple[int, int], Any]  # of (slot, alike)
    outs: dict[int, Any]  # of stack
    extras: dict[int, Any]  # of slot
    changes: Any
    delta: Any
    distance: Any
    variance: Any


@dataclass(frozen=True)
class Solved:
    """``exchanges``: None where there are none, or time was too short. ``bound``: no solution has a better figure; None
    where time was too short to know.

    ``false_claims``: some exchange was taken for sure and is not. ``proven``: nothing better remains by the model.
    """

    exchanges: Exchanges | None
    bound: int | None
    false_claims: bool
    proven: bool


@dataclass(frozen=True)
class Bounds:
    """What is known of a pack beforehand; None: nothing. Each is to hold only where the pack is closed or sure."""

    closed: bool | None = None
    sure: bool | None = None
    least_changes: int = 0
    sure_changes: int = 0
    most_changes: int | None = None
    farthest_nm: int | None = None


class Joint:
    """The model of some packs, and its answers as exchanges. CP-SAT is loaded when one is made."""

    def __init__(self, plates: Sorted, reach: Mapping[int, Reach], bounds: Mapping[int, Bounds]) -> None:
        from ortools.sat.python import cp_model

        self.cp, self.model, self.plates = cp_model, cp_model.CpModel(), plates
        self.problems = {number: plates.packs.problems[number] for number in bounds}
        self.serving: dict[int, list[tuple[int, int, Way]]] = defaultdict(list)  # of pack: (slot, alike, way)
        lengths = [one.thickness_nm for one in plates.stacks if one.pack in bounds]
        for number, alike in enumerate(plates.alike):
            for pack, slot, way in alike.serves:
                if pack in bounds:
                    self.serving[pack].append((slot, number, way))
                    lengths.append(alike.thickness_nm)
        self.step = math.gcd(*lengths) or 1
        self.unit = math.gcd(self.step, *(delta_window(problem)[2] for problem in self.problems.values())) or 1
        self.packs = {number: self._pack(number, reach[number], one) for number, one in bounds.items()}
        self._share()
        packs = self.packs.values()
        self.figures = {
            "closed": sum(pack.closed for pack in packs),
            "sure": sum(pack.sure for pack in packs),
            "changes": sum(pack.changes for pack in packs),
            "distance_nm": self.unit * sum(pack.distance for pack in packs),
            "beyond": self._beyond(),
        }

    # --- one pack ---------------------------------------------------------------------------------------------------

    def _pack(self, number: int, reach: Reach, bounds: Bounds) -> _Pack:
        model, problem = self.model, self.problems[number]
        closed, sure = model.new_bool_var(""), model.new_bool_var("")
        model.add_implication(sure, closed)
        for literal, known in ((closed, bounds.closed), (sure, bounds.sure)):
            if known is not None:
                model.add(literal == known)
        most = reach.most if bounds.most_changes is None else min(reach.most, bounds.most_changes)
        low, high = _deltas(problem, bounds)
        can_be = {k: span for k in range(bounds.least_changes, most + 1) if (span := _both((low, high), reach.ends(k)))}
        useful = [_useful(reach, k, span) for k, span in can_be.items() if k]
        thickness = [one.thickness_nm for one in self.plates.alike]
        ins = {
            (slot, one): model.new_int_var(0, min(len(self.plates.alike[one].rows), most), "")
            for slot, one, _ in self.serving[number]
            if any(thin <= thickness[one] <= thick for thin, thick in useful)
        }
        outs, extras = {}, {}
        for stack, one in enumerate(self.plates.stacks):
            if one.pack == number:
                outs[stack] = model.new_int_var(0, len(one.indexes), "")
                if one.must_go:
                    model.add(outs[stack] == len(one.indexes) * closed)
        for index, slot in enumerate(problem.slots):
            if any(plate.must_go for plate in slot.installed) and not slot.swap:
                model.add(closed == 0)
            if slot.extra:
                extras[index] = model.new_int_var(0, slot.extra, "")
            into = sum(variable for (place, _), variable in ins.items() if place == index)
            out_of = sum(outs[stack] for stack in outs if self.plates.stacks[stack].slot == index)
            model.add(into == out_of + slot.empty * closed + extras.get(index, 0))
        changes = model.new_int_var(0, most, "")
        model.add(changes == sum(ins.values()))
        delta = model.new_int_var(
            min(0, *(-(-first // self.step) for first, _ in can_be.values()), 0),
            max(0, *(last // self.step for _, last in can_be.values()), 0),
            "",
        )
        pack = _Pack(closed, sure, ins, outs, extras, changes, delta, None, None)
        model.add(delta == self._grown(pack))
        self._by_changes(pack, reach, can_be, bounds)
        self._distance(problem, pack)
        self._limits(problem, pack)
        self._variance(problem, pack, most)
        return pack

    def _by_changes(self, pack: _Pack, reach: Reach, can_be: Mapping[int, tuple[int, int]], bounds: Bounds) -> None:
        """With each number of changes goes a span of predictions, and a narrower one of sure ones."""
        model, chosen = self.model, []
        for k, (first, last) in can_be.items():
            this = model.new_bool_var("")
            chosen.append((k, this))
            model.add(self.step * pack.delta >= first).only_enforce_if(this)
            model.add(self.step * pack.delta <= last).only_enforce_if(this)
            sure = _both(reach.sure_deltas(k), (first, last)) if k >= bounds.sure_changes else None
            if sure is None:
                model.add_bool_or(~this, ~pack.sure)
            elif sure != (first, last):
                model.add(self.step * pack.delta >= sure[0]).only_enforce_if([this, pack.sure])
                model.add(self.step * pack.delta <= sure[1]).only_enforce_if([this, pack.sure])
        model.add(sum(this for _, this in chosen) == pack.closed)
        model.add(pack.changes == sum(k * this for k, this in chosen))

    def _grown(self, pack: _Pack, slots: tuple[int, ...] | None = None) -> Any:
        """In - out of these slots, in steps."""
        alike, stacks = self.plates.alike, self.plates.stacks
        return sum(
            alike[one].thickness_nm // self.step * variable
            for (slot, one), variable in pack.ins.items()
            if slots is None or slot in slots
        ) - sum(
            stacks[stack].thickness_nm // self.step * variable
            for stack, variable in pack.outs.items()
            if slots is None or stacks[stack].slot in slots
        )

    def _distance(self, problem: Problem, pack: _Pack) -> None:
        model, (low, high, target) = self.model, delta_window(problem)
        step, off = self.step // self.unit, target // self.unit
        pack.distance = model.new_int_var(0, max(abs(low - target), abs(high - target)) // self.unit + 1, "")
        model.add(pack.distance >= step * pack.delta - off).only_enforce_if(pack.closed)
        model.add(pack.distance >= off - step * pack.delta).only_enforce_if(pack.closed)

    def _limits(self, problem: Problem, pack: _Pack) -> None:
        """How much some slots may grow, and how unlike the plates of some may be in the end."""
        model, alike, stacks = self.model, self.plates.alike, self.plates.stacks
        if problem.room:
            most = problem.room.most_nm // self.step
            model.add(self._grown(pack, problem.room.slots) <= most).only_enforce_if(pack.closed)
        if problem.spread is None:
            return
        slots = problem.spread.slots
        held = [  # (thickness, literal: there is one in the end)
            (alike[one].thickness_nm, self._some(variable, 0))
            for (slot, one), variable in pack.ins.items()
            if slot in slots
        ]
        held += [
            (stacks[stack].thickness_nm, self._some(variable, len(stacks[stack].indexes)))
            for stack, variable in pack.outs.items()
            if stacks[stack].slot in slots
        ]
        held += [
            (plate.thickness_nm, pack.closed)
            for slot in slots
            if not problem.slots[slot].swap
            for plate in problem.slots[slot].installed
        ]
        if not held:
            return
        thin, thick = min(nm for nm, _ in held), max(nm for nm, _ in held)
        thinnest = model.new_int_var(thin, thick, "")
        for nm, there in held:
            model.add(thinnest <= nm).only_enforce_if([there, pack.closed])
            model.add(thinnest >= nm - problem.spread.most_nm).only_enforce_if([there, pack.closed])

    def _some(self, variable: Any, none: int) -> Any:
        """A literal that must be true where the variable is not ``none``."""
        there = self.model.new_bool_var("")
        self.model.add(variable == none).only_enforce_if(~there)
        return there

    # --- sure -------------------------------------------------------------------------------------------------------

    def _variance(self, problem: Problem, pack: _Pack, most: int) -> None:
        model, move = self.model, problem.u_move_nm**2
        terms = [
            (math.floor(self.plates.alike[one].u_nm ** 2 + move), variable) for (_, one), variable in pack.ins.items()
        ]
        terms += [
            (math.floor(self.plates.stacks[stack].u_nm ** 2 + move), variable) for stack, variable in pack.outs.items()
        ]
        likely = sum(sorted((factor for factor, _ in terms), reverse=True)[: 2 * _FEW_CHANGES])
        terms += [(math.floor(u**2), square) for u, square in self._shared(problem, pack, most)]
        terms = [(factor, variable) for factor, variable in terms if factor]
        base = math.floor(problem.u_reading_nm**2)
        pack.variance = model.new_int_var(base, base + sum(factor for factor, _ in terms) * (2 * most + 1) ** 2, "")
        model.add(pack.variance == base + sum(factor * variable for factor, variable in terms))
        for off in self._doubtful(problem, base, base + likely):
            self._cut(problem, pack, off, _most_variance(problem, off))

    def _doubtful(self, problem: Problem, least: int, most: int) -> list[int]:
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
            first, last = sorted((worst_end // self.step, best_end // self.step + sign))
            every = max(1, (last - first) // _FIRST_CUTS)
            found |= {abs(2 * self.step * delta - low - high) for delta in (*range(first, last, every), last)}
        return sorted(found)

    def _shared(self, problem: Problem, pack: _Pack, most: int) -> list[tuple[float, Any]]:
        """Of each gauge the u that its readings share, and how often it stands in the prediction, squared."""
        model, found = self.model, []
        sign = 1 if problem.measures == "gap" else -1
        for gauge, u in enumerate(problem.u_gauge_nm):
            read = [
                *(-sign * v for (_, one), v in pack.ins.items() if self.plates.alike[one].gauge == gauge),
                *(sign * v for stack, v in pack.outs.items() if self.plates.stacks[stack].gauge == gauge),
            ]
            own = problem.read_net[gauge] if problem.read_net else 0
            if not u or not (read or own):
                continue
            net = model.new_int_var(own - most, own + most, "")
            square = model.new_int_var(0, (most + abs(own)) ** 2, "")
            model.add(net == own + sum(read))
            model.add_multiplication_equality(square, [net, net])
            found.append((u, square))
        return found

    def _cut(self, problem: Problem, pack: _Pack, twice_off_nm: int, most: int) -> None:
        """Sure so far from the middle of the window, or farther, only with a variance of at most ``most``.

        ``twice_off_nm``: twice as far, since the middle may lie between two nanometres.
        """
        model = self.model
        low, high, _ = delta_window(problem)
        near = [pack.sure]
        if most >= 0:
            certain = model.new_bool_var("")
            model.add(pack.variance <= most).only_enforce_if(certain)
            near.append(~certain)
        model.add(2 * self.step * pack.delta > low + high - twice_off_nm).only_enforce_if(near)
        model.add(2 * self.step * pack.delta < low + high + twice_off_nm).only_enforce_if(near)

    # --- all packs --------------------------------------------------------------------------------------------------

    def _share(self) -> None:
        """A plate goes into one pack, one out of a pack only when it has come out."""
        taken: dict[int, list[tuple[int, Any]]] = defaultdict(list)
        for number, pack in self.packs.items():
            for (_, one), variable in pack.ins.items():
                taken[one].append((number, variable))
        for one, variables in taken.items():
            alike = self.plates.alike[one]
            if alike.stack is not None:
                source = self.packs[self.plates.stacks[alike.stack].pack]
                self.model.add(sum(variable for _, variable in variables) <= source.outs[alike.stack])
            elif len(variables) > 1:
                self.model.add(sum(variable for _, variable in variables) <= len(alike.rows))

    def _beyond(self) -> Any:
        """The sum of :func:`beyond`."""
        far = []
        for number, pack in self.packs.items():
            for slot, one, way in self.serving[number]:
                weight = _FARTHER * way + (self.plates.alike[one].stack is not None)
                if weight and (slot, one) in pack.ins:
                    far.append(weight * pack.ins[slot, one])
            far += [_FARTHER * Way.EXTRA * extra for extra in pack.extras.values()]
        return sum(far)

    # --- answers ----------------------------------------------------------------------------------------------------

    def hint(self, exchanges: Exchanges) -> None:
        """Where the search starts."""
        ins, outs = self.plates.counted(exchanges)
        self.model.clear_hints()
        for number, pack in self.packs.items():
            exchange = exchanges[number]
            self.model.add_hint(pack.closed, exchange is not None)
            self.model.add_hint(pack.sure, exchange is not None and exchange.sure)
            for (slot, one), variable in pack.ins.items():
                self.model.add_hint(variable, ins[number, slot, one])
            for stack, variable in pack.outs.items():
                self.model.add_hint(variable, outs[stack])

    def solved(self, figure: str, most: bool, parameters: Mapping[str, Any]) -> Solved:
        """The best by one figure that CP-SAT finds: the ``most`` of it, or the least.

        What the solution calls sure and is not is cut off, so that solving again tells more.
        """
        self.model.clear_objective()
        (self.model.maximize if most else self.model.minimize)(self.figures[figure])
        solver = self.cp.CpSolver()
        for name, value in {**_PARAMETERS, **parameters}.items():
            setattr(solver.parameters, name, value)
        status = solver.solve(self.model)
        if status not in (self.cp.OPTIMAL, self.cp.FEASIBLE):
            return Solved(None, None, False, status == self.cp.INFEASIBLE)
        exchanges, false_claims = self._exchanges(solver.value)
        return Solved(exchanges, round(solver.best_objective_bound), false_claims, status == self.cp.OPTIMAL)

    def _exchanges(self, value: Callable[[Any], int]) -> tuple[Exchanges, bool]:
        ins = Counter({(n, *place): value(v) for n, pack in self.packs.items() for place, v in pack.ins.items()})
        outs = Counter({stack: value(v) for pack in self.packs.values() for stack, v in pack.outs.items()})
        handed_out = self.plates.handed_out(ins, outs)
        found: dict[int, Exchange | None] = {}
        false_claims = False
        for number, pack in self.packs.items():
            problem, moved = self.problems[number], handed_out[number]
            exchange = _built(problem, *moved) if value(pack.closed) else None
            found[number] = exchange
            if exchange and value(pack.sure) and not exchange.sure:
                false_claims = True
                twice_off = abs(2 * exchange.predicted_nm - problem.low_nm - problem.high_nm)
                most = min(_most_variance(problem, twice_off), value(pack.variance) - 1)
                self._cut(problem, pack, twice_off, most)
        return found, false_claims


def _both(one: tuple[int, int] | None, other: tuple[int, int]) -> tuple[int, int] | None:
    """Where two spans meet."""
    if one is None or max(one[0], other[0]) > min(one[1], other[1]):
        return None
    return max(one[0], other[0]), min(one[1], other[1])


def _deltas(problem: Problem, bounds: Bounds) -> tuple[int, int]:
    """in - out of what may close the pack."""
    low, high, target = delta_window(problem)
    if problem.most_delta_nm is not None:
        high = min(high, problem.most_delta_nm)
    if bounds.farthest_nm is not None:
        low, high = max(low, target - bounds.farthest_nm), min(high, target + bounds.farthest_nm)
    return low, high


def _useful(reach: Reach, changes: int, span: tuple[int, int]) -> tuple[int, int]:
    """How thin and how thick a plate may be that goes in with so many changes and ends in the span."""
    thin, thick = reach.ends(changes, given=1)
    return span[0] - thick, span[1] - thin


def _farther(problem: Problem, ins: Moved, outs: Moved) -> tuple[int, int]:
    """How many plates of further fits go in, and how many more than the spec counts."""
    slots = range(len(problem.slots))
    ordinary = [set(slot.ordinary.tolist()) for slot in problem.slots]
    into, out_of = Counter(slot for slot, _ in ins), Counter(slot for slot, _ in outs)
    extra = sum(into[slot] - out_of[slot] - problem.slots[slot].empty for slot in slots)
    return sum(row not in ordinary[slot] for slot, row in ins), extra


def beyond(problem: Problem, exchange: Exchange, shelf: int) -> int:
    """How far an exchange goes from the book, change by change, and then how many plates of other packs it takes."""
    further, extra = _farther(problem, exchange.ins, exchange.outs)
    far = _FARTHER * (Way.SUBSTITUTE * further + Way.EXTRA * extra)
    return far + sum(row >= shelf for _, row in exchange.ins)


def _built(problem: Problem, ins: Moved, outs: Moved) -> Exchange:
    further, extra = _farther(problem, ins, outs)
    way = Way.EXTRA if extra else Way.SUBSTITUTE if further else Way.ORDINARY
    return exchange_build(problem, way, ins, outs)


def _most_variance(problem: Problem, twice_off_nm: int) -> int:
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
