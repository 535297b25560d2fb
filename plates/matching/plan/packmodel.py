"""One pack in the joint model: how many plates of each kind that is alike go in and come out, and what comes of it.

Lengths are counted in steps that all thicknesses share. What is sure comes as cuts (see
:mod:`plates.matching.plan.cuts`).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from plates.matching.plan.alike import Sorted
from plates.matching.plan.alone import Reach
from plates.matching.plan.cuts import doubtful, most_variance
from plates.matching.problem import Problem
from plates.matching.shortfall import delta_window

_FEW_CHANGES = 3


class Lattice(NamedTuple):
    """All thicknesses are whole ``step_nm``, all distances to a target whole ``unit_nm``."""

    step_nm: int
    unit_nm: int


@dataclass(frozen=True)
class Bounds:
    """What is known of a pack beforehand; None: nothing. Each is to hold only where the pack is closed or sure."""

    closed: bool | None = None
    sure: bool | None = None
    least_changes: int = 0
    sure_changes: int = 0
    most_changes: int | None = None
    farthest_nm: int | None = None


class PackModel:
    """The variables of one pack and what holds between them.

    ``closed``, ``sure``; ``ins`` of (slot, alike); ``outs`` of stack; ``extras`` of slot; ``changes``; ``delta``:
    in - out, in steps; ``distance`` in units; ``variance`` in whole nm², at most the true one.
    """

    def __init__(self, model: Any, plates: Sorted, number: int, lattice: Lattice, reach: Reach, bounds: Bounds) -> None:
        self.model, self.plates, self.number = model, plates, number
        self.problem = problem = plates.packs.problems[number]
        self.step, self.unit = lattice
        self.closed, self.sure = model.new_bool_var(""), model.new_bool_var("")
        model.add_implication(self.sure, self.closed)
        for literal, known in ((self.closed, bounds.closed), (self.sure, bounds.sure)):
            if known is not None:
                model.add(literal == known)
        self.most = reach.most if bounds.most_changes is None else min(reach.most, bounds.most_changes)
        within = _deltas(problem, bounds)
        ks = range(bounds.least_changes, self.most + 1)
        can_be = {k: span for k in ks if (span := _both(within, reach.ends(k)))}
        self.ins = self._into([_useful(reach, k, span) for k, span in can_be.items() if k])
        self.outs: dict[int, Any] = {}
        self.extras: dict[int, Any] = {}
        self._balance()
        self.changes = model.new_int_var(0, self.most, "")
        model.add(self.changes == sum(self.ins.values()))
        self.delta = model.new_int_var(
            min((-(-first // self.step) for first, _ in [*can_be.values(), (0, 0)])),
            max((last // self.step for _, last in [*can_be.values(), (0, 0)])),
            "",
        )
        model.add(self.delta == self._grown())
        self._by_changes(reach, can_be, bounds)
        self._limit_distance()
        self._limits()
        self._sum_variance()

    def _into(self, useful: Sequence[tuple[int, int]]) -> dict[tuple[int, int], Any]:
        """How many of (slot, alike) go in, for those that are thin and thick enough to be of use."""
        ins = {}
        for one, alike in enumerate(self.plates.alike):
            if any(thin <= alike.thickness_nm <= thick for thin, thick in useful):
                for pack, slot, _ in alike.serves:
                    if pack == self.number:
                        ins[slot, one] = self.model.new_int_var(0, min(len(alike.rows), self.most), "")
        return ins

    def _balance(self) -> None:
        """As many go into each slot as come out, fill empty places, or are extra; nothing without an exchange."""
        model, closed = self.model, self.closed
        for stack, one in enumerate(self.plates.stacks):
            if one.pack == self.number:
                self.outs[stack] = model.new_int_var(0, len(one.indexes), "")
                if one.must_go:
                    model.add(self.outs[stack] == len(one.indexes) * closed)
        for index, slot in enumerate(self.problem.slots):
            if any(plate.must_go for plate in slot.installed) and not slot.swap:
                model.add(closed == 0)
            if slot.extra:
                self.extras[index] = model.new_int_var(0, slot.extra, "")
            into = sum(variable for (place, _), variable in self.ins.items() if place == index)
            out_of = sum(outs for stack, outs in self.outs.items() if self.plates.stacks[stack].slot == index)
            model.add(into == out_of + slot.empty * closed + self.extras.get(index, 0))

    def _by_changes(self, reach: Reach, can_be: Mapping[int, tuple[int, int]], bounds: Bounds) -> None:
        """With each number of changes goes a span of predictions, and a narrower one of sure ones."""
        model, chosen = self.model, []
        for k, (first, last) in can_be.items():
            this = model.new_bool_var("")
            chosen.append((k, this))
            model.add(self.step * self.delta >= first).only_enforce_if(this)
            model.add(self.step * self.delta <= last).only_enforce_if(this)
            sure = _both(reach.sure_deltas(k), (first, last)) if k >= bounds.sure_changes else None
            if sure is None:
                model.add_bool_or(~this, ~self.sure)
            elif sure != (first, last):
                model.add(self.step * self.delta >= sure[0]).only_enforce_if([this, self.sure])
                model.add(self.step * self.delta <= sure[1]).only_enforce_if([this, self.sure])
        model.add(sum(this for _, this in chosen) == self.closed)
        model.add(self.changes == sum(k * this for k, this in chosen))

    def _grown(self, slots: tuple[int, ...] | None = None) -> Any:
        """In - out of these slots, in steps."""
        alike, stacks = self.plates.alike, self.plates.stacks
        return sum(
            alike[one].thickness_nm // self.step * variable
            for (slot, one), variable in self.ins.items()
            if slots is None or slot in slots
        ) - sum(
            stacks[stack].thickness_nm // self.step * variable
            for stack, variable in self.outs.items()
            if slots is None or stacks[stack].slot in slots
        )

    def _limit_distance(self) -> None:
        model, (low, high, target) = self.model, delta_window(self.problem)
        step, off = self.step // self.unit, target // self.unit
        self.distance = model.new_int_var(0, max(abs(low - target), abs(high - target)) // self.unit + 1, "")
        model.add(self.distance >= step * self.delta - off).only_enforce_if(self.closed)
        model.add(self.distance >= off - step * self.delta).only_enforce_if(self.closed)

    def _limits(self) -> None:
        """How much some slots may grow, and how unlike the plates of some may be in the end."""
        model, alike, stacks = self.model, self.plates.alike, self.plates.stacks
        if self.problem.splines:
            most = self.problem.splines.most_nm // self.step
            model.add(self._grown(self.problem.splines.slots) <= most).only_enforce_if(self.closed)
        if self.problem.spread is None:
            return
        slots = self.problem.spread.slots
        held = [  # (thickness, literal: there is one in the end)
            (alike[one].thickness_nm, self._some(variable, 0))
            for (slot, one), variable in self.ins.items()
            if slot in slots
        ]
        held += [
            (stacks[stack].thickness_nm, self._some(variable, len(stacks[stack].indexes)))
            for stack, variable in self.outs.items()
            if stacks[stack].slot in slots
        ]
        held += [
            (plate.thickness_nm, self.closed)
            for slot in slots
            if not self.problem.slots[slot].swap
            for plate in self.problem.slots[slot].installed
        ]
        if not held:
            return
        thin, thick = min(nm for nm, _ in held), max(nm for nm, _ in held)
        thinnest = model.new_int_var(thin, thick, "")
        for nm, there in held:
            model.add(thinnest <= nm).only_enforce_if([there, self.closed])
            model.add(thinnest >= nm - self.problem.spread.most_nm).only_enforce_if([there, self.closed])

    def _some(self, variable: Any, none: int) -> Any:
        """A literal that must be true where the variable is not ``none``."""
        there = self.model.new_bool_var("")
        self.model.add(variable == none).only_enforce_if(~there)
        return there

    # --- sure -------------------------------------------------------------------------------------------------------

    def _sum_variance(self) -> None:
        model, move = self.model, self.problem.u_move_nm**2
        terms = [
            (math.floor(self.plates.alike[one].u_nm ** 2 + move), variable) for (_, one), variable in self.ins.items()
        ]
        terms += [
            (math.floor(self.plates.stacks[stack].u_nm ** 2 + move), variable) for stack, variable in self.outs.items()
        ]
        likely = sum(sorted((factor for factor, _ in terms), reverse=True)[: 2 * _FEW_CHANGES])
        terms += [(math.floor(u**2), square) for u, square in self._shared()]
        terms = [(factor, variable) for factor, variable in terms if factor]
        base = math.floor(self.problem.u_reading_nm**2)
        often = 2 * self.most + 1 + max((abs(times) for times in self.problem.read_net), default=0)
        self.variance = model.new_int_var(
            base, base + sum(factor for factor, _ in terms) * often**2, ""
        )
        model.add(self.variance == base + sum(factor * variable for factor, variable in terms))
        for off in doubtful(self.problem, self.step, base, base + likely):
            self.cut(off, most_variance(self.problem, off))

    def _shared(self) -> list[tuple[float, Any]]:
        """Of each gauge the u that its readings share, and how often it stands in the prediction, squared."""
        model, found = self.model, []
        sign = 1 if self.problem.measures == "gap" else -1
        for gauge, u in enumerate(self.problem.u_gauge_nm):
            read = [
                *(-sign * v for (_, one), v in self.ins.items() if self.plates.alike[one].gauge == gauge),
                *(sign * v for stack, v in self.outs.items() if self.plates.stacks[stack].gauge == gauge),
            ]
            own = self.problem.read_net[gauge] if self.problem.read_net else 0
            if not u or not (read or own):
                continue
            net = model.new_int_var(own - self.most, own + self.most, "")
            square = model.new_int_var(0, (self.most + abs(own)) ** 2, "")
            model.add(net == own + sum(read))
            model.add_multiplication_equality(square, [net, net])
            found.append((u, square))
        return found

    def cut(self, twice_off_nm: int, most: int) -> None:
        """Sure so far from the middle of the window, or farther, only with a variance of at most ``most``.

        ``twice_off_nm``: twice as far, since the middle may lie between two nanometres.
        """
        model = self.model
        low, high, _ = delta_window(self.problem)
        near = [self.sure]
        if most >= 0:
            certain = model.new_bool_var("")
            model.add(self.variance <= most).only_enforce_if(certain)
            near.append(~certain)
        model.add(2 * self.step * self.delta > low + high - twice_off_nm).only_enforce_if(near)
        model.add(2 * self.step * self.delta < low + high + twice_off_nm).only_enforce_if(near)


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
