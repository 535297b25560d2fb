"""Which sums can be reached at all: each state of a chain holds its cells as the bits of an integer."""

from plates.matching.steps import Chain, Component, State, Step

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
    low, high = _extreme(chain, most, -1), _extreme(chain, most, 1)
    return {changes: (-low[changes], high[changes]) for changes in low}


def _extreme(chain: Chain, most: int, sign: int) -> dict[int, int]:
    """The largest sum of ``sign`` times the shifts, for each number of changes."""
    table: dict[State, int] = {(False, 0, ()): 0}
    for component in chain.components:
        zero = (0,) * len(component.groups)
        table = {(*state[:2], zero): best for state, best in table.items()}
        room = [sum(step.choices[0][0] == group for step in component.places) for group in range(len(zero))]
        for choices, shifts, counts in component.stock:
            thick = sorted(zip(shifts.tolist(), counts.tolist(), strict=True), key=lambda pair: sign * pair[0])
            left = min(most, sum(room))
            while thick and left > 0:
                shift, count = thick.pop()
                for _ in range(min(count, left)):
                    table = _extended(table, Step(shift, choices), True, most, sign, room)
                left -= count
        for step in component.places:
            table = _extended(table, step, False, most, sign, room)
        table = {state: best for state, best in table.items() if not any(state[2])}
    return {state[1]: best for state, best in table.items() if state[0] == chain.flagged and state[1]}


def _extended(
    table: dict[State, int], step: Step, opens: bool, most: int, sign: int, room: list[int]
) -> dict[State, int]:
    """As :func:`advance`, for one number instead of a set of cells; no more plates than there are places."""
    after = {} if step.forced else dict(table)
    for (flag, changes, balance), best in table.items():
        if opens and changes == most:
            continue
        for group, raises in step.choices:
            if balance[group] < room[group] if opens else balance[group]:
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
