"""A count set against the record, beside every way to pair them."""

from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plates.stock.compare import Recorded, pairs_of

#: 2·√2·0.0002 in, in nm, cut to whole.
AGREE = 14_368


def test_two_readings_of_one_plate_agree_within_the_rule() -> None:
    assert Recorded(2_000_000, 0.0).within_nm == AGREE
    for off, agreed in ((AGREE, 1), (AGREE + 1, 0)):
        assert len(pairs_of([2_000_000 + off], [Recorded(2_000_000, 0.0)]).agreed) == agreed


def test_nearest_first_would_leave_one_over() -> None:
    """Reading 0 is nearest to plate 1, which reading 1 needs: one to one, both agree."""
    plates = [Recorded(1_000_000, 0.0), Recorded(1_012_000, 0.0)]
    assert pairs_of([1_010_000, 1_024_000], plates).agreed == [(0, 0), (1, 1)]


def test_what_moved_is_never_missing_and_comes_second() -> None:
    plates = [Recorded(1_000_000, 0.0, moved=True), Recorded(1_010_000, 0.0)]
    assert pairs_of([1_000_000], plates) == ([(0, 1)], [], [], [])
    assert pairs_of([1_000_000, 1_001_000], plates).over == []
    assert pairs_of([], plates).missing == [1]


def test_a_reading_that_disagrees_goes_with_the_plate_left_over() -> None:
    plates = [Recorded(1_000_000, 0.0, 50_000), Recorded(1_200_000, 0.0, 50_000)]
    assert pairs_of([1_040_000, 1_300_000], plates) == ([], [(0, 0)], [1], [1])


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.integers(1_000_000, 1_040_000), max_size=5),
    st.lists(
        st.tuples(st.integers(1_000_000, 1_040_000), st.sampled_from([0.0, 5_080.0]), st.booleans()), max_size=5
    ),
)
def test_no_other_way_is_better(readings: list[int], recorded: list[tuple[int, float, bool]]) -> None:
    plates = [Recorded(thickness, u, moved=moved) for thickness, u, moved in recorded]

    def worth(pairs: list[tuple[int, int]]) -> tuple[int, int, int]:
        off = [abs(readings[row] - plates[place].thickness_nm) for row, place in pairs]
        return -len(pairs), sum(plates[place].moved for _, place in pairs), sum(off)

    best = (0, 0, 0)
    seats = [*range(len(plates)), *[-1] * len(readings)]
    for way in set(permutations(seats, len(readings))):
        pairs = [
            (row, place)
            for row, place in enumerate(way)
            if place >= 0 and abs(readings[row] - plates[place].thickness_nm) <= plates[place].within_nm
        ]
        best = min(best, worth(pairs))
    found = pairs_of(readings, plates)
    assert worth(found.agreed) == best
    assert len({row for row, _ in found.agreed}) == len({place for _, place in found.agreed}) == len(found.agreed)


@pytest.mark.parametrize("count", [0, 400])
def test_a_full_bin(count: int) -> None:
    plates = [Recorded(1_950_000 + 50 * row, 0.0) for row in range(count)]
    assert len(pairs_of([plate.thickness_nm for plate in plates], plates).agreed) == count
