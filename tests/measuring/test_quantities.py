"""Pressures, forces and the like as people write them."""

from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import constants

from plates.measuring.quantities import (
    FORCE,
    LB_FT,
    LBF,
    PRESSURE,
    PSI,
    RATE,
    TORQUE,
    VOLUME,
    QuantityError,
    Scale,
    agree,
    quantity_parse,
)


def test_the_factors() -> None:
    """NIST SP 811, App. B, as scipy carries them."""
    assert float(PSI) == pytest.approx(constants.psi, rel=1e-12)
    assert float(LBF) == pytest.approx(constants.lbf, rel=1e-12)
    assert float(LB_FT) == pytest.approx(constants.lbf * constants.foot, rel=1e-12)
    assert VOLUME.units["in3"] == Fraction("0.000016387064")


@pytest.mark.parametrize(
    ("text", "scale", "si"),
    [
        ("40 psi", PRESSURE, 275_790.29),
        ("275.8kPa", PRESSURE, 275_800),
        (".5 bar", PRESSURE, 50_000),
        ("250 lbf", FORCE, 1112.0554),
        ("2400 lbf/in", RATE, 420_304.4),
        ("420.3 N/mm", RATE, 420_300),
        ("12 mL", VOLUME, 12e-6),
        ("0 N", FORCE, 0),
    ],
)
def test_it_is_read_exactly(text: str, scale: Scale, si: float) -> None:
    assert float(quantity_parse(text, scale).si) == pytest.approx(si, rel=1e-6)


@pytest.mark.parametrize(
    "text",
    ["", "40", "psi", "-40 psi", "40  psi", " 40 psi", "4e1 psi", "40 psi\n", "٤ psi", "40 lbf", "1,5 bar", "1. bar"],
)
def test_what_is_no_pressure_is_refused(text: str) -> None:
    with pytest.raises(QuantityError, match="psi, kPa, bar"):
        quantity_parse(text, PRESSURE)


def test_a_published_misprint_of_a_pressure_is_flagged() -> None:
    """One manual prints 550 kPa as 111 psi; true is 79.8 (S, C)."""
    printed = quantity_parse("550 kPa", PRESSURE)
    assert PRESSURE.shown(float(printed.si)) == ("79.8 psi", "550 kPa")
    assert not agree(printed, quantity_parse("111 psi", PRESSURE))
    assert agree(printed, quantity_parse("79.8 psi", PRESSURE)) and agree(printed, quantity_parse("80 psi", PRESSURE))
    assert not agree(printed, quantity_parse("78 psi", PRESSURE))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 10**6), st.integers(0, 4), st.sampled_from(["kPa", "bar"]), st.integers(0, 4))
def test_what_was_converted_and_rounded_agrees(figure: int, places: int, unit: str, other_places: int) -> None:
    text = f"{figure // 10**places}.{figure % 10**places:0{places}d}" if places else str(figure)
    one = quantity_parse(f"{text} psi", PRESSURE)
    step = Fraction(1, 10**other_places)
    rounded = round(one.si / PRESSURE.units[unit] / step) * step
    assert agree(one, quantity_parse(f"{float(rounded):.{other_places}f} {unit}", PRESSURE))


def test_figures_are_shown_with_sign_and_unit() -> None:
    assert TORQUE.shown(387.6) == ("286 lb·ft", "388 N·m")
    assert VOLUME.shown(-6.08e-6) == ("−0.371 in³", "−6.08 mL")
    assert VOLUME.shown(-1e-12) == ("0.000 in³", "0.00 mL")
