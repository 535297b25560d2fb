"""Can this reading be of this kind? If not: what it would be in the other unit, and which size it may be."""

import re
from collections.abc import Sequence
from contextlib import suppress

from plates.catalogue.models import Kind
from plates.catalogue.selectors import siblings, tolerance_of
from plates.lengths import LengthError, both, length_json, length_parse, mean_nm
from shop.errors import Refusal

#: What else a figure may have been meant in, the likeliest first.
OTHER = {"in": ("mm",), "mm": ("in", "thou"), "thou": ("mm", "um"), "um": ("mm", "thou")}


class Implausible(Refusal):
    code, title = "implausible", "This cannot be a plate of that kind"


def fits_kind(kind: Kind, row: list[Kind], thickness_nm: int) -> bool:
    return abs(thickness_nm - kind.nominal_nm) <= tolerance_of(kind, row)


def thickness_check(
    kind: Kind,
    readings: Sequence[str],
    thickness_nm: int,
    pointer: str = "/readings",
    row: list[Kind] | None = None,
) -> None:
    """Raises :class:`Implausible` outside the tolerance of the kind (``row``: its siblings, if known)."""
    row = siblings(kind) if row is None else row
    if fits_kind(kind, row, thickness_nm):
        return
    tolerance_nm = tolerance_of(kind, row)
    said = [f"{both(thickness_nm)} is not within {both(tolerance_nm)} of {kind.code}, nominal {both(kind.nominal_nm)}."]
    other = _in_other_unit(kind, row, readings)
    would_be = None
    if other:
        unit, other_nm = other
        would_be = {"unit": unit, "thickness": length_json(other_nm), "plausible": fits_kind(kind, row, other_nm)}
        said.append(f"Read as {unit} it would be {both(other_nm)}.")
    may_be = [sibling for sibling in row if sibling.pk != kind.pk and fits_kind(sibling, row, thickness_nm)]
    if may_be:
        names = ", ".join(f"{sibling.code} ({both(sibling.nominal_nm)})" for sibling in may_be)
        said.append(f"It may be {names}.")
    said.append("Read it again, or confirm it as it is.")
    raise Implausible(
        " ".join(said),
        [(pointer, "read again, choose the other unit or kind, or send confirm")],
        would_be=would_be,
        may_be=[{"kind": sibling.code, "nominal": length_json(sibling.nominal_nm)} for sibling in may_be],
    )


def _in_other_unit(kind: Kind, row: list[Kind], readings: Sequence[str]) -> tuple[str, int] | None:
    """The mean if every figure was meant in another unit, one that makes it plausible if there is one: (unit, nm)."""
    parts = [re.fullmatch(r"([0-9.]+) ?(in|thou|mm|um)", text) for text in readings]
    units = {part[2] for part in parts if part}
    if len(units) != 1 or None in parts:
        return None
    meant = []
    for unit in OTHER[units.pop()]:
        with suppress(LengthError):
            meant.append((unit, mean_nm(length_parse(f"{part[1]} {unit}") for part in parts if part)))
    return next((one for one in meant if fits_kind(kind, row, one[1])), meant[0] if meant else None)
