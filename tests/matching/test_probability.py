"""The probability of conformance, and the spans of predictions that are sure."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from plates.matching.probability import combined, conformance, sure_span


@pytest.mark.parametrize(
    ("y", "u", "low", "high", "expected"),
    [
        (-5.47, 0.05, -math.inf, -5.40, 0.91924),
        (509.7, 8.6, 490.0, math.inf, 0.98901),
        (13.6, 1.8, 12.5, 16.3, 0.66263),
    ],
    ids=["upper limit", "lower limit", "two limits"],
)
def test_published_examples(y, u, low, high, expected):
    # JCGM 106:2012, clause 7 (printed 0.92, 0.99, 0.66; the figures are quoted from memory and recomputed).
    assert conformance(y, u, low, high) == pytest.approx(expected, abs=5e-6)


def test_end_gauge():
    # JCGM 100:2008, H.1: contributions 25, 5.8, 3.9, 6.7, 2.9, 16.6 nm combine to u_c = 32 nm (31.67).
    assert combined(part**2 for part in (25, 5.8, 3.9, 6.7, 2.9, 16.6)) == pytest.approx(31.67, abs=0.005)


def test_without_uncertainty_the_limits_are_in():
    assert [conformance(y, 0.0, 40, 60) for y in (39, 40, 50, 60, 61)] == [0, 1, 1, 1, 0]


def test_a_negative_uncertainty_is_refused():
    with pytest.raises(ValueError, match="never negative"):
        conformance(0, -1.0, 0, 1)


@given(
    y=st.floats(-60, 60), u=st.floats(0.01, 50), low=st.floats(-50, 50), width=st.floats(0, 100)
)  # fmt: skip
def test_against_an_independent_library(y, u, low, width):
    high = low + width
    a, b = (low - y) / u, (high - y) / u
    expected = norm.cdf(b) - norm.cdf(a) if b < 0 else norm.sf(a) - norm.sf(b)
    assert conformance(y, u, low, high) == pytest.approx(expected, rel=1e-9, abs=1e-15)


def test_far_tails_keep_their_digits():
    # 1 - Φ(10) = 7.6198530e-24, from scipy.stats.norm.sf; 1 - Φ computed by subtraction would be 0.
    assert conformance(0.0, 1.0, 10.0, 20.0) == pytest.approx(float(norm.sf(10.0)), rel=1e-12)
    assert conformance(0.0, 1.0, -20.0, -10.0) == pytest.approx(float(norm.sf(10.0)), rel=1e-12)


@given(
    u=st.floats(0, 3e5),
    low=st.integers(0, 10**6),
    width=st.integers(0, 10**6),
    sure=st.floats(0.5, 0.999),
)
def test_the_sure_span_ends_where_it_says(u, low, width, sure):
    high = low + width
    span = sure_span(u, low, high, sure)
    if span is None:
        assert conformance((low + high) // 2, u, low, high) < sure
        return
    assert conformance(span[0], u, low, high) >= sure
    assert span[0] == low or conformance(span[0] - 1, u, low, high) < sure
    assert span[0] + span[1] == low + high
