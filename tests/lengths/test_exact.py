"""Lengths are whole nanometres: read exactly, shown half-even, and nothing else is a length."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plates.lengths import (
    INCH,
    LONGEST_NM,
    MM,
    NM_PER,
    LengthError,
    both,
    inch,
    length_json,
    length_parse,
    mean_nm,
    mm,
    signed,
)

lengths_nm = st.integers(min_value=0, max_value=LONGEST_NM)
units = st.sampled_from(sorted(NM_PER))


@st.composite
def whole_texts(draw: st.DrawFn) -> tuple[str, str, str]:
    """(number, space, unit) of a length that is whole in nanometres."""
    unit = draw(units)
    places = {"in": 5, "thou": 2, "mm": 6, "um": 3}[unit]
    count = draw(st.integers(0, LONGEST_NM * 10**places // NM_PER[unit]))
    number = f"{count // 10**places}.{count % 10**places:0{places}}"
    if draw(st.booleans()) and number.startswith("0."):
        number = number[1:]
    return number, draw(st.sampled_from(["", " "])), unit


@given(whole_texts())
def test_reading_is_exact_by_fractions_and_by_decimals(parts: tuple[str, str, str]) -> None:
    number, space, unit = parts
    length_nm = length_parse(f"{number}{space}{unit}")
    assert length_nm == Fraction("0" + number) * NM_PER[unit]
    assert Decimal(length_nm) == Decimal("0" + number) * NM_PER[unit]


@given(lengths_nm)
def test_what_is_written_to_the_nanometre_is_read_back(length_nm: int) -> None:
    assert length_parse(f"{length_nm // MM}.{length_nm % MM:06} mm") == length_nm


@given(st.integers(0, LONGEST_NM // 2540))
def test_four_places_of_an_inch_are_whole_and_come_back(tenths: int) -> None:
    assert length_parse(f"{inch(tenths * 2540)} in") == tenths * 2540


@given(st.integers(0, LONGEST_NM // 1000))
def test_three_places_of_a_millimetre_are_whole_and_come_back(micrometres: int) -> None:
    assert length_parse(f"{mm(micrometres * 1000)} mm") == micrometres * 1000


@given(lengths_nm)
def test_shown_lengths_are_the_nearest_half_to_even(length_nm: int) -> None:
    assert Decimal(inch(length_nm)) * 10**4 == round(Fraction(length_nm, 2540))
    assert Decimal(mm(length_nm)) * 10**3 == round(Fraction(length_nm, 1000))
    assert length_json(length_nm) == {"nm": length_nm, "in": inch(length_nm), "mm": mm(length_nm)}


@given(st.lists(lengths_nm, min_size=1, max_size=12))
def test_a_mean_is_a_whole_nanometre_within_half_of_the_true_one(values: list[int]) -> None:
    mean = mean_nm(values)
    assert isinstance(mean, int)
    assert abs(Fraction(sum(values), len(values)) - mean) <= Fraction(1, 2)


def test_halves_go_to_the_even_one() -> None:
    assert [mean_nm(pair) for pair in ([0, 1], [1, 2], [2, 3], [3, 4])] == [0, 2, 2, 4]
    assert [inch(1270), inch(3 * 1270), mm(500), mm(1500)] == ["0.0000", "0.0002", "0.000", "0.002"]


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "in", "0.077", "77", ".", ". in", "1. in", "0.077  in", " 0.077 in", "0.077 in ", "0.077\tin",
        "0.077\u00a0in", "-0.077 in", "+0.077 in", "\u22120.077 in", "1e-3 in", "0x1 in", "1_0 mm", "1,5 mm",
        "1'000 mm",
        "٠.٧ in", "０.077 in", "1/2 in", "0.077 IN", "0.077 inch", '0.077"', "0.077 m", "0.077 cm", "0.077 µm",
        "0.077 nm", "NaN in", "inf in", "Infinity mm", "0.077 in\n", "0.077 in\x00", "0.077 in mm", "1.5.2 mm",
    ],
)  # fmt: skip
def test_nothing_but_plain_ascii_is_a_length(text: str) -> None:
    with pytest.raises(LengthError):
        length_parse(text)


@given(st.text(max_size=12))
def test_any_other_text_is_refused_or_was_a_plain_length(text: str) -> None:
    try:
        length_nm = length_parse(text)
    except LengthError:
        return
    assert text.isascii() and text[0] in "0123456789." and 0 <= length_nm <= LONGEST_NM


@pytest.mark.parametrize("text", ["0.0000001 mm", "0.00000001 in", "0.0001 um", "0.00001 thou", "1.9999999 mm"])
def test_what_is_finer_than_a_nanometre_is_refused_not_rounded(text: str) -> None:
    with pytest.raises(LengthError, match="nanometre"):
        length_parse(text)


@pytest.mark.parametrize("text", ["10000.1 mm", "394 in", "999999999999 in", "9" * 13 + " um"])
def test_a_giant_is_a_slip_of_the_hand(text: str) -> None:
    with pytest.raises(LengthError):
        length_parse(text)


def test_a_bare_number_is_told_to_name_its_unit() -> None:
    with pytest.raises(LengthError, match="no unit"):
        length_parse("0.077")


def test_both_units_the_shops_own_first() -> None:
    assert both(INCH * 771 // 10_000) == "0.0771 in (1.958 mm)"
    assert both(INCH * 771 // 10_000, "mm") == "1.958 mm (0.0771 in)"


@pytest.mark.parametrize(
    ("length_nm", "said"),
    [(-50_800, ("−2.0 thou", "−0.051 mm")), (4_000, ("+0.2 thou", "+0.004 mm")), (0, ("0.0 thou", "0.000 mm"))],
)
def test_a_difference_carries_its_sign_and_nothing_carries_none(length_nm: int, said: tuple[str, str]) -> None:
    assert (signed(length_nm, "in"), signed(length_nm, "mm")) == said
    assert signed(4_000, "in", 2) == "+0.16 thou"


def test_differences_have_a_mean_too() -> None:
    """Half-even on either side of zero (NIST SP 811 B.7.1)."""
    assert [mean_nm(pair) for pair in ([-3, 0], [3, 0], [-1, 0], [1, 0], [-5, 3])] == [-2, 2, 0, 0, -1]
