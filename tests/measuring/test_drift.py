"""The finding that readings run low or high."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plates.lengths import INCH, THOU
from plates.measuring.charts import Drift, drift, drift_words

FIRST = datetime(2026, 2, 2, 9, tzinfo=UTC)
SCATTER_NM = 1.5 * THOU


def dated(values: list[float]) -> list[tuple[datetime, float]]:
    return [(FIRST + timedelta(days=row), value) for row, value in enumerate(values)]


def scatter(seed: int, count: int, mean_nm: float = 0.0) -> list[float]:
    return (np.random.default_rng(seed).normal(0, SCATTER_NM, count) + mean_nm).tolist()


def test_readings_that_began_to_run_low() -> None:
    found = drift(dated([*scatter(1, 29), *scatter(2, 15, -4 * THOU)]))
    assert found is not None
    # The change came with the thirtieth reading, on 3 March.
    assert abs(found.since - datetime(2026, 3, 3, 9, tzinfo=UTC)) <= timedelta(days=2)
    assert found.mean_nm == pytest.approx(-4 * THOU, abs=1.2 * THOU)
    assert found.points == pytest.approx(15, abs=2)


def test_it_is_said_in_plain_words() -> None:
    since = datetime(2026, 3, 3, tzinfo=UTC)
    assert (
        drift_words("feeler readings", Drift(since, -2 * THOU, 12))
        == "feeler readings run 0.0020 in (0.051 mm) low since 3 March 2026"
    )
    assert "0.051 mm (0.0020 in) high since" in drift_words("readings", Drift(since, 2 * THOU, 12), "mm")
    alone = drift_words("feeler readings", Drift(since, 9 * THOU, 1))
    assert alone.startswith("the last of the feeler readings, of 3 March 2026, is 0.0090 in (0.229 mm) high:")


def test_readings_that_always_ran_high_are_found_too() -> None:
    """Centre zero: a residual that is the same from the first reading on is a drift all the same."""
    found = drift(dated(scatter(3, 12, 3 * THOU)))
    assert found is not None and found.mean_nm > 0 and found.points >= 10


def test_one_reading_out_of_line_is_no_run() -> None:
    quiet = [1.0 * THOU, -1.0 * THOU] * 10
    found = drift(dated([*quiet, 9.0 * THOU]))
    assert found == Drift(FIRST + timedelta(days=20), 9 * THOU, 1)


def test_one_pack_built_wrongly_is_no_drift_of_what_came_after() -> None:
    """Far out once, and as predicted since: nobody is sent to look at a gauge for it."""
    quiet = [1.0 * THOU, -0.5 * THOU, 0.6 * THOU, -0.4 * THOU, 0.3 * THOU]
    assert drift(dated([*quiet, 12.0 * THOU, *quiet, *quiet])) is None


def test_what_was_put_right_is_no_finding() -> None:
    """Low for a while, then back around zero: nothing runs low any more."""
    back = [0.5 * THOU, -0.5 * THOU] * 15
    assert drift(dated([*scatter(4, 10), *scatter(5, 10, -4 * THOU), *back])) is None


def test_fewer_than_eight_values_say_nothing() -> None:
    assert drift(dated([-9.0 * THOU] * 7)) is None
    assert drift(dated([-9.0 * THOU] * 8)) is not None


def test_a_difference_that_no_screen_shows_is_none() -> None:
    """All the same and next to nothing: there is no scatter to judge it by, only rounding to 0.0001 in."""
    assert drift(dated([INCH / 100_000] * 20)) is None


def test_false_alarms_are_rare_and_true_ones_are_not() -> None:
    """Out of 1 000 groups in control few are found (sigma from twenty values is itself uncertain); of those shifted by
    two sigma nearly all, and the day lies near the true one.
    """
    draws = np.random.default_rng(11).normal(0, SCATTER_NM, (1000, 35))
    false = sum(drift(dated(row.tolist())) is not None for row in draws)
    draws[:, 20:] -= 2 * SCATTER_NM
    found = [drift(dated(row.tolist())) for row in draws]
    assert false <= 80
    assert sum(one is not None for one in found) >= 990
    off = [abs((one.since - FIRST).days - 20) for one in found if one]
    assert sum(off) / len(off) < 2


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.floats(-1e5, 1e5), min_size=8, max_size=30), st.randoms(use_true_random=False))
def test_the_order_given_never_matters_and_the_sign_follows(values: list[float], shuffler: object) -> None:
    points = dated(values)
    found = drift(points)
    shuffled = points.copy()
    shuffler.shuffle(shuffled)  # type: ignore[attr-defined]
    assert drift(shuffled) == found
    mirrored = drift([(at, -value) for at, value in points])
    assert mirrored == (found and Drift(found.since, -found.mean_nm, found.points))
