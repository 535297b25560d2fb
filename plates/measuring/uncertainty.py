"""Standard uncertainties in the manner of JCGM 100: contributions, how they combine, and the figures to begin with.

Independent contributions combine as the root of the sum of squares (JCGM 100:2008, 5.1.2). An error that several
readings share - the limit of error of one gauge - is fully correlated: it adds up linearly over them, each with its
sign, before it is squared (5.2.2), so it cancels between one plate out and one in. The starting figures are common
practice, no source; what a shop has measured replaces them.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from plates.lengths import INCH
from plates.measuring.constants import d2

#: u of the mean of several readings of one pack, by method (common practice, no source).
READING_U_NM = {
    "feeler": INCH * 15 / 10_000,
    "indicator": INCH * 10 / 10_000,
    "depth": INCH * 14 / 10_000,
    "air": INCH * 20 / 10_000,
}
#: The methods in words, for whoever chooses one.
METHODS = [
    ("feeler", "feeler gauge"),
    ("indicator", "dial indicator"),
    ("depth", "depth micrometer"),
    ("air", "air, with an indicator"),
]
#: What a single reading adds for tilt, and a wave translation (common practice, no source).
SINGLE_U_NM = INCH * 10 / 10_000
WAVE_U_NM = INCH * 15 / 10_000
#: Each plate that goes out or in: its micrometer, and stacked against measured height (common practice, no source).
MICROMETER_U_NM = INCH * 2 / 10_000
STACKED_U_NM = INCH * 5 / 10_000
#: Readings of one pack may spread over this much, or a quarter of the window's width, whichever is more.
SPREAD_NM = INCH * 3 // 1000


@dataclass(frozen=True)
class Figures:
    """The figures above in nm, as a shop has set them; a question keeps those that it was asked with."""

    reading_nm: Mapping[str, float] = field(default_factory=lambda: dict(READING_U_NM))
    single_nm: float = SINGLE_U_NM
    wave_nm: float = WAVE_U_NM
    micrometer_nm: float = MICROMETER_U_NM
    stacked_nm: float = STACKED_U_NM
    spread_nm: int = SPREAD_NM


TO_BEGIN_WITH = Figures()
NORMAL, RECTANGULAR = "normal", "rectangular"


@dataclass(frozen=True)
class Part:
    """One line of a budget: a contribution with its standard uncertainty in nm.

    ``times``: how many independent errors of this size there are; for a ``shared`` one, named after its gauge, the sum
    of their signs, since all of them are the same error. ``freedom``: degrees of freedom, infinite where it is known.
    """

    name: str
    u_nm: float
    distribution: str = NORMAL
    times: int = 1
    shared: str = ""
    freedom: float = math.inf

    @property
    def contribution_nm(self) -> float:
        """What it adds to the root of the sum of squares."""
        return abs(self.times) * self.u_nm if self.shared else math.sqrt(self.times) * self.u_nm


def combined_u_nm(parts: Iterable[Part]) -> float:
    """Combined standard uncertainty (JCGM 100:2008, 5.1.2), shared errors added linearly first (5.2.2)."""
    alone: list[float] = []
    together: dict[str, float] = {}
    for part in parts:
        if part.shared:
            together[part.shared] = together.get(part.shared, 0.0) + part.times * part.u_nm
        else:
            alone.append(part.times * part.u_nm**2)
    return math.sqrt(math.fsum([*alone, *(u**2 for u in together.values())]))


def effective_freedom(parts: Iterable[Part]) -> float:
    """Welch-Satterthwaite (JCGM 100:2008, G.4.1) over independent contributions; infinite where none is limited.

    Nothing shown needs it: every u here is taken as known, so that ``sure`` goes by the normal law. It is for whoever
    sets up a budget with parts that come from few readings.
    """
    parts = list(parts)
    limited = math.fsum(part.times * part.u_nm**4 / part.freedom for part in parts)
    return combined_u_nm(parts) ** 4 / limited if limited else math.inf


def rectangular_u_nm(half_width_nm: float) -> float:
    """u of a value known to lie within ± half_width (JCGM 100:2008, 4.3.7): a plate at book size, say."""
    return half_width_nm / math.sqrt(3)


def reading_parts(
    *,
    method: str,
    readings: int,
    translated: bool = False,
    measured: Mapping[str, float] | None = None,
    gauge: str = "",
    shared_u_nm: float | None = None,
    figures: Figures = TO_BEGIN_WITH,
) -> list[Part]:
    """The budget of a pack reading. ``measured``: what the shop has found for its methods, in nm.

    The starting figure of a method is for the reading as a whole. What a registered gauge is known to contribute is
    split off from it as shared error; only where its limit is the coarser does it make the whole larger. A measured
    figure is scatter alone: an error shared before and after cancelled in the residuals that it comes from, and adds.
    """
    found, shared = (measured or {}).get(method), shared_u_nm or 0.0
    if found is None:
        alone = Part(f"reading by {method}", math.sqrt(max(figures.reading_nm[method] ** 2 - shared**2, 0.0)))
    else:
        alone = Part(f"reading by {method}, as measured in this shop", found)
    parts = [alone]
    if shared:
        parts.append(Part(f"limit of error of {gauge}", shared, RECTANGULAR, shared=gauge))
    if readings == 1:
        parts.append(Part("a single reading: tilt is not seen", figures.single_nm))
    if translated:
        parts.append(Part("translation between wave free and flat", figures.wave_nm))
    return parts


def mean_parts(one: Iterable[Part], other: Iterable[Part]) -> list[Part]:
    """The budget of the mean of two readings of one pack.

    The pack sits the same for both, so their errors may be the same: nothing is gained by the second but the look
    whether they agree. An error that one gauge shares stays what it is; of two gauges each counts half.
    """
    one, other = list(one), list(other)
    same = {part.shared for part in one if part.shared} & {part.shared for part in other if part.shared}
    return [
        replace(part, u_nm=part.u_nm / 2, shared=part.shared if same else "")
        if part.shared
        else replace(part, u_nm=part.u_nm / math.sqrt(2))
        for part in (*one, *other)
    ]


def micrometer_u_nm(shared_u_nm: float | None, whole_nm: float = MICROMETER_U_NM) -> float:
    """What is left of a plate reading's u for this plate alone, once the error that its gauge shares is split off."""
    return math.sqrt(max(whole_nm**2 - (shared_u_nm or 0.0) ** 2, 0.0))


def lot_u_nm(range_nm: int, read: int, tolerance_nm: int | None = None) -> float:
    """u of a plate of a lot that was not read itself, from the range of those that were.

    The range over d2 estimates the scatter; the mean of the plates read has its own share of it. Where too few were
    read, the kind's tolerance is the floor.
    """
    scatter = range_nm / d2(read) if read > 1 else 0.0
    u_nm = scatter * math.sqrt(1 + 1 / read)
    return max(u_nm, rectangular_u_nm(tolerance_nm)) if tolerance_nm is not None else u_nm


def agree(one_nm: int, other_nm: int, *us_nm: float) -> bool:
    """Whether two readings of one thing may be averaged: they differ by no more than 2·√(u₁² + u₂²), which with equal u
    is 2·√2·u, the 95 % limit of a difference (the factor 2.8 of a reproducibility limit; ISO 5725-6, from memory).
    """
    return abs(one_nm - other_nm) <= 2 * math.hypot(*us_nm)
