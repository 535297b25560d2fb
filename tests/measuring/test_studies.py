"""Gauge studies: the published one, an independent computation on random ones, and what must hold for any."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from plates.measuring.studies import Study, analysis_of_variance, average_and_range

#: AIAG, Measurement Systems Analysis, 4th edition: ten parts, three people, three trials (data S).
PUBLISHED = """
0.29 -0.56 1.34 0.47 -0.80 0.02 0.59 -0.31 2.26 -1.36 / 0.41 -0.68 1.17 0.50 -0.92 -0.11 0.75 -0.20 1.99 -1.25
/ 0.64 -0.58 1.27 0.64 -0.84 -0.21 0.66 -0.17 2.01 -1.31
0.08 -0.47 1.19 0.01 -0.56 -0.20 0.47 -0.63 1.80 -1.68 / 0.25 -1.22 0.94 1.03 -1.20 0.22 0.55 0.08 2.12 -1.62
/ 0.07 -0.68 1.34 0.20 -1.28 0.06 0.83 -0.34 2.19 -1.50
0.04 -1.38 0.88 0.14 -1.46 -0.29 0.02 -0.46 1.77 -1.49 / -0.11 -1.13 1.09 0.20 -1.07 -0.67 0.01 -0.56 1.45 -1.77
/ -0.15 -0.96 0.67 0.11 -1.45 -0.49 0.21 -0.49 1.87 -2.16
"""
READINGS: Any = np.array(PUBLISHED.replace("/", " ").split(), dtype=float).reshape(3, 3, 10)


def test_average_and_range_of_the_published_study() -> None:
    """Data: AIAG MSA, 4th edition (S); results recomputed (C)."""
    study = average_and_range(READINGS)
    found = (study.equipment, study.appraiser, study.gauge, study.part, study.total)
    assert found == pytest.approx((0.2019, 0.2297, 0.3058, 1.1046, 1.1461), abs=2e-4)
    assert study.categories == 5


def test_analysis_of_variance_of_the_published_study() -> None:
    """Results from an independent library (C), the interaction pooled."""
    study = analysis_of_variance(READINGS)
    found = (study.equipment, study.appraiser, study.gauge, study.part)
    assert found == pytest.approx((0.199933, 0.226838, 0.302373, 1.042327), abs=2e-6)


def least_squares(data: Any) -> tuple[float, float, float]:
    """Variances of gauge, people and plates by fitting nested linear models, with no sum of squares of our own."""
    people, trials, parts = data.shape
    person, _, part = (axis.ravel() for axis in np.indices(data.shape))
    by_person = (person[:, None] == np.arange(people)).astype(float)
    by_part = (part[:, None] == np.arange(parts)).astype(float)

    def residual(*blocks: Any) -> float:
        design = np.hstack([np.ones((data.size, 1)), *blocks])
        fitted = design @ np.linalg.lstsq(design, data.ravel(), rcond=None)[0]
        return float(((data.ravel() - fitted) ** 2).sum())

    full = residual(by_person, by_part)
    rest = full / (data.size - people - parts + 1)
    people_square = (residual(by_part) - full) / (people - 1)
    part_square = (residual(by_person) - full) / (parts - 1)
    return rest, (people_square - rest) / (parts * trials), (part_square - rest) / (people * trials)


@pytest.mark.parametrize("seed", range(12))
def test_an_independent_fit_finds_the_same(seed: int) -> None:
    draw = np.random.default_rng(seed)
    people, trials, parts = draw.integers(2, 5), draw.integers(2, 5), draw.integers(2, 11)
    data = draw.normal(0, 1.5, (people, 1, 1)) + draw.normal(0, 4, (1, 1, parts))
    data = data + draw.normal(0, 1, (people, trials, parts))
    study = analysis_of_variance(data)
    for ours, theirs in zip((study.equipment, study.appraiser, study.part), least_squares(data), strict=True):
        assert ours == pytest.approx(math.sqrt(max(theirs, 0.0)), abs=1e-6)


def test_known_spreads_are_found_on_average() -> None:
    """2 000 studies with spreads 1, 2 and 4: the mean variances come out as they went in, by both methods near."""
    draw = np.random.default_rng(5)
    shape = (2000, 4, 3, 10)
    data = draw.normal(0, 2, (2000, 4, 1, 1)) + draw.normal(0, 4, (2000, 1, 1, 10)) + draw.normal(0, 1, shape)
    by_variance = [analysis_of_variance(one) for one in data]
    assert np.mean([study.equipment**2 for study in by_variance]) == pytest.approx(1, rel=0.02)
    assert np.mean([study.appraiser**2 for study in by_variance]) == pytest.approx(4, rel=0.06)
    assert np.mean([study.part**2 for study in by_variance]) == pytest.approx(16, rel=0.04)
    by_range = [average_and_range(one) for one in data]
    assert np.mean([study.equipment for study in by_range]) == pytest.approx(1, rel=0.02)
    assert np.mean([study.part**2 for study in by_range]) == pytest.approx(16, rel=0.05)


def test_the_divisor_of_a_single_range_is_its_root_mean_square() -> None:
    """d2* for one range of three is 1.91155: AIAG's table, from memory, whose last digit scipy does not confirm."""

    def density(r: float) -> float:
        def at(x: float) -> float:
            return 6 * stats.norm.pdf(x) * stats.norm.pdf(x + r) * (stats.norm.cdf(x + r) - stats.norm.cdf(x))

        return integrate.quad(at, -9, 9)[0]

    root = math.sqrt(integrate.quad(lambda r: r**2 * density(r), 0, 14)[0])
    assert root == pytest.approx(1.91155, abs=2e-5)
    data = np.zeros((2, 2, 3)) + np.array([0.0, 1.0, 3.0])
    assert average_and_range(data).part == pytest.approx(3 / root, abs=1e-5)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 10_000), st.floats(-50, 50), st.floats(0.1, 20))
