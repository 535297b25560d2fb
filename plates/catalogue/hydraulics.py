"""What a pack spec may know of its unit's hydraulics: the figures that the estimates are made from."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from decimal import Decimal
from typing import Any, NamedTuple

from plates.catalogue.models import BadFigures
from plates.catalogue.windows import UnitsDisagree
from plates.lengths import both
from plates.measuring.estimates import DISCHARGE, OIL_KG_M3, WARM_OIL_M2_S, Faces, Feed, Piston, Spring
from plates.measuring.quantities import DENSITY, FORCE, PRESSURE, RATE, VISCOSITY, WARMER, Quantity, Scale, agree


class Pressure(NamedTuple):
    """A pressure as printed, and the same in another unit where the manual prints both."""

    value: Quantity
    also: Quantity | None = None
    governs: str = ""


#: Members by what they are; a piston without a hole and a spring without force at rest are none the less ones.
LENGTHS = ("piston_outer", "piston_inner", "orifice", "face_outer", "face_inner", "stack")
PRESSURES = {"pressure": "pressure_pa", "apply_pressure": "apply_pressure_pa"}
QUANTITIES: dict[str, tuple[str, Scale]] = {
    "spring_rest": ("spring_rest_n", FORCE),
    "spring_rate": ("spring_rate_n_m", RATE),
    "density": ("density", DENSITY),
    "viscosity": ("viscosity_m2_s", VISCOSITY),
    "warmer": ("warmer_k", WARMER),
}
NUMBERS = ("friction", "discharge")
MAY_BE_ZERO = ("piston_inner", "spring_rest", "spring_rate")


@dataclass(frozen=True)
class Hydraulics:
    """In SI units and nanometres; None where it is not known. ``given``: what is no length, as it was written."""

    piston_outer_nm: int | None = None
    piston_inner_nm: int | None = None
    orifice_nm: int | None = None
    pressure_pa: float | None = None
    apply_pressure_pa: float | None = None
    spring_rest_n: float | None = None
    spring_rate_n_m: float | None = None
    friction: float | None = None
    face_outer_nm: int | None = None
    face_inner_nm: int | None = None
    discharge: float = DISCHARGE
    density: float = OIL_KG_M3
    viscosity_m2_s: float = WARM_OIL_M2_S
    drum: str = ""
    stack_nm: int | None = None
    warmer_k: float | None = None
    given: dict[str, Any] = field(default_factory=dict)

    @property
    def piston(self) -> Piston | None:
        if self.piston_outer_nm is None or self.piston_inner_nm is None:
            return None
        return Piston(self.piston_outer_nm, self.piston_inner_nm)

    @property
    def feed(self) -> Feed | None:
        if self.orifice_nm is None or self.pressure_pa is None:
            return None
        return Feed(self.orifice_nm, self.pressure_pa, self.discharge, self.density, self.viscosity_m2_s)

    @property
    def spring(self) -> Spring | None:
        if self.spring_rest_n is None or self.spring_rate_n_m is None:
            return None
        return Spring(self.spring_rest_n, self.spring_rate_n_m)

    def faces(self, count: int) -> Faces | None:
        if not count or self.friction is None or self.face_outer_nm is None or self.face_inner_nm is None:
            return None
        return Faces(count, self.face_outer_nm, self.face_inner_nm, self.friction)


def hydraulics_read(said: Mapping[str, Any]) -> Hydraulics:
    """The figures as said: lengths in nanometres, :class:`Pressure`, Quantity, Decimal, by the names of the API.

    Raises BadFigures, and UnitsDisagree for a pressure printed in two units that are not the same.
    """
    known: dict[str, Any] = {f"{name}_nm": said[name] for name in LENGTHS if said.get(name) is not None}
    given: dict[str, Any] = {}
    for name, member in PRESSURES.items():
        if pressure := said.get(name):
            known[member] = float(_governing(pressure, f"/hydraulics/{name}").si)
            given[name] = _written(pressure)
    for name, (member, _) in QUANTITIES.items():
        if quantity := said.get(name):
            known[member], given[name] = float(quantity.si), quantity.text
    for name in NUMBERS:
        number: Decimal | None = said.get(name)
        if number is not None:
            known[name], given[name] = float(number), f"{number.normalize():f}"
    if drum := said.get("drum"):
        known["drum"] = given["drum"] = drum
    found = Hydraulics(**known, given=given)
    _check(found)
    return found


def hydraulics_of(stored: dict[str, Any] | None) -> Hydraulics:
    """As a spec keeps it; nothing known where it keeps none."""
    return Hydraulics(**stored) if stored else Hydraulics()


def hydraulics_json(found: Hydraulics) -> dict[str, Any]:
    return asdict(found)


def _written(pressure: Pressure) -> str | dict[str, str]:
    if pressure.also is None:
        return pressure.value.text
    said = {"value": pressure.value.text, "also": pressure.also.text}
    return {**said, "governs": pressure.governs} if pressure.governs else said


def _governing(pressure: Pressure, at: str) -> Quantity:
    value, also, governs = pressure
    if also is None:
        if governs:
            raise BadFigures(
                "One unit alone needs nobody to say which governs.", [(f"{at}/governs", "goes with also only")]
            )
        return value
    if (value.unit == "psi") == (also.unit == "psi"):
        raise BadFigures(
            "The second pressure is the one in the other unit: psi beside kPa or bar.", [(f"{at}/also", "other unit")]
        )
    if governs and governs not in (value.unit, also.unit):
        raise BadFigures(
            f"{governs} is neither of the two units printed.", [(f"{at}/governs", f"{value.unit} or {also.unit}")]
        )
    if not agree(value, also) and not governs:
        true = PRESSURE.shown(float(value.si))[also.unit != "psi"]
        raise UnitsDisagree(
            f"The manual contradicts itself: {value.text} is {true}, not {also.text}. Look it up again, then say which "
            "unit governs.",
            [(f"{at}/governs", f"say {value.unit} or {also.unit}")],
        )
    return also if governs == also.unit else value


def _check(found: Hydraulics) -> None:
    """Raises BadFigures where something is zero that is above it, or an inner diameter is not below its outer one."""
    members = {name: f"{name}_nm" for name in LENGTHS} | PRESSURES | {name: name for name in NUMBERS}
    members |= {name: member for name, (member, _) in QUANTITIES.items()}
    for name, member in members.items():
        if name not in MAY_BE_ZERO and getattr(found, member) == 0:
            raise BadFigures("This figure is above zero.", [(f"/hydraulics/{name}", "is above zero")])
    for what in ("piston", "face"):
        outer_nm, inner_nm = getattr(found, f"{what}_outer_nm"), getattr(found, f"{what}_inner_nm")
        if outer_nm is not None and inner_nm is not None and inner_nm >= outer_nm:
            raise BadFigures(
                f"The inner diameter {both(inner_nm)} is not below the outer one {both(outer_nm)}.",
                [(f"/hydraulics/{what}_inner", "is below outer")],
            )
