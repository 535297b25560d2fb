"""What a clearance does: plain geometry and the sharp-edged orifice. Estimates, for warm oil.

SI inside; lengths come in nanometres. Each function says its formula; what it leaves out stands beside the figure on
the pages (:mod:`plates.catalogue.estimates`).
"""

import math
from dataclasses import dataclass
from fractions import Fraction

from plates.lengths import half_even

NM = 1e-9
#: Linear expansion per kelvin of aluminium alloy and carbon steel: usual handbook figures, from memory, no source.
ALUMINIUM_PER_K, STEEL_PER_K = 23.0e-6, 11.7e-6
#: Warm oil: kinematic viscosity in m²/s and density in kg/m³ (common practice, from memory, no source).
WARM_OIL_M2_S, OIL_KG_M3 = 7e-6, 820.0
#: Discharge coefficients of a sharp-edged orifice: 0.61 to 0.65 is a handbook range.
LEAST_DISCHARGE, DISCHARGE = 0.61, 0.65
#: Below this Reynolds number of the jet C_d is no longer a constant: cold oil (rule of thumb, from memory, no source).
LEAST_REYNOLDS = 1_000.0


class ColdOil(ValueError):
    """The oil is too thick for the orifice formula; ``str(error)`` says so in plain words."""


@dataclass(frozen=True)
class Piston:
    """An annular piston: outer and inner diameter in nanometres."""

    outer_nm: int
    inner_nm: int

    @property
    def area_m2(self) -> float:
        """π/4 (D² - d²)."""
        return math.pi / 4 * ((self.outer_nm * NM) ** 2 - (self.inner_nm * NM) ** 2)

    def volume_m3(self, stroke_nm: float) -> float:
        """Area × stroke; the seal's own give is left out."""
        return self.area_m2 * stroke_nm * NM

    def stroke_nm(self, volume_m3: float) -> int:
        """The clearance that takes this volume: what a learned fill says."""
        return half_even(volume_m3 / self.area_m2 / NM)


@dataclass(frozen=True)
class Feed:
    """A sharp-edged feed orifice: diameter, net pressure across it in Pa, and the oil's figures."""

    diameter_nm: int
    pressure_pa: float
    discharge: float = DISCHARGE
    density: float = OIL_KG_M3
    viscosity_m2_s: float = WARM_OIL_M2_S

    @property
    def speed_m_s(self) -> float:
        """√(2 Δp / ρ): the speed of the jet."""
        return math.sqrt(2 * self.pressure_pa / self.density)

    @property
    def reynolds(self) -> float:
        """Speed × diameter / kinematic viscosity."""
        return self.speed_m_s * self.diameter_nm * NM / self.viscosity_m2_s

    def flow_m3_s(self) -> float:
        """C_d · π/4 · d² · √(2 Δp / ρ). Raises :class:`ColdOil` where the jet is not turbulent."""
        if self.reynolds < LEAST_REYNOLDS:
            raise ColdOil(
                f"The oil is too cold and thick for this estimate: at {self.viscosity_m2_s * 1e6:g} mm²/s the Reynolds "
                f"number in the orifice is {self.reynolds:.0f}; below {LEAST_REYNOLDS:.0f} the formula does not hold."
            )
        return self.discharge * math.pi / 4 * (self.diameter_nm * NM) ** 2 * self.speed_m_s

    def seconds(self, volume_m3: float) -> float:
        """Volume / flow. Raises :class:`ColdOil`."""
        return volume_m3 / self.flow_m3_s()


@dataclass(frozen=True)
class Spring:
    """A return spring, or the whole set of them: force at rest in N, rate in N/m."""

    rest_n: float
    rate_n_m: float

    def force_n(self, stroke_nm: float) -> float:
        """F₀ + k · stroke."""
        return self.rest_n + self.rate_n_m * stroke_nm * NM


def stroke_pressure_pa(piston: Piston, spring: Spring, clearance_nm: float) -> float:
    """The pressure at which the piston has taken up the clearance: spring force there over piston area."""
    return spring.force_n(clearance_nm) / piston.area_m2


@dataclass(frozen=True)
class Faces:
    """The rubbing faces: how many are lined, their outer and inner diameter, their coefficient of friction."""

    count: int
    outer_nm: int
    inner_nm: int
    friction: float

    @property
    def radius_m(self) -> float:
        """Mean friction radius for even pressure: 2/3 (R³ - r³) / (R² - r²)."""
        outer, inner = self.outer_nm / 2 * NM, self.inner_nm / 2 * NM
        return 2 / 3 * (outer**3 - inner**3) / (outer**2 - inner**2)

    def torque_n_m(self, *, pressure_pa: float, piston: Piston, spring: Spring, clearance_nm: float) -> float:
        """Holding torque in N·m: μ · faces · (p · A - spring force at this clearance) · mean radius, never below 0."""
        force = pressure_pa * piston.area_m2 - spring.force_n(clearance_nm)
        return max(self.friction * self.count * force * self.radius_m, 0.0)


def hot_gap_nm(*, stack_nm: int, warmer_k: float) -> int:
    """What an aluminium drum around a steel stack adds to the clearance when this much warmer than at the bench."""
    return half_even(stack_nm * (ALUMINIUM_PER_K - STEEL_PER_K) * warmer_k)


def wear_left_nm(*, to_limit_nm: int, faces: int) -> int:
    """Lining that may wear off each of the lined faces until the pack is at its limit, ``to_limit_nm`` away; below zero
    when it is past it.
    """
    return half_even(Fraction(to_limit_nm, faces))
