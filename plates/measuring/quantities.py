"""Pressures, forces, volumes and the like as people write them: a plain number and its unit.

Factors are exact (NIST SP 811, App. B: 1 lbf = 4.4482216152605 N, 1 in = 25.4 mm). A bare number is refused.
"""

import re
from dataclasses import dataclass
from fractions import Fraction

LBF = Fraction("4.4482216152605")  # N
INCH_M = Fraction("0.0254")
PSI = LBF / INCH_M**2  # Pa
LB_FT = LBF * 12 * INCH_M  # N·m
#: Units as they are shown, where that is not as they are typed.
SIGNS = {"in3": "in³", "mm2/s": "mm²/s", "kg/m3": "kg/m³"}


@dataclass(frozen=True)
class Scale:
    """What one measure is written in: each unit in SI units, the first the inch system's, the second the metric one's
    (where there is but one, it is both); ``places`` as shown.
    """

    name: str
    units: dict[str, Fraction]
    places: tuple[int, int]

    def shown(self, si: float) -> tuple[str, str]:
        """In the inch system and in the metric one, each with its unit."""
        us, *further = self.units.items()
        metric = further[0] if further else us
        return _shown(si, us, self.places[0]), _shown(si, metric, self.places[1])


def _shown(si: float, unit: tuple[str, Fraction], places: int) -> str:
    text = f"{si / float(unit[1]):.{places}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return f"{text.replace('-', '−')} {SIGNS.get(unit[0], unit[0])}"


PRESSURE = Scale("pressure", {"psi": PSI, "kPa": Fraction(1000), "bar": Fraction(100_000)}, (1, 0))
FORCE = Scale("force", {"lbf": LBF, "N": Fraction(1)}, (0, 0))
RATE = Scale("spring rate", {"lbf/in": LBF / INCH_M, "N/mm": Fraction(1000)}, (0, 1))
VOLUME = Scale("volume", {"in3": INCH_M**3, "mL": Fraction(1, 10**6)}, (3, 2))
TORQUE = Scale("torque", {"lb·ft": LB_FT, "N·m": Fraction(1)}, (0, 0))
VISCOSITY = Scale("kinematic viscosity", {"mm2/s": Fraction(1, 10**6), "cSt": Fraction(1, 10**6)}, (1, 1))
DENSITY = Scale("density", {"kg/m3": Fraction(1)}, (0, 0))
TIME = Scale("time", {"ms": Fraction(1, 1000)}, (0, 0))
WARMER = Scale("temperature difference", {"K": Fraction(1)}, (0, 0))

_QUANTITY = re.compile(r"([0-9]{1,9}(?:\.([0-9]{1,9}))?|\.([0-9]{1,9})) ?([A-Za-z][A-Za-z0-9/]*)")


class QuantityError(ValueError):
    """The text is no such quantity; ``str(error)`` says what to write instead."""


@dataclass(frozen=True)
class Quantity:
    """A quantity as written, in SI units, with the size of its last place: it was rounded to that."""

    text: str
    unit: str
    si: Fraction
    last_place: Fraction


def quantity_parse(text: str, scale: Scale) -> Quantity:
    """``"40 psi"``, ``"275.8kPa"``: unsigned ASCII decimal, at most one space, a unit of the scale; zero is allowed.

    Raises :class:`QuantityError`.
    """
    match = _QUANTITY.fullmatch(text)
    if match is None or match[4] not in scale.units:
        raise QuantityError(f"Write the {scale.name} as a plain number with its unit: {', '.join(scale.units)}.")
    factor, places = scale.units[match[4]], len(match[2] or match[3] or "")
    return Quantity(text, match[4], Fraction("0" + match[1]) * factor, factor / 10**places)


def agree(one: Quantity, other: Quantity) -> bool:
    """Whether two printed figures may be the same quantity: each was rounded to its own last place."""
    return abs(one.si - other.si) <= (one.last_place + other.last_place) / 2
