"""The budget against published examples, and against two independent libraries on random budgets."""

import math
import random

import numpy as np
import pytest
from scipy import stats
from uncertainties import ufloat

from plates.bench.budget import guard_band_nm
from plates.lengths import INCH
from plates.matching.probability import conformance
from plates.measuring.uncertainty import (
    MICROMETER_U_NM,
    READING_U_NM,
    SINGLE_U_NM,
    Part,
    agree,
    combined_u_nm,
    effective_freedom,
    lot_u_nm,
    mean_parts,
    micrometer_u_nm,
    reading_parts,
    rectangular_u_nm,
)


def test_end_gauge():
    """JCGM 100:2008, H.1: u_c = 32 nm with 16 degrees of freedom. The freedoms of the parts are from memory."""
    parts = [
        Part("standard", 25, freedom=18),
        Part("random differences", 5.8, freedom=24),
        Part("random of the comparator", 3.9, freedom=5),
        Part("systematic of the comparator", 6.7, freedom=8),
        Part("difference of expansion", 2.9, freedom=50),
        Part("difference of temperature", 16.6, freedom=2),
    ]
    assert combined_u_nm(parts) == pytest.approx(31.67, abs=0.005)
    assert math.floor(effective_freedom(parts)) == 16


def test_one_shared_standard():
    """JCGM 100:2008, 5.2.2 (figure from memory): ten resistors in series, each by 100 mΩ from one standard, are
    uncertain by 1 Ω, not by 0.32 Ω.
    """
    assert combined_u_nm([Part("resistor", 0.1, times=10, shared="standard")]) == pytest.approx(1.0)
    assert combined_u_nm([Part("resistor", 0.1, times=10)]) == pytest.approx(0.32, abs=0.005)


def test_one_out_and_one_in_cancel():
    out, into = Part("out", 3.0, times=1, shared="M-1"), Part("in", 3.0, times=-1, shared="M-1")
    assert combined_u_nm([out, into]) == 0.0
    assert combined_u_nm([out, Part("in", 3.0, times=-1, shared="M-2")]) == pytest.approx(math.hypot(3, 3))


def test_rectangular():
    """± a is a/√3 (JCGM 100:2008, 4.3.7)."""
    assert rectangular_u_nm(6_000) == pytest.approx(6_000 / math.sqrt(3))
    assert rectangular_u_nm(1.0) == pytest.approx(stats.uniform(-1, 2).std())


def test_sum_of_four():
    """JCGM 101:2008, tables 2 and 3: four of u = 1 each, normal ± 3.92 and rectangular ± 3.88 at 95 %."""
    u = combined_u_nm([Part("one of four", 1.0, times=4)])
    assert stats.norm(scale=u).interval(0.95)[1] == pytest.approx(3.92, abs=0.005)
    draws = np.random.default_rng(4).uniform(-math.sqrt(3), math.sqrt(3), (4, 1_000_000)).sum(axis=0)
    assert np.quantile(draws, [0.025, 0.975]) == pytest.approx([-3.88, 3.88], abs=0.02)
    assert draws.std() == pytest.approx(u, abs=0.01)


@pytest.mark.parametrize("seed", range(60))
def test_random_budgets_agree_with_another_library(seed):
    """``uncertainties`` carries correlation through the expression itself; the normal law is scipy's."""
    rng = random.Random(seed)
    parts, total = [], 0
    for gauge in ("A", "B"):
        error = ufloat(0, rng.uniform(0, 9))
        for _ in range(rng.randint(0, 4)):
            times = rng.randint(-3, 3)
            parts.append(Part("read", error.std_dev, times=times, shared=gauge))
            total += times * error
    for _ in range(rng.randint(1, 6)):
        times, u = rng.randint(1, 5), rng.uniform(0.1, 9)
        parts.append(Part("alone", u, times=times))
        total += sum(ufloat(0, u) for _ in range(times))
    u = combined_u_nm(parts)
    assert u == pytest.approx(total.std_dev, rel=1e-12)
    y, low, width = rng.uniform(-20, 20), rng.uniform(-20, 10), rng.uniform(0, 20)
    normal = stats.norm(y, u)
    assert conformance(y, u, low, low + width) == pytest.approx(normal.cdf(low + width) - normal.cdf(low), abs=1e-12)


