"""What a clearance does: the figures worked out by hand, and what must hold for any piston.

The figures are plain geometry and the sharp-edged orifice, recomputed (C); C_d 0.61 to 0.65 is a handbook range.
"""

import math
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plates.lengths import INCH, length_parse
from plates.measuring.estimates import (
    LEAST_REYNOLDS,
    ColdOil,
    Faces,
    Feed,
    Piston,
    Spring,
    hot_gap_nm,
    stroke_pressure_pa,
    wear_left_nm,
)
from plates.measuring.quantities import LB_FT, LBF, PSI

PISTON = Piston(length_parse("5.50 in"), length_parse("3.25 in"))
READS, TARGET = length_parse("0.074 in"), length_parse("0.050 in")
SPRING = Spring(float(250 * LBF), float(2400 * LBF) / 0.0254)


def test_area_and_volumes() -> None:
    assert PISTON.area_m2 / 0.0254**2 == pytest.approx(15.46, abs=0.005)
    assert PISTON.volume_m3(READS - TARGET) * 1e6 == pytest.approx(6.08, abs=0.01)
    assert PISTON.volume_m3(READS) * 1e6 == pytest.approx(18.75, abs=0.005)


@pytest.mark.parametrize(("orifice", "extra_ms"), [("0.078 in", 117), ("0.062 in", 185), ("0.093 in", 82)])
def test_the_extra_fill_takes_so_long(orifice: str, extra_ms: int) -> None:
    feed = Feed(length_parse(orifice), float(40 * PSI), discharge=0.65, density=820)
    assert feed.seconds(PISTON.volume_m3(READS - TARGET)) * 1e3 == pytest.approx(extra_ms, abs=0.5)


def test_flow_through_the_orifice() -> None:
    assert Feed(length_parse("0.078 in"), float(40 * PSI)).flow_m3_s() * 1e6 == pytest.approx(52.0, abs=0.05)


def test_a_learned_fill_tells_the_stroke() -> None:
    assert PISTON.stroke_nm(12e-6) / INCH == pytest.approx(0.0474, abs=5e-5)


@pytest.mark.parametrize(("clearance_nm", "psi"), [(TARGET, 23.9), (READS, 27.7)])
def test_stroke_pressure(clearance_nm: int, psi: float) -> None:
    assert stroke_pressure_pa(PISTON, SPRING, clearance_nm) / float(PSI) == pytest.approx(psi, abs=0.05)


@pytest.mark.parametrize(("clearance_nm", "lb_ft"), [(TARGET, 301), (READS, 286)])
def test_holding_torque(clearance_nm: int, lb_ft: int) -> None:
    """μ 0.13, ten lined faces, 100 psi, radii 2.6 and 2.1 in (mean 2.359)."""
    faces = Faces(10, length_parse("5.2 in"), length_parse("4.2 in"), 0.13)
    assert faces.radius_m / 0.0254 == pytest.approx(2.359, abs=5e-4)
    torque = faces.torque_n_m(pressure_pa=float(100 * PSI), piston=PISTON, spring=SPRING, clearance_nm=clearance_nm)
    assert torque / float(LB_FT) == pytest.approx(lb_ft, abs=0.5)


def test_a_spring_that_is_not_overcome_holds_nothing() -> None:
    faces = Faces(10, length_parse("5.2 in"), length_parse("4.2 in"), 0.13)
    assert faces.torque_n_m(pressure_pa=float(10 * PSI), piston=PISTON, spring=SPRING, clearance_nm=READS) == 0.0


def test_an_aluminium_drum_grows_away_from_its_steel_stack() -> None:
    assert hot_gap_nm(stack_nm=length_parse("0.988 in"), warmer_k=70) / INCH == pytest.approx(0.0008, abs=5e-5)


def test_wear_left() -> None:
    """Ten faces share 0.026 in; past the limit it is below zero. Plain division, a half goes to the even nanometre."""
    assert wear_left_nm(to_limit_nm=length_parse("0.026 in"), faces=10) == length_parse("0.0026 in")
    assert wear_left_nm(to_limit_nm=-length_parse("0.010 in"), faces=10) == -length_parse("0.001 in")
    assert [wear_left_nm(to_limit_nm=left, faces=2) for left in (1, 3, -1, -3)] == [0, 2, 0, -2]


def test_cold_oil_is_refused() -> None:
    """Two hundred times thicker at the frost than warm: the jet is laminar (common practice, no source)."""
    feed = Feed(length_parse("0.078 in"), float(40 * PSI))
    assert feed.reynolds > LEAST_REYNOLDS
    with pytest.raises(ColdOil, match="too cold and thick"):
        replace(feed, viscosity_m2_s=1400e-6).flow_m3_s()


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.floats(1e-7, 1e-2), st.integers(200_000, 5_000_000), st.floats(1e4, 2e6))
def test_the_limit_of_cold_oil_is_the_reynolds_number(viscosity: float, orifice_nm: int, pressure: float) -> None:
    feed = Feed(orifice_nm, pressure, viscosity_m2_s=viscosity)
    independent = math.sqrt(2 * pressure / 820) * orifice_nm * 1e-9 / viscosity
    if independent < LEAST_REYNOLDS * (1 - 1e-9):
        with pytest.raises(ColdOil):
            feed.seconds(1e-6)
    elif independent > LEAST_REYNOLDS * (1 + 1e-9):
        assert feed.seconds(2e-6) == pytest.approx(2 * feed.seconds(1e-6))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(10_000_000, 300_000_000), st.integers(0, 9_000_000), st.integers(0, 5_000_000), st.integers(1, 40))
def test_what_must_hold_for_any_piston(outer_nm: int, inner_nm: int, clearance_nm: int, times: int) -> None:
    piston = Piston(outer_nm, inner_nm)
    assert piston.stroke_nm(piston.volume_m3(clearance_nm)) == clearance_nm
    larger = Piston(times * outer_nm, times * inner_nm)
    assert larger.area_m2 == pytest.approx(times**2 * piston.area_m2)
    spring = Spring(100.0, 5e4)
    assert stroke_pressure_pa(larger, spring, clearance_nm) <= stroke_pressure_pa(piston, spring, clearance_nm)
