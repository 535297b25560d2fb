"""What a clearance does, as estimates of one pack spec: each appears when what it needs is known.

The arithmetic is that of :mod:`plates.measuring.estimates`; here stand title, formula and assumptions in words.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from plates.catalogue.hydraulics import Hydraulics, hydraulics_of
from plates.catalogue.models import Role
from plates.catalogue.selectors import spec_faces
from plates.catalogue.spec_models import Spec
from plates.lengths import both, half_even, inch, mm
from plates.measuring.estimates import (
    ALUMINIUM_PER_K,
    LEAST_DISCHARGE,
    STEEL_PER_K,
    ColdOil,
    Feed,
    Piston,
    hot_gap_nm,
    stroke_pressure_pa,
    wear_left_nm,
)
from plates.measuring.quantities import PRESSURE, TIME, TORQUE, VOLUME

LABEL = "estimate, warm oil"
_HANDBOOK = "sharp-edged orifice, flow steady and turbulent: the oil is warm"
_EXPANSION = f"{(ALUMINIUM_PER_K - STEEL_PER_K) * 1e6:.1f} × 10⁻⁶ per kelvin"


@dataclass(frozen=True)
class Estimate:
    """One figure in both unit systems; ``u``: what the standard uncertainty of the clearance makes of it, "" where none
    is known. Where it is ``refused``, the reason stands there in place of the figure.
    """

    code: str
    title: str
    us: str
    metric: str
    formula: str
    assumptions: tuple[str, ...]
    u: str = ""
    note: str = ""
    refused: str = ""
    label: str = LABEL


@dataclass(frozen=True)
class Case:
    """One clearance of one pack: with its standard uncertainty, and a learned fill in m³, where they are known."""

    spec: Spec
    clearance_nm: int
    u_nm: float | None = None
    learned_m3: float | None = None


Shown = Callable[[float], tuple[str, str]]


def _length(length_nm: float) -> tuple[str, str]:
    whole_nm = half_even(length_nm)
    return f"{inch(whole_nm)} in".replace("-", "−"), f"{mm(whole_nm)} mm".replace("-", "−")


def _time(seconds: float) -> tuple[str, str]:
    return TIME.shown(seconds)


def _pair(texts: tuple[str, str]) -> str:
    return texts[0] if texts[0] == texts[1] else f"{texts[0]} ({texts[1]})"


def _of(case: Case, one: Estimate, figure: Callable[[float], float], shown: Shown) -> Estimate:
    """``one`` with its figure at this clearance, and what u of the clearance makes of it."""
    us, metric = shown(figure(case.clearance_nm))
    u = ""
    if case.u_nm:
        low, high = figure(max(case.clearance_nm - case.u_nm, 0.0)), figure(case.clearance_nm + case.u_nm)
        u = f"± {_pair(shown(abs(high - low) / 2))}"
    return replace(one, us=us, metric=metric, u=u)


def estimates(case: Case) -> list[Estimate]:
    """All that is known to be worked out, in the order in which they are shown."""
    known = hydraulics_of(case.spec.hydraulics)
    faces = spec_faces(list(case.spec.slots.all()))
    found = [*_fill(case, known), *_squeeze(case, known, faces), *_wear(case, faces)]
    return [*found, *_learned(case, known), *_hot(case, known)]


def _blank(code: str, title: str, formula: str, assumptions: Sequence[str]) -> Estimate:
    return Estimate(code, title, "", "", formula, tuple(assumptions))


def _fill(case: Case, known: Hydraulics) -> list[Estimate]:
    piston, feed, target_nm = known.piston, known.feed, case.spec.target_nm
    if piston is None:
        return []

    def excess(clearance_nm: float) -> float:
        return piston.volume_m3(clearance_nm - target_nm)

    area = f"piston {both(piston.outer_nm)} by {both(piston.inner_nm)}"
    rigid = "the seal gives nothing, and no air is in the oil"
    if any(slot.role == Role.WAVE for slot in case.spec.slots.all()):
        rigid += "; what the wave plate gives is left out"
    more = _blank(
        "excess_volume",
        "Excess fill volume",
        "π/4 · (D² − d²) · (clearance − target)",
        (area, f"against the target {both(target_nm)}; below zero: less than there", rigid),
    )
    full = _blank("stroke_volume", "Full stroke volume", "π/4 · (D² − d²) · clearance", (area, rigid))
    volumes = _of(case, more, excess, VOLUME.shown), _of(case, full, piston.volume_m3, VOLUME.shown)
    return [volumes[0], *([_excess_time(case, feed, excess)] if feed else []), volumes[1]]


def _excess_time(case: Case, feed: Feed, excess: Callable[[float], float]) -> Estimate:
    one = _blank(
        "excess_time",
        "Excess fill time",
        "excess fill volume / (C_d · π/4 · d² · √(2 · Δp / ρ))",
        (
            f"orifice {both(feed.diameter_nm)}, {_pair(PRESSURE.shown(feed.pressure_pa))} net across it",
            f"C_d {feed.discharge:g}, oil of {feed.density:g} kg/m³ and {feed.viscosity_m2_s * 1e6:g} mm²/s",
            _HANDBOOK,
            "no leak at rings and seal, and no other restriction in the feed",
        ),
    )
    try:
        found = _of(case, one, lambda clearance_nm: feed.seconds(excess(clearance_nm)), _time)
        other = replace(feed, discharge=LEAST_DISCHARGE).seconds(excess(case.clearance_nm))
    except ColdOil as cold:
        return replace(one, refused=str(cold))
    if feed.discharge == LEAST_DISCHARGE:
        return found
    return replace(found, note=f"with C_d {LEAST_DISCHARGE}, the low end of the handbooks: {_time(other)[0]}")


def _squeeze(case: Case, known: Hydraulics, faces: int) -> list[Estimate]:
    """Stroke pressure and holding torque, each beside what it is at the target."""
    piston, spring, target_nm = known.piston, known.spring, case.spec.target_nm
    if piston is None or spring is None:
        return []

    def stroke(clearance_nm: float) -> float:
        return stroke_pressure_pa(piston, spring, clearance_nm)

    def compared(one: Estimate, figure: Callable[[float], float], shown: Shown) -> Estimate:
        return replace(
            _of(case, one, figure, shown), note=f"at the target {both(target_nm)}: {_pair(shown(figure(target_nm)))}"
        )

    straight = "return spring straight over the stroke, no drag of the seal"
    one = _blank(
        "stroke_pressure", "Stroke pressure", "(F₀ + k · clearance) / (π/4 · (D² − d²))", (_spring(known), straight)
    )
    found = [compared(one, stroke, PRESSURE.shown)]
    rubbing, pressure_pa = known.faces(faces), known.apply_pressure_pa
    if rubbing is None or pressure_pa is None:
        return found

    def torque(clearance_nm: float) -> float:
        return rubbing.torque_n_m(pressure_pa=pressure_pa, piston=piston, spring=spring, clearance_nm=clearance_nm)

    one = _blank(
        "holding_torque",
        "Holding torque left",
        "μ · faces · (p · A − F₀ − k · clearance) · 2/3 · (R³ − r³) / (R² − r²)",
        (
            f"μ {rubbing.friction:g}, {faces} lined faces, {_pair(PRESSURE.shown(pressure_pa))} on the piston",
            f"faces {both(rubbing.outer_nm)} by {both(rubbing.inner_nm)}, pressed evenly",
            straight,
            "an estimate to compare two clearances with, not a rating of the unit",
        ),
    )
    return [*found, compared(one, torque, TORQUE.shown)]


def _spring(known: Hydraulics) -> str:
    return f"return spring {known.given['spring_rest']} at rest and {known.given['spring_rate']}"


def _wear(case: Case, faces: int) -> list[Estimate]:
    """A gap grows as linings wear, a stack height falls."""
    spec = case.spec
    if not faces:
        return []
    if spec.measures == "gap":
        limit_nm, formula = spec.limit_high_nm or spec.high_nm, "(limit − clearance) / lined faces"
    else:
        limit_nm = spec.low_nm if spec.limit_low_nm is None else spec.limit_low_nm
        formula = "(stack height − limit) / lined faces"
    sign = 1 if spec.measures == "gap" else -1
    one = _blank(
        "wear_left",
        "Wear left on each lined face",
        formula,
        (f"limit {both(limit_nm)}; below zero: past it", f"{faces} lined faces wear alike, the steels not at all"),
    )

    def left(reading_nm: float) -> float:
        return wear_left_nm(to_limit_nm=sign * (limit_nm - half_even(reading_nm)), faces=faces)

    total_nm = sign * (limit_nm - case.clearance_nm)
    return [replace(_of(case, one, left, _length), note=f"of all faces together: {_pair(_length(total_nm))}")]


def _learned(case: Case, known: Hydraulics) -> list[Estimate]:
    piston: Piston | None = known.piston
    if piston is None or case.learned_m3 is None:
        return []
    us, metric = _length(piston.stroke_nm(case.learned_m3))
    formula = "learned fill / (π/4 · (D² − d²))"
    said = f"the control unit's learned fill is {_pair(VOLUME.shown(case.learned_m3))}"
    assumptions = (said, "all of it strokes the piston: nothing fills passages, leaks or gives in the seal")
    return [Estimate("piston_stroke", "Piston stroke from the learned fill", us, metric, formula, assumptions)]


def _hot(case: Case, known: Hydraulics) -> list[Estimate]:
    if not known.drum or known.stack_nm is None or known.warmer_k is None:
        return []
    added_nm = hot_gap_nm(stack_nm=known.stack_nm, warmer_k=known.warmer_k) if known.drum == "aluminium" else 0
    formula = f"clearance + stack · {_EXPANSION} · ΔT" if added_nm else "clearance: drum and stack expand alike"
    one = _blank(
        "hot_gap",
        "Hot gap",
        formula,
        (
            f"steel stack of {both(known.stack_nm)} in a drum of {known.drum}",
            f"all parts {known.warmer_k:g} K warmer than at the bench; the linings' own swell is left out",
        ),
    )
    found = _of(case, one, lambda clearance_nm: clearance_nm + added_nm, _length)
    return [replace(found, note=f"{_pair(_length(added_nm))} more than cold")]
