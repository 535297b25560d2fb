"""Standard uncertainties to begin with, and how they combine.

Independent contributions combine as the root of the sum of squares (JCGM 100:2008, 5.1.2). The starting figures are
common practice, no source; a shop replaces them by what it has measured.
"""

import math

from plates.lengths import INCH

#: u of the mean of several readings of one pack, by method (common practice, no source).
READING_U_NM = {
    "feeler": INCH * 15 / 10_000,
    "indicator": INCH * 10 / 10_000,
    "depth": INCH * 14 / 10_000,
    "air": INCH * 20 / 10_000,
}
#: What a single reading adds for tilt, and a wave translation (common practice, no source).
SINGLE_U_NM = INCH * 10 / 10_000
WAVE_U_NM = INCH * 15 / 10_000
#: Each plate that goes out or in: its micrometer, and stacked against measured height (common practice, no source).
MICROMETER_U_NM = INCH * 2 / 10_000
STACKED_U_NM = INCH * 5 / 10_000
MOVE_U_NM = math.hypot(MICROMETER_U_NM, STACKED_U_NM)

#: Mean range of n normal values over their standard deviation, by integration; the usual control-chart constant.
D2 = {2: 1.12838, 3: 1.69257, 4: 2.05875, 5: 2.32593, 6: 2.53441, 7: 2.70436, 8: 2.84720, 9: 2.97003, 10: 3.07751}


def reading_u_nm(*, method: str, readings: int, translated: bool) -> float:
    """u of a pack reading, in nanometres."""
    parts = [READING_U_NM[method]]
    if readings == 1:
        parts.append(SINGLE_U_NM)
    if translated:
        parts.append(WAVE_U_NM)
    return math.hypot(*parts)


def rectangular_u_nm(half_width_nm: float) -> float:
    """u of a value known to lie within ± half_width (JCGM 100:2008, 4.3.7): a plate at book size, say."""
    return half_width_nm / math.sqrt(3)


def lot_u_nm(range_nm: int, read: int, tolerance_nm: int | None = None) -> float:
    """u of a plate of a lot that was not read itself, from the range of those that were.

    The range over d2 estimates the scatter; the mean of the plates read has its own share of it. Where too few were
    read, the kind's tolerance is the floor.
    """
    scatter = range_nm / D2[min(read, 10)] if read > 1 else 0.0
    u_nm = scatter * math.sqrt(1 + 1 / read)
    return max(u_nm, rectangular_u_nm(tolerance_nm)) if tolerance_nm is not None else u_nm
