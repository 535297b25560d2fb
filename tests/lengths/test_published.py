"""Lengths against figures from outside. (S) read in a stored copy of the source, (C) recomputed, (M) from memory."""

from fractions import Fraction

import pytest

from plates.catalogue.windows import printed_agree
from plates.lengths import INCH, MM, half_even, inch, length_parse, mean_nm, mm


def test_an_inch_is_25_4_mm_exactly() -> None:
    """NIST SP 811, Appendix B; the international agreement of 1959."""
    assert INCH * 10 == 254 * MM
    assert length_parse("1 in") == length_parse("25.4 mm") == length_parse("1000 thou")


def test_convert_first_then_round() -> None:
    """NIST SP 811, B.7.2 (S, C): 36 ft is 10.9728 m, and 11.0 m to three figures. Here in twelfths: 36 in."""
    length_nm = length_parse("36 in") * 12
    assert length_nm == 10_972_800_000
    assert half_even(Fraction(length_nm, 10**8)) == 110


@pytest.mark.parametrize(
    ("given", "shown"), [("3.250", "3.2"), ("12.650", "12.6"), ("3.750", "3.8"), ("16.150", "16.2")]
)
def test_a_half_goes_to_the_even_digit(given: str, shown: str) -> None:
    """NIST SP 811, B.7.1 (M: printed figures from memory; S in a secondary note)."""
    assert half_even(Fraction(given) * 10) == Fraction(shown) * 10
    # The same figures as lengths, in hundredths of a millimetre: 0.03250 mm is shown as 0.032.
    assert Fraction(mm(int(Fraction(given) * 10_000))) * 100 == Fraction(shown)


@pytest.mark.parametrize(
    ("inches", "millimetres"),
    [
        # US Army TM 9-2320-272-24-4, 5-56 (S, C)
        ("0.073 in", "1.85 mm"),
        ("0.141 in", "3.58 mm"),
        # TM 5-4210-229-14&P, p. 6-86 (S, C)
        ("0.074 in", "1.88 mm"),
        ("0.147 in", "3.73 mm"),
        # TM 10-3930-664-24 (S, C)
        ("0.080 in", "2.03 mm"),
        ("0.135 in", "3.43 mm"),
        # TM 9-2320-387-24-2, Table 28-2 (S, C)
        ("0.004 in", "0.102 mm"),
        ("0.022 in", "0.559 mm"),
    ],
)
def test_limits_printed_in_both_units_agree(inches: str, millimetres: str) -> None:
    assert printed_agree(inches, millimetres) and printed_agree(millimetres, inches)
    places = len(millimetres.split(".")[1].split()[0])
    step = Fraction(MM, 10**places)
    assert half_even(length_parse(inches) / step) * step == length_parse(millimetres)


def test_a_published_misprint_is_flagged() -> None:
    """A published manual (S, C) prints 0.102 in as 2.74 mm; the true figure is 2.591."""
    assert not printed_agree("0.102 in", "2.74 mm")
    assert mm(length_parse("0.102 in")) == "2.591"


def test_the_mean_of_four_depths_less_the_plate() -> None:
    """Published service bulletin (S, C): 1.491, 1.488, 1.492, 1.489 average 1.490; less 0.158 is 1.332."""
    mean = mean_nm(length_parse(f"{text} in") for text in ("1.491", "1.488", "1.492", "1.489"))
    assert inch(mean) == "1.4900"
    assert inch(mean - length_parse("0.158 in")) == "1.3320"
