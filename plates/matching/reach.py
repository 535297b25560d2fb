"""Which sums can be reached at all: each state of a chain holds its cells as the bits of an integer."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import accumulate

from plates.matching.steps import Chain, Component, State, Step, in_one_group

Table = dict[State, int]


def start(component: Component, table: Table) -> Table:
    """The table with which a component begins: what the components before it have left."""
    zero = (0,) * len(component.groups)
    done = [(state[:2], cells) for state, cells in table.items() if not any(state[2])]
    return {(flag, changes, zero): cells for (flag, changes), cells in done}


def advance(table: Table, step: Step, opens: bool, most: int) -> Table:
    """The table after one step, taken in each allowed manner, or left where it is not forced."""
    after = {} if step.forced else dict(table)
    for (flag, changes, balance), cells in table.items():
        if opens and changes == most:
            continue
        for group, raises in step.choices:
            if opens or balance[group]:
                moved = balance[group] + (1 if opens else -1)
                state = (flag or raises, changes + opens, (*balance[:group], moved, *balance[group + 1 :]))
                after[state] = after.get(state, 0) | cells << step.shift
    return after


def finals(table: Table, flagged: bool) -> dict[int, int]:
    """For each number of changes ≥ 1 the set of cells of the finished exchanges."""
    found: dict[int, int] = {}
    for (flag, changes, balance), cells in table.items():
        if flag == flagged and changes and not any(balance):
            found[changes] = found.get(changes, 0) | cells
    return found


def reach(chain: Chain, most: int) -> dict[int, int]:
    """For each number of changes 1 … ``most`` the cells that some exchange of the very way reaches.

    Plates open and places close: as long as only one component runs, the balance then is the number of changes,
    which keeps the states few; and of one thickness no more plates are tried than there are changes.
    """
    table: Table = {(False, 0, ()): 1}
    for component in chain.components:
        table = start(component, table)
        if len(component.groups) == 1:
            table = _one_group(component, table, most)
            continue
        for choices, shifts, counts in component.stock:
            for shift, count in zip(shifts.tolist(), counts.tolist(), strict=True):
                for _ in range(min(count, most)):
                    table = advance(table, Step(shift, choices), True, most)
        for step in component.places:
            table = advance(table, step, False, most)
    return finals(table, chain.flagged)


Rows = dict[tuple[bool, int], list[int]]  # (flag, changes): the cells by balance


def _one_group(component: Component, table: Table, most: int) -> Table:
    """A whole component of one group, as :func:`advance` does it but without its bookkeeping."""
    rows: Rows = {}
    can_raise = any(choices[0][1] for choices, *_ in component.stock)
    for (flag, changes, _), cells in table.items():
        for raised in {flag, flag or can_raise}:
            rows.setdefault((raised, changes), [0] * (most - changes + 1))
        rows[flag, changes][0] |= cells
    for choices, shifts, counts in component.stock:
        raises = choices[0][1]
        for shift, count in zip(shifts.tolist(), counts.tolist(), strict=True):
            for _ in range(min(count, most)):
                _open(rows, shift, raises)
    waiting: Rows = {}
    for (flag, changes), row in rows.items():
        for balance, cells in enumerate(row):
            if cells:
                waiting.setdefault((flag, changes + balance), [0] * (most + 1))[balance] |= cells
    for step in component.places:
        _close(waiting, step, most)
    return {(flag, changes, (0,)): row[0] for (flag, changes), row in waiting.items() if row[0]}


def _open(rows: Rows, shift: int, raises: bool) -> None:
    if raises:  # with the flag down the plate cannot be taken: what takes it moves on to the raised row
        for (flag, changes), row in rows.items():
            if flag:
                below = rows.get((False, changes))
                for n in range(len(row) - 1, 0, -1):
                    before = row[n - 1] | below[n - 1] if below else row[n - 1]
                    if before:
                        row[n] |= before << shift
        return
    for row in rows.values():
        for n in range(len(row) - 1, 0, -1):
            if row[n - 1]:
                row[n] |= row[n - 1] << shift


def _close(rows: Rows, step: Step, most: int) -> None:
    for flag, changes in list(rows):
        row = rows[flag, changes]
        if not step.choices[0][1]:
            sources = [row]
        elif (False, changes) in rows and (flag or (True, changes) not in rows):
            row, sources = rows.setdefault((True, changes), [0] * (most + 1)), [row, rows[False, changes]]
        elif flag:
            sources = [row]
        else:
            continue  # an extra place: done together with the row whose flag is up
        for b in range(most):
            moved = 0
            for source in sources:
                moved |= source[b + 1]
            row[b] = moved << step.shift if step.forced else row[b] | moved << step.shift
        if step.forced:
            row[most] = 0


def extremes(chain: Chain, most: int) -> dict[int, tuple[int, int]]:
    """For each number of changes 1 … ``most`` the least and the largest cell that is reached."""
    extreme = _of_one_group if in_one_group(chain) else _extreme
    low, high = extreme(chain, most, -1), extreme(chain, most, 1)
    return {changes: (-low[changes], high[changes]) for changes in low}


@dataclass(frozen=True)
class _Offer:
    """Of a component of one group the shifts, times a sign, that may be taken, the largest first, and that must be."""

    ins: list[int]
    outs: list[int]
    must_in: list[int]
    must_out: list[int]

    @classmethod
    def of(cls, component: Component, most: int, sign: int) -> "_Offer":
        ins: list[int] = []
        for _, shifts, counts in component.stock:
            few = slice(-most, None) if sign > 0 else slice(most)
            ins += (sign * shifts[few].repeat(counts[few].clip(max=most))).tolist()
        outs = [sign * step.shift for step in component.places if not step.forced]
        must = [sign * step.shift for step in component.places if step.forced]
        return cls(sorted(ins, reverse=True)[:most], sorted(outs, reverse=True), [], must)

    def raised(self, component: Component, sign: int) -> "Iterator[_Offer]":
        """The same with the best of what raises the flag taken for certain."""
        for choices, shifts, _ in component.stock:
            if choices[0][1]:
                best = max(sign * int(shifts[0]), sign * int(shifts[-1]))
                yield replace(self, ins=_without(self.ins, best), must_in=[best])
        for step in component.places:
            if step.choices[0][1]:  # extra places are all alike
                best = sign * step.shift
                yield replace(self, outs=_without(self.outs, best), must_out=[*self.must_out, best])
                break

    def gains(self) -> tuple[int, int, list[int]] | None:
        """The fewest changes, what they are worth, and what each further one adds; None where there is no way."""
        first = max(len(self.must_in), len(self.must_out))
        more_in, more_out = first - len(self.must_in), first - len(self.must_out)
        if len(self.ins) < more_in or len(self.outs) < more_out:
            return None
        worth = sum(self.must_in + self.must_out + self.ins[:more_in] + self.outs[:more_out])
        return first, worth, [i + out for i, out in zip(self.ins[more_in:], self.outs[more_out:], strict=False)]


def _without(shifts: list[int], one: int) -> list[int]:
    at = shifts.index(one) if one in shifts else len(shifts)
    return shifts[:at] + shifts[at + 1 :]


def _of_one_group(chain: Chain, most: int, sign: int) -> dict[int, int]:
    """As :func:`_extreme` where no groups share plates: each change more gains less than the one before."""
    offers = [_Offer.of(component, most, sign) for component in chain.components]
    if not chain.flagged:
        return _best(offers, most)
    found: dict[int, int] = {}
    for number, component in enumerate(chain.components):
        for raised in offers[number].raised(component, sign):
            for changes, best in _best([*offers[:number], raised, *offers[number + 1 :]], most).items():
                found[changes] = max(best, found.get(changes, best))
    return found


def _best(offers: list[_Offer], most: int) -> dict[int, int]:
    first, worth, more = 0, 0, []
    for offer in offers:
        gains = offer.gains()
        if gains is None:
            return {}
        first, worth = first + gains[0], worth + gains[1]
        more += gains[2]
    more.sort(reverse=True)
    sums = accumulate(more[: max(0, most - first)], initial=worth)
    return {changes: total for changes, total in enumerate(sums, first) if 1 <= changes <= most}


def _extreme(chain: Chain, most: int, sign: int) -> dict[int, int]:
    """The largest sum of ``sign`` times the shifts, for each number of changes."""
    table: dict[State, int] = {(False, 0, ()): 0}
    for component in chain.components:
        zero = (0,) * len(component.groups)
        table = {(*state[:2], zero): best for state, best in table.items()}
        capacity = [sum(step.choices[0][0] == group for step in component.places) for group in range(len(zero))]
        for choices, shifts, counts in component.stock:
            thick = sorted(zip(shifts.tolist(), counts.tolist(), strict=True), key=lambda pair: sign * pair[0])
            left = min(most, sum(capacity))
            while thick and left > 0:
                shift, count = thick.pop()
                for _ in range(min(count, left)):
                    table = _extended(table, Step(shift, choices), True, most, sign, capacity)
                left -= count
        for step in component.places:
            table = _extended(table, step, False, most, sign, capacity)
        table = {state: best for state, best in table.items() if not any(state[2])}
    return {state[1]: best for state, best in table.items() if state[0] == chain.flagged and state[1]}


def _extended(
    table: dict[State, int], step: Step, opens: bool, most: int, sign: int, capacity: list[int]
) -> dict[State, int]:
    """As :func:`advance`, for one number instead of a set of cells; no more plates than there are places."""
    after = {} if step.forced else dict(table)
    for (flag, changes, balance), best in table.items():
        if opens and changes == most:
            continue
        for group, raises in step.choices:
            if balance[group] < capacity[group] if opens else balance[group]:
                moved = balance[group] + (1 if opens else -1)
                state = (flag or raises, changes + opens, (*balance[:group], moved, *balance[group + 1 :]))
                total = best + sign * step.shift
                after[state] = max(total, after.get(state, total))
    return after


def nearest(cells: int, wanted: int) -> tuple[int | None, int | None]:
    """The nearest cells of the set at or below ``wanted`` and at or above it."""
    if wanted < 0:
        return None, _lowest(cells)
    below = cells & ((1 << wanted + 1) - 1)
    above = cells >> wanted
    return below.bit_length() - 1 if below else None, _lowest(above, wanted) if above else None


def _lowest(cells: int, offset: int = 0) -> int | None:
    return offset + (cells & -cells).bit_length() - 1 if cells else None
