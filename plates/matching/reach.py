"""Which sums can be reached at all: each state of a chain holds its cells as the bits of an integer."""

from collections.abc import Iterator

from plates.matching.steps import Chain, Component, State, Step

Table = dict[State, int]


def start(component: Component, table: Table | None = None) -> Table:
    """The table with which a component begins: nothing moved yet, or what the components before it left."""
    zero = (0,) * len(component.groups)
    if table is None:
        return {(False, 0, zero): 1}
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
    """For each number of changes 1 … ``most`` the cells that some exchange of the very way reaches (absent:
    none).

    Plates first: as long as only one component runs, the balance then is the number of changes, which keeps
    the states few; and of one thickness no more plates are tried than there are changes.
    """
    table: Table | None = None
    for component in chain.components:
        table = start(component, table)
        for step in _without_spares(component.plates, most):
            table = advance(table, step, True, most)
        for step in component.places:
            table = advance(table, step, False, most)
    assert table is not None  # noqa: S101 - a chain has at least one component
    return finals(table, chain.flagged)


def _without_spares(plates: tuple[Step, ...], most: int) -> Iterator[Step]:
    seen: dict[tuple[int, object], int] = {}
    for step in plates:
        alike = step.shift, step.choices
        seen[alike] = seen.get(alike, 0) + 1
        if seen[alike] <= most:
            yield step


def nearest(cells: int, wanted: int) -> tuple[int | None, int | None]:
    """The nearest cells of the set at or below ``wanted`` and at or above it."""
    if wanted < 0:
        return None, _lowest(cells)
    below = cells & ((1 << wanted + 1) - 1)
    above = cells >> wanted
    return below.bit_length() - 1 if below else None, _lowest(above, wanted) if above else None


def _lowest(cells: int, offset: int = 0) -> int | None:
    return offset + (cells & -cells).bit_length() - 1 if cells else None
