"""What to ask for on the telephone when the shelf is short: one line a slot, and all that it names closes the pack."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from typing import Any

from plates.catalogue.models import Fit, Role
from plates.catalogue.spec_models import Slot, Spec
from plates.lengths import INCH, NM_PER, inch, mm

COUNTS = {1: "one", 2: "two"}
#: The last place that is said of a length, in nm.
STEP_NM = {"in": INCH // 10_000, "mm": 1_000}
#: A range that reaches less to either side of its middle is said by its exact ends.
NARROW_NM = 2 * STEP_NM["in"]


def lines_of(ranges: Iterable[Mapping[str, Any]], spec: Spec, unit: str) -> list[str]:
    """The lines for a shortfall of this spec; ``ranges`` as :func:`lines` takes them."""
    return lines(ranges, list(spec.slots.all()), spread_nm=spec.spread_nm, unit=unit)


def lines(
    ranges: Iterable[Mapping[str, Any]], slots: Sequence[Slot], *, spread_nm: int | None, unit: str
) -> list[str]:
    """Of the fewest plates that would do, the widest range of each slot, the widest of all first; ``unit`` first.

    ``ranges`` are those of a shortfall: slot, count, from_nm, to_nm. ``spread_nm``: how much the steels of the pack may
    differ.
    """
    rows = list(ranges)
    fewest = min((row["count"] for row in rows), default=0)
    widest = []
    for slot in slots:
        if mine := [row for row in rows if row["slot"] == slot.name and row["count"] == fewest]:
            widest.append((slot, max(mine, key=_width_nm)))
    widest.sort(key=lambda pair: _width_nm(pair[1]), reverse=True)
    return [", ".join(_words(slot, row, spread_nm, unit)) for slot, row in widest]


def _width_nm(row: Mapping[str, Any]) -> int:
    return int(row["to_nm"] - row["from_nm"])


def _words(slot: Slot, row: Mapping[str, Any], spread_nm: int | None, unit: str) -> Iterator[str]:
    plural = "" if row["count"] == 1 else "s"
    yield f"Need {COUNTS[row['count']]} {Role(slot.role).label}{plural} {_size(row['from_nm'], row['to_nm'], unit)}"
    if plural and slot.role == Role.STEEL and spread_nm is not None and spread_nm < _width_nm(row):
        most = {name: f"{_spoken(spread_nm // step * step, name)} {name}" for name, step in STEP_NM.items()}
        yield f"no more than {_both(most, unit)} apart"
    yield from _fit(slot.fit, unit)
    if slot.role == Role.FRICTION:
        yield "lined on both faces" if slot.lined_faces == 2 else "lined on one face"
    if slot.facing:
        yield f"{slot.facing} facing"
    if slot.material:
        yield slot.material


def _fit(fit: Fit, unit: str) -> Iterator[str]:
    yield f"{fit.teeth} {fit.get_tooth_side_display()}" if fit.teeth else fit.get_tooth_side_display()
    if fit.tooth_form:
        yield f"tooth form {fit.tooth_form}"
    if fit.index:
        yield fit.index
    across = {
        "in": f"{inch(fit.outer_nm, 3)} × {inch(fit.inner_nm, 3)} in",
        "mm": f"{mm(fit.outer_nm, 2)} × {mm(fit.inner_nm, 2)} mm",
    }
    yield _both(across, unit)
    if fit.oil_holes:
        yield f"oil holes {fit.oil_holes}"


def _both(said: Mapping[str, str], unit: str) -> str:
    first, second = (said["in"], said["mm"]) if unit == "in" else (said["mm"], said["in"])
    return f"{first} ({second})"


def _spoken(length_nm: int, unit: str) -> str:
    return (inch(length_nm) if unit == "in" else mm(length_nm)).lstrip("0")


def _size(from_nm: int, to_nm: int, unit: str) -> str:
    """The range, in each unit rounded inwards."""
    if to_nm - from_nm < 2 * NARROW_NM:
        return _by_ends(from_nm, to_nm, unit)
    said = {}
    for name, step in STEP_NM.items():
        low, high = -(-from_nm // step), to_nm // step
        half = (high - low) // 2
        said[name] = f"{_spoken((low + half) * step, name)} ± {_spoken(half * step, name)} {name}"
    return f"at {_both(said, unit)}"


def _by_ends(from_nm: int, to_nm: int, unit: str) -> str:
    """To the nanometre in millimetres; in inch to a millionth, rounded inwards, unless that leaves nothing."""
    millionth = Fraction(INCH, 10**6)
    low, high = -(-from_nm // millionth), to_nm // millionth
    said = {"mm": _ends(from_nm, to_nm, NM_PER["mm"], 3, "mm")}
    if low > high:
        return said["mm"]
    return _both({**said, "in": _ends(low, high, 10**6, 4, "in")}, unit)


def _ends(low: int, high: int, whole: int, least: int, unit: str) -> str:
    """Two lengths in parts of so many to the unit, with all six places that are not 0 and at least so many."""

    def text(length: int) -> str:
        places = f"{length % whole:06d}"
        return f"{length // whole or ''}.{places[:least]}{places[least:].rstrip('0')}"

    return f"of exactly {text(low)} {unit}" if low == high else f"from {text(low)} to {text(high)} {unit}"
