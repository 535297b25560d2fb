"""Exact lengths: parse, format, round.

A length is an integer number of nanometres and its name ends in ``_nm``. One inch is 25.4 mm exactly
(international yard and pound agreement of 1959), so 0.0001 in is 2 540 nm and 0.001 mm is 1 000 nm: both
units of the trade are whole. Parsing goes through :class:`fractions.Fraction`; no float ever holds a length.
"""

import re
from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

NM_PER = {"in": 25_400_000, "thou": 25_400, "mm": 1_000_000, "um": 1_000}
INCH = NM_PER["in"]
THOU = NM_PER["thou"]
MM = NM_PER["mm"]

#: Nothing in a clutch pack is longer than this; a longer figure is a slip of the hand.
LONGEST_NM = 10 * 1_000_000_000
#: No plate is thicker and no clearance wider than this; a stack may well be higher.
THICKEST_NM = INCH

_NUMBER = r"(?:[0-9]{1,12}(?:\.[0-9]{1,30})?|\.[0-9]{1,30})"
_LENGTH = re.compile(rf"({_NUMBER}) ?(in|thou|mm|um)")
_BARE = re.compile(_NUMBER)
_TYPED = re.compile(rf"({_NUMBER})(?: ?- ?({_NUMBER}))? ?(in|thou|mm|um)?")


class LengthError(ValueError):
    """The text is not a length; ``str(error)`` says what to write instead."""


class Typed(NamedTuple):
    """What a reading field understood: the length, and the unit it was taken to be in."""

    nm: int
    unit: str


def _fraction(number: str) -> Fraction:
    return Fraction("0" + number)


def _exact(number: str, unit: str, text: str) -> int:
    value = _fraction(number) * NM_PER[unit]
    if value.denominator != 1:
        raise LengthError(f"{text!r} is finer than a nanometre; give fewer places.")
    if value > LONGEST_NM:
        raise LengthError(f"{text!r} is longer than ten metres; check the figure and its unit.")
    return int(value)


def length_parse(text: str) -> int:
    """Nanometres of ``"0.0771 in"``, ``"77.1 thou"``, ``"1.958 mm"`` or ``"1958um"``.

    Unsigned ASCII decimal, at most one space, one of in, thou, mm, um. Raises :class:`LengthError`.
    """
    match = _LENGTH.fullmatch(text)
    if match:
        return _exact(match[1], match[2], text)
    if _BARE.fullmatch(text):
        raise LengthError(f"{text!r} has no unit: write in, thou, mm or um behind it.")
    raise LengthError(f"{_shown(text)} is not a length: write a plain number and in, thou, mm or um, as 0.0771 in.")


def reading_parse(text: str, unit_first: str = "in", longest_nm: int | None = None) -> Typed:
    """What a person typed into a reading field: ``74``, ``.074``, ``1.88``, ``1.490-.158``, or with a unit.

    In a shop that works in inch a whole number is thou, one below 1 is inch, one with a point from 1 on is mm; a
    subtraction is inch when it starts below 10, else mm. Where nothing is longer than ``longest_nm``, a number with a
    point that would be as mm is thou: ``74.5``. In a shop that works in mm a bare number is mm. The field shows both
    units before the number counts. Raises :class:`LengthError`.
    """
    parts = _TYPED.fullmatch(text.strip())
    if not parts:
        raise LengthError(f"{_shown(text)} is not a reading: type 74, .074, 1.88 or 1.490-.158.")
    first, second, unit = parts.groups()
    if not unit:
        start = _fraction(first)
        if unit_first == "mm":
            unit = "mm"
        elif second:
            unit = "in" if start < 10 else "mm"
        elif "." in first:
            too_long = longest_nm is not None and start * MM > longest_nm
            unit = "in" if start < 1 else "thou" if too_long else "mm"
        else:
            unit = "thou"
    length_nm = _exact(first, unit, text) - (_exact(second, unit, text) if second else 0)
    if length_nm < 0:
        raise LengthError(f"{_shown(text)} is below zero: the larger figure comes first.")
    return Typed(length_nm, unit)


def _shown(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:40] + "…")


def half_even(value: Fraction | float) -> int:
    """The nearest integer, a half to the even one (NIST SP 811 B.7.1)."""
    return round(value)


def mean_nm(lengths_nm: Iterable[int]) -> int:
    """The mean, rounded half-even to 1 nm."""
    values = list(lengths_nm)
    return half_even(Fraction(sum(values), len(values)))


def _fixed(length_nm: int, unit: str, places: int) -> str:
    # In whole numbers: every answer holds dozens of lengths, and fractions are slow.
    count, rest = divmod(length_nm * 10**places, NM_PER[unit])
    if 2 * rest > NM_PER[unit] or (2 * rest == NM_PER[unit] and count % 2):
        count += 1
    return f"{Decimal(count).scaleb(-places):f}"


def inch(length_nm: int, places: int = 4) -> str:
    """Inch, half-even, to 4 places unless told: ``"0.0771"``."""
    return _fixed(length_nm, "in", places)


def mm(length_nm: int, places: int = 3) -> str:
    """Millimetres, half-even, to 3 places unless told: ``"1.958"``."""
    return _fixed(length_nm, "mm", places)


def thou(length_nm: int, places: int = 1) -> str:
    """Thousandths of an inch, half-even: ``"77.1"``."""
    return _fixed(length_nm, "thou", places)


def both(length_nm: int, unit_first: str = "in") -> str:
    """As a person reads it, both units: ``"0.0771 in (1.958 mm)"``."""
    parts = f"{inch(length_nm)} in", f"{mm(length_nm)} mm"
    first, second = parts if unit_first == "in" else parts[::-1]
    return f"{first} ({second})"


def exact_text(length_nm: int, unit: str = "") -> str:
    """A length that reads back to the same nanometre: in this unit where it is a plain number of it, else, and unless
    told, inch where four places hold it, else millimetres.
    """
    whole = length_nm % 127 == 0 if unit == "in" else unit == "mm"  # an inch is 127 times a product of twos and fives
    if whole:
        return f"{(Decimal(length_nm) / NM_PER[unit]).normalize():f} {unit}"
    if length_nm % (NM_PER["in"] // 10_000) == 0:
        return f"{inch(length_nm)} in"
    if length_nm % (NM_PER["mm"] // 1_000) == 0:
        return f"{mm(length_nm)} mm"
    whole_mm, rest = divmod(length_nm, NM_PER["mm"])
    return f"{whole_mm}.{rest:06d} mm"


def signed(length_nm: float, unit: str, places: int = 1) -> str:
    """A difference with its sign, in thousandths of an inch (to so many places) or in millimetres: ``"−2.0 thou"``.

    Nothing at all has no sign.
    """
    whole_nm = half_even(abs(length_nm))
    sign = "" if not whole_nm else "−" if length_nm < 0 else "+"
    return sign + (f"{thou(whole_nm, places)} thou" if unit == "in" else f"{mm(whole_nm)} mm")


def length_json(length_nm: int) -> dict[str, int | str]:
    """The form in which every answer carries a length."""
    return {"nm": length_nm, "in": inch(length_nm), "mm": mm(length_nm)}
