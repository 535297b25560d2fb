"""Windows: the rule of the trade, a manual's figures, and figures printed in both units."""

import re
from dataclasses import dataclass
from fractions import Fraction

from plates.catalogue.spec_models import WindowRefused
from plates.lengths import INCH, NM_PER, both, half_even, length_parse

#: Rule of the trade for passenger and light-truck units where no manual gives a figure: 0.008 to 0.012 in for each
#: counted friction (common practice, no source). Per lined face half of it, which is whole in nanometres.
RULE_LOW_PER_FACE_NM = INCH * 8 // 2000
RULE_HIGH_PER_FACE_NM = INCH * 12 // 2000


class UnitsDisagree(WindowRefused):
    code, title = "units_disagree", "The two printed units disagree"


@dataclass(frozen=True)
class Window:
    """What a pack is built to, in nanometres; ``unit`` is the one that governs."""

    source: str
    low_nm: int
    high_nm: int
    target_nm: int
    reference: str = ""
    unit: str = "in"


@dataclass(frozen=True)
class Printed:
    """A manual's limits as printed in one unit: the text with its unit."""

    low: str
    high: str

    @property
    def unit(self) -> str:
        return "mm" if self.low.rstrip().endswith(("mm", "um")) else "in"


def counted_frictions(faces: int) -> int | float:
    """Lined faces / 2: five outer and five inner plates lined on one side count 5, not 10."""
    return faces // 2 if faces % 2 == 0 else faces / 2


def _target(low_nm: int, high_nm: int, target_nm: int | None) -> int:
    target = half_even(Fraction(low_nm + high_nm, 2)) if target_nm is None else target_nm
    if not low_nm <= target <= high_nm:
        raise WindowRefused(
            f"The target {both(target)} lies outside {both(low_nm)} to {both(high_nm)}.",
            [("/target", "lies in the window")],
        )
    return target


def window_rule(*, faces: int, measures: str, target_nm: int | None = None) -> Window:
    """0.008 to 0.012 in for each counted friction (common practice, no source); raises :class:`WindowRefused`."""
    if measures != "gap":
        raise WindowRefused(
            "The rule of the trade is for clearance. Give the manual's limits of the stack height.",
            [("/window/source", "a height pack takes a manual's window")],
        )
    if faces == 0:
        raise WindowRefused(
            "The rule of the trade counts frictions, and this stack has none. Give a manual's window.",
            [("/window/source", "a stack without frictions takes a manual's window")],
        )
    low, high = faces * RULE_LOW_PER_FACE_NM, faces * RULE_HIGH_PER_FACE_NM
    return Window("rule", low, high, _target(low, high, target_nm))


def window_manual(
    *, low: str, high: str, reference: str, also: Printed | None = None, governs: str = "", target_nm: int | None = None
) -> Window:
    """A manual's window; where it prints both units, they must agree or a person says which one governs."""
    printed = Printed(low, high)
    if also is not None:
        if also.unit == printed.unit:
            raise WindowRefused(
                "The second figures are those of the other unit.", [("/window/also", "give the other unit")]
            )
        pairs = [(printed.low, also.low), (printed.high, also.high)]
        bad = [f"{one} is not {other}" for one, other in pairs if not printed_agree(one, other)]
        if bad and not governs:
            raise UnitsDisagree(
                f"The manual contradicts itself: {'; '.join(bad)}. Look it up again, then say which unit governs.",
                [("/window/governs", "say in or mm")],
            )
        if governs == also.unit:
            printed = also
    low_nm, high_nm = length_parse(printed.low), length_parse(printed.high)
    if low_nm >= high_nm:
        raise WindowRefused(
            f"The low limit {both(low_nm)} is not below the high one {both(high_nm)}.",
            [("/window/low", "lies below high"), ("/window/high", "lies above low")],
        )
    return Window("manual", low_nm, high_nm, _target(low_nm, high_nm, target_nm), reference, printed.unit)


def _last_place_nm(text: str) -> Fraction:
    match = re.fullmatch(r"([0-9]*)(?:\.([0-9]+))? ?([a-z]+)", text)
    assert match is not None
    return Fraction(NM_PER[match[3]], 10 ** len(match[2] or ""))


def printed_agree(one: str, other: str) -> bool:
    """Whether two printed figures may be the same length: each was rounded to its own last place."""
    slack = (_last_place_nm(one) + _last_place_nm(other)) / 2
    return abs(length_parse(one) - length_parse(other)) <= slack
