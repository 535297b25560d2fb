"""The probabilities are true: a short form of ``python -m tests.benchmarks.calibration``, always the same packs.

Of the options called 90 to 100 %, 80 to 90 % and so on, the share that lands in the window is the one called, within
the sampling error of so many packs (binomial; one bin in a thousand is off by chance). The controls show that it can
fail: where the kernel is kept from knowing a contribution, it is found out.
"""

import pytest

from tests.benchmarks.calibration import ALL, binned, drawing, simulate
from tests.benchmarks.packs_read import HABITS, USUAL, Habits


def off(packs: int, forget: str = "", habits: Habits = USUAL) -> list[str]:
    """The tenths that are off, and *all* where they are off together."""
    bins = binned(simulate(packs, 1, [forget] if forget else [], habits))
    assert bins[-1].count > 0.8 * packs
    return [f"{one.name}: {one.z:+.1f}" for one in bins if one.off]


def test_called_probability_is_observed_share() -> None:
    bins = binned(simulate(2_000, 1))
    assert len(bins) == 11 and bins[-1].name == ALL
    assert all(one.count >= 60 for one in bins)
    assert [one for one in bins if one.off] == []


def test_it_holds_where_gauges_share_large_errors() -> None:
    assert off(1_000, habits=HABITS["shared"]) == []


@pytest.mark.parametrize(
    ("forget", "shop", "packs"),
    [
        ("reading", "", 1_000),
        ("wave", "wave", 1_000),
        ("book", "book", 1_000),
        ("shared", "shared", 1_000),
        ("correlation", "shared", 1_500),
    ],
)
def test_a_contribution_that_is_forgotten_is_found_out(forget: str, shop: str, packs: int) -> None:
    found = off(packs, forget, HABITS[shop] if shop else USUAL)
    assert any(one.startswith(f"{ALL}: -") for one in found), found


def test_a_bin_is_off_by_the_binomial_count() -> None:
    """100 options called 50 %: 50 ± 5 land. 66 are within 3.3 of them, 67 are not."""
    for landed, expected in ((34, False), (66, False), (67, True), (33, True)):
        bins = binned([(0.5, row < landed) for row in range(100)])
        assert [one.off for one in bins] == [expected, expected]
        assert bins[0].name == "50 to 60" and bins[0].sampling == pytest.approx(0.05)


def test_certain_options_fall_into_the_last_bin() -> None:
    bins = binned([(1.0, True), (0.0, False), (0.9, True)])
    assert [(one.name, one.count) for one in bins] == [("0 to 10", 1), ("90 to 100", 2), (ALL, 3)]
    assert drawing(bins).count("<circle") == 2
