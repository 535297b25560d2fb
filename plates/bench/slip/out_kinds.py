"""Of which kind is a plate that came out of a pack? The catalogue's nearest for its slot, where there is one."""

from plates.catalogue.models import Kind
from plates.catalogue.selectors import tolerance_of
from plates.catalogue.spec_models import Slot
from plates.lengths import THOU, both, length_json
from plates.stock.booking import KindsAndBins
from plates.stock.models import Condition
from shop.errors import Refusal

#: How far below its nominal a plate that ran may read (common practice, no source).
WORN_NM = THOU * 4


class KindNeeded(Refusal):
    code, title = "kind_needed", "Of which kind is this plate?"


def used_may_be(kind: Kind, row: list[Kind], thickness_nm: int) -> bool:
    """Whether a used plate of this kind may read so (``row``: its siblings)."""
    tolerance_nm = tolerance_of(kind, row)
    return -max(tolerance_nm, WORN_NM) <= thickness_nm - kind.nominal_nm <= tolerance_nm


def kind_of(known: KindsAndBins, slot: Slot, thickness_nm: int, condition: str) -> Kind:
    """The one kind of this slot nearest in nominal that can read so. Raises KindNeeded for none or several."""
    row = known.siblings(slot.fit_id, slot.role)
    fitting = [
        kind
        for kind in row
        if kind.lined_faces == slot.lined_faces
        and (not slot.material or kind.material == slot.material)
        and (not slot.facing or kind.facing == slot.facing)
    ]
    may_be = [kind for kind in fitting if _may_be(kind, row, thickness_nm, condition)]
    off_nm = min((abs(kind.nominal_nm - thickness_nm) for kind in may_be), default=0)
    nearest = [kind for kind in may_be if abs(kind.nominal_nm - thickness_nm) == off_nm]
    if len(nearest) == 1:
        return nearest[0]
    names = ", ".join(f"{kind.code} ({both(kind.nominal_nm)})" for kind in nearest or fitting)
    how_many = "of several kinds" if nearest else "of no kind that the slot takes"
    raise KindNeeded(
        f"{both(thickness_nm)} of {slot.name!r} may be {how_many}. Say which: "
        f"{names or 'none is catalogued for this slot yet, add one'}.",
        [("/kind", "name its kind")],
        candidates=[{"kind": kind.code, "nominal": length_json(kind.nominal_nm)} for kind in nearest or fitting],
    )


def _may_be(kind: Kind, row: list[Kind], thickness_nm: int, condition: str) -> bool:
    if condition == Condition.USED:
        return used_may_be(kind, row, thickness_nm)
    return abs(thickness_nm - kind.nominal_nm) <= tolerance_of(kind, row)
