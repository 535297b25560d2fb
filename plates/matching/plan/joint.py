"""The exchanges of several packs as one model of whole numbers, for OR-Tools CP-SAT."""

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from plates.matching.exchange import exchange_build
from plates.matching.plan.alike import Sorted
from plates.matching.plan.alone import Reach
from plates.matching.plan.cuts import most_variance
from plates.matching.plan.moves import Exchanges
from plates.matching.plan.packmodel import Bounds, Lattice, PackModel
from plates.matching.problem import Exchange, Problem, Way
from plates.matching.shortfall import delta_window

_PARAMETERS = {"num_workers": 1, "random_seed": 1, "linearization_level": 2, "cp_model_probing_level": 0}
_FARTHER = 1_000  # one change of a further fit counts more than all plates from pack to pack
Moved = tuple[tuple[int, int], ...]  # (slot, row of the pool or of the installed)


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


class Joint:
    """The model of some packs, and its answers as exchanges. CP-SAT is loaded when one is made."""

    def __init__(self, plates: Sorted, reach: Mapping[int, Reach], bounds: Mapping[int, Bounds]) -> None:
        from ortools.sat.python import cp_model

        self.cp, self.model, self.plates = cp_model, cp_model.CpModel(), plates
        problems = [plates.packs.problems[number] for number in bounds]
        lengths = [one.thickness_nm for one in plates.stacks if one.pack in bounds]
        lengths += [one.thickness_nm for one in plates.alike if any(pack in bounds for pack, *_ in one.serves)]
        step_nm = math.gcd(*lengths) or 1
        self.lattice = Lattice(step_nm, math.gcd(step_nm, *(delta_window(problem)[2] for problem in problems)) or 1)
        self.packs = {
            number: PackModel(self.model, plates, number, self.lattice, reach[number], one)
            for number, one in bounds.items()
        }
        self._share()
        packs = self.packs.values()
        self.figures = {
            "closed": sum(pack.closed for pack in packs),
            "sure": sum(pack.sure for pack in packs),
            "changes": sum(pack.changes for pack in packs),
            "distance_nm": self.lattice.unit_nm * sum(pack.distance for pack in packs),
            "beyond": self._beyond(),
        }

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
            for slot, one in pack.ins:
                alike = self.plates.alike[one]
                way = next(way for *place, way in alike.serves if place == [number, slot])
                if weight := _FARTHER * way + (alike.stack is not None):
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
            problem, moved = pack.problem, handed_out[number]
            exchange = _built(problem, *moved) if value(pack.closed) else None
            found[number] = exchange
            if exchange and value(pack.sure) and not exchange.sure:
                false_claims = True
                twice_off = abs(2 * exchange.predicted_nm - problem.low_nm - problem.high_nm)
                pack.cut(twice_off, min(most_variance(problem, twice_off), value(pack.variance) - 1))
        return found, false_claims


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