def test_three_zones():
    """ISO 14253-1 (the rule, by a secondary source): 10.00 ± 0.05 read as 10.03 with U = 0.04 is neither accepted nor
    rejected.
    """
    u, low, high = 20.0, 9_950.0, 10_050.0  # µm, U = 2 u
    assert 0.05 < conformance(10_030, u, low, high) < 0.95
    guard = guard_band_nm(u, int(low), int(high), 0.95)
    assert guard == math.ceil(stats.norm.ppf(0.95) * u)  # at 95 %, on one side; U = 2 u would ask for 40
    assert high - 10_030 < guard
    assert conformance(low + guard, u, low, high) >= 0.95 > conformance(low + guard - 1, u, low, high)


def test_no_guard_band_where_nothing_is_sure():
    assert guard_band_nm(100.0, 0, 100, 0.95) is None


def test_a_named_gauge_makes_no_reading_better_than_its_method():
    """The limit of a 0-50 mm micrometer is 4 µm (DIN 863 extract, old edition): over √3, less than the whole."""
    shared = 4_000 / math.sqrt(3)
    assert math.hypot(shared, micrometer_u_nm(shared)) == pytest.approx(MICROMETER_U_NM)
    assert micrometer_u_nm(None) == MICROMETER_U_NM
    parts = reading_parts(method="depth", readings=3, gauge="D-1", shared_u_nm=shared)
    assert combined_u_nm(parts) == pytest.approx(READING_U_NM["depth"])
    coarse = reading_parts(method="depth", readings=3, gauge="D-2", shared_u_nm=3 * READING_U_NM["depth"])
    assert combined_u_nm(coarse) == pytest.approx(3 * READING_U_NM["depth"])


def test_what_a_shop_has_measured_replaces_the_default():
    found = {"feeler": INCH * 11 / 10_000}
    assert combined_u_nm(reading_parts(method="feeler", readings=3, measured=found)) == found["feeler"]
    single = combined_u_nm(reading_parts(method="feeler", readings=1, measured=found))
    assert single == pytest.approx(math.hypot(found["feeler"], SINGLE_U_NM))
    assert combined_u_nm(reading_parts(method="air", readings=3, measured=found)) == READING_U_NM["air"]
    with_gauge = reading_parts(method="feeler", readings=3, measured=found, gauge="F-1", shared_u_nm=7_000.0)
    assert combined_u_nm(with_gauge) == pytest.approx(math.hypot(found["feeler"], 7_000.0))


def test_a_lot_of_which_many_were_read():
    """d2 of twenty is 3.735 (the table of every handbook of control charts, from memory), not that of ten, 3.078."""
    assert lot_u_nm(10_000, 20) == pytest.approx(10_000 / 3.735 * math.sqrt(1 + 1 / 20), rel=1e-4)


def test_the_mean_of_two_readings_is_no_better_than_they_are():
    feeler = reading_parts(method="feeler", readings=3)
    assert combined_u_nm(mean_parts(feeler, feeler)) == pytest.approx(READING_U_NM["feeler"])
    one = reading_parts(method="feeler", readings=3, gauge="F-1", shared_u_nm=20_000.0)
    other = reading_parts(method="feeler", readings=3, gauge="F-2", shared_u_nm=20_000.0)
    alone = READING_U_NM["feeler"] ** 2 - 20_000.0**2
    assert combined_u_nm(mean_parts(one, one)) == pytest.approx(READING_U_NM["feeler"])
    assert combined_u_nm(mean_parts(one, other)) == pytest.approx(math.sqrt(alone + 20_000.0**2 / 2))
    assert combined_u_nm(mean_parts(one, feeler)) == pytest.approx(
        math.sqrt(alone / 2 + READING_U_NM["feeler"] ** 2 / 2 + 10_000.0**2)
    )


def test_two_readings_agree_within_two_root_two_u():
    """.0520 and .0570 with u .0015 each: .0050 is more than 2·√2·.0015 = .0042."""
    u = READING_U_NM["feeler"]
    assert not agree(INCH * 520 // 10_000, INCH * 570 // 10_000, u, u)
    assert agree(INCH * 520 // 10_000, INCH * 562 // 10_000, u, u)
    assert not agree(INCH * 520 // 10_000, INCH * 563 // 10_000, u, u)
