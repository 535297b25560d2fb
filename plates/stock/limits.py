"""What sets a plate aside, and what is only unusual. Lengths in nanometres.

A plate beyond a limit of its kind is booked as quarantined: it is there, but never offered and never counted as lying.
"""

from collections.abc import Iterator

from plates.catalogue.models import Kind
from plates.catalogue.selectors import next_size_nm
from plates.lengths import THOU, both
from plates.stock.findings import Findings
from plates.stock.models import Condition

#: How far below and above its nominal a plate usually reads, by role and condition (common practice, no source).
USUAL_NM: dict[tuple[str, str], tuple[int, int]] = {
    ("steel", Condition.NEW): (THOU * 5 // 2, THOU * 5 // 2),
    ("steel", Condition.USED): (THOU * 4, THOU),
    ("friction", Condition.NEW): (THOU * 4, THOU * 4),
}


def limits_passed(
    kind: Kind, *, thickness_nm: int, taper_nm: int | None, condition: str, findings: Findings
) -> list[tuple[str, str]]:
    """(Code, figure and limit in words) of every limit that this plate is beyond; none: it may be offered.

    ``taper_nm`` is None for a plate that was not read itself. A plate at its limit keeps to it.
    """
    return list(_passed(kind, thickness_nm, taper_nm, condition, findings))


def _passed(
    kind: Kind, thickness_nm: int, taper_nm: int | None, condition: str, findings: Findings
) -> Iterator[tuple[str, str]]:
    made_nm = kind.made_coned_nm or 0
    off_nm = None if findings.cone_nm is None else abs(findings.cone_nm - made_nm)
    cone = "Its cone is" if not made_nm else f"Its cone differs from the {both(made_nm)} it is made with by"
    for code, what, found_nm, limit_nm in (
        ("beyond_taper", "Its points range over", taper_nm, kind.taper_limit_nm),
        ("beyond_cone", cone, off_nm, kind.cone_limit_nm),
        ("beyond_warp", "Its warp is", findings.warp_nm, kind.warp_limit_nm),
    ):
        if found_nm is not None and limit_nm is not None and found_nm > limit_nm:
            yield code, f"{what} {both(found_nm)}; {kind.code} allows {both(limit_nm)}."
    minimum_nm = kind.reuse_minimum_nm
    if condition == Condition.USED and minimum_nm is not None and thickness_nm < minimum_nm:
        text = f"{both(thickness_nm)} is below the reuse minimum {both(minimum_nm)} of {kind.code}."
        yield "below_reuse_minimum", text
    if findings.hot_spot:
        # Common practice, no source.
        yield (
            "hot_spot",
            "It has a hot spot, and none is allowed: it is hard and stands proud there, may be cracked, and burns the "
            "lining that runs on it.",
        )


def unusual(kind: Kind, row: list[Kind], thickness_nm: int, condition: str) -> list[dict[str, str]]:
    """A word on a plausible reading that is further from nominal than plates of this role and condition usually are.

    Never further than halfway to the next catalogued size; a tolerance of the kind's own decides instead (``row``: its
    siblings).
    """
    band = USUAL_NM.get((kind.role, condition))
    if band is None or kind.tolerance_nm is not None:
        return []
    below_nm, above_nm = (min(side_nm, next_size_nm(kind, row) // 2) for side_nm in band)
    off_nm = thickness_nm - kind.nominal_nm
    if -below_nm <= off_nm <= above_nm:
        return []
    usual = f"{both(kind.nominal_nm - below_nm)} to {both(kind.nominal_nm + above_nm)}"
    text = (
        f"{both(thickness_nm)} is {both(abs(off_nm))} {'over' if off_nm > 0 else 'under'} nominal; a {condition} "
        f"{kind.get_role_display()} of {kind.code} is usually {usual}. Look whether it is of another kind."
    )
    return [{"code": "unusual", "text": text}]
