"""What a person may type into a reading field, and how it is understood before it counts."""

import pytest

from plates.lengths import THICKEST_NM, LengthError, length_parse, reading_parse


@pytest.mark.parametrize(
    ("typed", "means", "unit"),
    [
        ("74", "74 thou", "thou"),
        (".074", "0.074 in", "in"),
        ("0.074", "0.074 in", "in"),
        ("1.88", "1.88 mm", "mm"),
        ("1.490-.158", "1.332 in", "in"),
        ("1.490 - .158", "1.332 in", "in"),
        ("38.46-1.20", "37.26 mm", "mm"),
        ("1.88 mm", "1.88 mm", "mm"),
        ("1.88in", "1.88 in", "in"),
        ("74 thou", "0.074 in", "thou"),
        (" 74 ", "74 thou", "thou"),
        ("2.10-.30 mm", "1.80 mm", "mm"),
    ],
)
def test_in_a_shop_that_works_in_inch(typed: str, means: str, unit: str) -> None:
    assert reading_parse(typed) == (length_parse(means), unit)


@pytest.mark.parametrize(
    ("typed", "means"),
    [
        ("74.5", "74.5 thou"),
        ("25.5", "25.5 thou"),
        ("25.4", "25.4 mm"),
        ("1.88", "1.88 mm"),
        ("74.5 mm", "74.5 mm"),
        ("38.46-1.20", "37.26 mm"),
    ],
)
def test_where_nothing_is_an_inch_thick_a_point_does_not_make_it_mm(typed: str, means: str) -> None:
    assert reading_parse(typed, "in", THICKEST_NM).nm == length_parse(means)
    assert reading_parse("74.5", "mm", THICKEST_NM).nm == length_parse("74.5 mm")


@pytest.mark.parametrize(
    ("typed", "means"),
    [("74", "74 mm"), (".82", "0.82 mm"), ("1.88", "1.88 mm"), ("1.490-.158", "1.332 mm"), ("74 thou", "0.074 in")],
)
def test_in_a_shop_that_works_in_millimetres(typed: str, means: str) -> None:
    assert reading_parse(typed, "mm").nm == length_parse(means)


@pytest.mark.parametrize("typed", ["", "-", "-74", "7 4", "1.490--.158", "1-2-3", "74 furlong", "٧٤", "1,88", "1e2"])
def test_anything_else_is_refused(typed: str) -> None:
    with pytest.raises(LengthError):
        reading_parse(typed)


def test_a_subtraction_below_zero_is_told_the_order() -> None:
    with pytest.raises(LengthError, match="larger figure comes first"):
        reading_parse(".158-1.490")