def test_studies_follow_shift_and_scale(seed: int, shift: float, scale: float) -> None:
    data = np.random.default_rng(seed).normal(0, 1, (3, 2, 5))
    for method in (average_and_range, analysis_of_variance):
        plain, moved = method(data), method(scale * data + shift)
        for name in ("equipment", "appraiser", "gauge", "part", "total"):
            assert getattr(moved, name) == pytest.approx(scale * getattr(plain, name), abs=1e-6 * scale)
        assert moved.share == pytest.approx(plain.share, abs=1e-6)


def test_people_plates_and_trials_may_stand_in_any_order() -> None:
    for method in (average_and_range, analysis_of_variance):
        first, turned = method(READINGS), method(READINGS[::-1, ::-1, ::-1])
        assert turned.gauge == pytest.approx(first.gauge) and turned.part == pytest.approx(first.part)


def test_a_gauge_that_shows_no_spread_tells_nothing() -> None:
    data = np.zeros((2, 2, 3)) + np.array([1.0, 2.0, 3.0])
    for method in (average_and_range, analysis_of_variance):
        study = method(data)
        assert study.gauge == pytest.approx(0, abs=1e-12) and study.categories is None and study.part > 0
    assert Study(0.0, 0.0, 0.0, 0.0, 0.0).share == 0.0


@pytest.mark.parametrize(
    "readings",
    [
        [],
        [[[1.0, 2.0]]],
        [[[1.0, 2.0], [1.0, 2.0]]],
        [[[1.0, 2.0]], [[1.0, 2.0]]],
        [[[1.0], [2.0]], [[1.0], [2.0]]],
        [[[1.0, 2.0], [1.0, 2.0]], [[1.0, 2.0], [1.0]]],
        [[[1.0, 2.0], [1.0, 2.0]], [[1.0, 2.0], [1.0, math.nan]]],
    ],
)
def test_a_study_that_is_not_whole_is_refused(readings: Any) -> None:
    with pytest.raises(ValueError):
        average_and_range(readings)
    with pytest.raises(ValueError):
        analysis_of_variance(readings)
