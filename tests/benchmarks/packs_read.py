"""Packs as they are read and built in a shop whose errors are known: what the kernel is told, and what is true.

Truth first: clearances and plates are drawn, then read with every error that the tool states. From the readings alone
the budgets of the measuring room make the kernel's problem; the truth decides what the built pack measures. Lengths are
whole nanometres throughout.
"""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from plates.bench.pool import spread_of_alike
from plates.lengths import INCH, THOU
from plates.matching.problem import Exchange, Installed, Pool, Problem, Slot
from plates.measuring.uncertainty import (
    READING_U_NM,
    SINGLE_U_NM,
    STACKED_U_NM,
    WAVE_U_NM,
    combined_u_nm,
    lot_u_nm,
    micrometer_u_nm,
    reading_parts,
    rectangular_u_nm,
)

Whole = NDArray[np.int64]

#: What the kernel may be kept from knowing, to see that the simulation finds it out. ``correlation``: that the errors
#: which all readings of a gauge share are the same error.
CONTRIBUTIONS = (
    "reading", "single", "wave", "stacked", "micrometer", "shared", "correlation", "lot", "book", "alike",
)  # fmt: skip
STEP_NM = INCH // 10_000
TARGET_NM = 70 * THOU
#: Limits of error of a new micrometer and of a worn one, and of a feeler set (0.0005 in: common practice, no source).
MICROMETER_LIMITS_NM, FEELER_LIMIT_NM = (4_000, INCH // 2_000), INCH // 2_000


@dataclass(frozen=True)
class Habits:
    """How a shop reads: shares of its packs and plates, and what lies on its shelf.

    ``measured``: packs whose method has a repeatability that the shop has found, finer than the starting figure, so
    that the other contributions count. ``read_stay``: the plates that were read for their lot have not been sold.
    """

    single: float = 0.3
    translated: float = 0.2
    measured: float = 0.5
    book: float = 0.3
    marked: int = 10
    lots: int = 1
    unread: int = 3
    read_stay: bool = True
    bins: int = 2
    limits_nm: tuple[int, ...] = MICROMETER_LIMITS_NM
    #: Gauges that read the shelf and those that read the stack; -1: a gauge that is not on record.
    reads_shelf: tuple[int, ...] = (-1, 0, 1)
    reads_stack: tuple[int, ...] = (-1, 0, 1)


USUAL = Habits()
#: Shops in which one contribution matters more than elsewhere.
HABITS = {
    "single": Habits(single=1, translated=0, measured=1),
    "wave": Habits(single=0, translated=1, measured=1),
    "book": Habits(single=0, translated=0, measured=1, book=1),
    "lot": Habits(single=0, translated=0, measured=1, book=0, marked=0, lots=9, unread=4, read_stay=False, bins=0),
    "alike": Habits(single=0, translated=0, measured=1, book=0, marked=0, lots=0, bins=5),
    "micrometer": Habits(single=0, translated=0, measured=1, book=0, reads_shelf=(-1,), reads_stack=(-1,)),
    "shared": Habits(single=0, translated=0, measured=1, book=0, limits_nm=(THOU,), reads_shelf=(0,), reads_stack=(1,)),
}


def _stepped(length_nm: float) -> int:
    """As a gauge shows it: to 0.0001 in."""
    return STEP_NM * round(length_nm / STEP_NM)


@dataclass
class Plates:
    """Plates on the shelf or in the pack, a column each: as on record, as they are, u beyond the micrometer, gauge."""

    thickness_nm: list[int] = field(default_factory=list)
    true_nm: list[int] = field(default_factory=list)
    unread_u_nm: list[float] = field(default_factory=list)
    gauge: list[int] = field(default_factory=list)
    group: list[int] = field(default_factory=list)

    def add(self, thickness_nm: int, true_nm: int, unread_u_nm: float = 0.0, gauge: int = -1, group: int = -1) -> None:
        """``group``: the bin of plates that nobody can tell apart; one by itself where there is none."""
        self.thickness_nm.append(thickness_nm)
        self.true_nm.append(true_nm)
        self.unread_u_nm.append(unread_u_nm)
        self.gauge.append(gauge)
        self.group.append(len(self.group) + 1_000 if group < 0 else group)


class Built:
    """One pack: ``problem`` as the kernel gets it, and :meth:`measures_nm` of an option once it is built.

    ``forget``: contributions that the kernel is not told, though the errors are made all the same.
    """

    def __init__(self, draw: np.random.Generator, forget: frozenset[str] = frozenset(), habits: Habits = USUAL) -> None:
        self.draw, self.forget, self.habits = draw, forget, habits
        self.limits_nm = [int(draw.choice(habits.limits_nm)) for _ in range(2)]
        #: What every reading of a gauge is wrong by: anything within its limit of error.
        self.gauge_error_nm = [float(draw.uniform(-limit, limit)) for limit in self.limits_nm]
        self.shared_u_nm = [rectangular_u_nm(limit) for limit in self.limits_nm]
        self.shelf, self.stack = Plates(), Plates()
        self._fill_shelf()
        self._fill_stack()
        self._read_pack()

    # --- what is there, and how it is read ----------------------------------------------------------------------

    def _plate_read_nm(self, true_nm: int, gauge: int) -> int:
        alone = micrometer_u_nm(self.shared_u_nm[gauge] if gauge >= 0 else None)
        shared = self.gauge_error_nm[gauge] if gauge >= 0 else 0.0
        return _stepped(true_nm + shared + self.draw.normal(0, alone))

    def _gauge(self, among: tuple[int, ...]) -> int:
        return int(self.draw.choice(among))

    def _true_nm(self, low: float = 58, high: float = 92) -> int:
        return round(self.draw.uniform(low, high) * THOU)

    def _fill_shelf(self) -> None:
        """Plates that were read and marked; lots of which five were read; bins of plates like one another."""
        habits = self.habits
        for _ in range(habits.marked):
            true_nm, gauge = self._true_nm(), self._gauge(habits.reads_shelf)
            self.shelf.add(self._plate_read_nm(true_nm, gauge), true_nm, gauge=gauge)
        for _ in range(habits.lots):
            self._lot()
        for group in range(habits.bins):
            low, gauge = self.draw.uniform(60, 90), self._gauge(habits.reads_shelf)
            for true_nm in (self._true_nm(low, low + 0.9) for _ in range(6)):
                self.shelf.add(self._plate_read_nm(true_nm, gauge), true_nm, gauge=gauge, group=group)

    def _lot(self, read: int = 5) -> None:
        """Plates that were not read carry the mean of those that were."""
        gauge, middle = self._gauge(self.habits.reads_shelf), self._true_nm()
        true_nm = [round(middle + self.draw.normal(0, 0.3 * THOU)) for _ in range(read + self.habits.unread)]
        readings = [self._plate_read_nm(one, gauge) for one in true_nm[:read]]
        for shown, true in zip(readings, true_nm, strict=False):
            if self.habits.read_stay:
                self.shelf.add(shown, true, gauge=gauge)
        mean, u_nm = _stepped(sum(readings) / read), lot_u_nm(max(readings) - min(readings), read)
        for true in true_nm[read:]:
            self.shelf.add(mean, true, u_nm, gauge)

    def _fill_stack(self) -> None:
        """Five plates, each read or of book size."""
        for _ in range(5):
            if self.draw.random() < self.habits.book:
                tolerance_nm = round(self.draw.uniform(0.5, 2) * THOU)
                true_nm = 77 * THOU + round(self.draw.uniform(-tolerance_nm, tolerance_nm))
                self.stack.add(77 * THOU, true_nm, rectangular_u_nm(tolerance_nm))
            else:
                true_nm, gauge = self._true_nm(65, 85), self._gauge(self.habits.reads_stack)
                self.stack.add(self._plate_read_nm(true_nm, gauge), true_nm, gauge=gauge)

    def _read_pack(self) -> None:
        """The clearance, by any method: one reading or several, with a gauge on record or not, translated or not."""
        draw, habits = self.draw, self.habits
        self.measures = "gap" if draw.random() < 0.5 else "height"
        self.window_nm = round(0.1 * THOU * 150 ** draw.random())  # half its width: 0.0001 to 0.015 in
        self.true_nm = round(TARGET_NM + draw.uniform(-50, 50) * THOU)
        method = str(draw.choice(list(READING_U_NM)))
        measured = {method: draw.uniform(0.2, 0.8) * THOU} if draw.random() < habits.measured else {}
        whole_nm = measured.get(method, READING_U_NM[method])
        single, translated = draw.random() < habits.single, draw.random() < habits.translated
        own = draw.random() < 0.4
        self.reading_gauge = int(draw.integers(0, 2)) if draw.random() < 0.3 else None
        error_nm, shared_u_nm = 0.0, None
        if self.reading_gauge is not None:
            error_nm, shared_u_nm = self.gauge_error_nm[self.reading_gauge], self.shared_u_nm[self.reading_gauge]
        elif own:
            error_nm = draw.uniform(-FEELER_LIMIT_NM, FEELER_LIMIT_NM)
            shared_u_nm = rectangular_u_nm(FEELER_LIMIT_NM)
        error_nm += draw.normal(0, math.sqrt(max(whole_nm**2 - (shared_u_nm or 0.0) ** 2, 0.0)))
        error_nm += draw.normal(0, SINGLE_U_NM) if single else 0.0
        error_nm += draw.normal(0, WAVE_U_NM) if translated else 0.0
        self.clearance_nm = _stepped(self.true_nm + error_nm)
        parts = reading_parts(
            method=method,
            readings=1 if single and not self._forgot("single") else 3,
            translated=translated and not self._forgot("wave"),
            measured=measured,
            gauge="reading",
            shared_u_nm=shared_u_nm,
        )
        # Where it has read plates, its share of the reading stands with theirs.
        with_plates = self.reading_gauge is not None and not self._forgot("correlation")
        self.u_reading_nm = combined_u_nm(part for part in parts if not (with_plates and part.shared))
        if self._forgot("reading"):
            self.u_reading_nm = 0.0

    # --- what the kernel is told ---------------------------------------------------------------------------------

    def _forgot(self, contribution: str) -> bool:
        return contribution in self.forget

    def _alone_u_nm(self, plates: Plates, unread: str) -> NDArray[np.float64]:
        """u of each plate by itself, as the bench poses it."""
        shared = [self.shared_u_nm[gauge] if gauge >= 0 else None for gauge in plates.gauge]
        alone = np.array([0.0 if self._forgot("micrometer") else micrometer_u_nm(one) for one in shared])
        if self._forgot("correlation"):
            alone = np.hypot(alone, [one or 0.0 for one in shared])
        return np.hypot(alone, 0.0 if self._forgot(unread) else np.array(plates.unread_u_nm))

    @property
    def problem(self) -> Problem:
        shelf, stack = self.shelf, self.stack
        shared = not self._forgot("shared") and not self._forgot("correlation")
        thickness = np.array(shelf.thickness_nm, np.int64)
        count = len(thickness)
        alike = 0.0 if self._forgot("alike") else spread_of_alike(
            thickness, np.array(shelf.group, np.int64), np.ones(len(thickness), np.int64)
        )
        pool = Pool(
            thickness,
            np.hypot(self._alone_u_nm(shelf, "lot"), alike),
            np.ones(count, np.int64),
            np.zeros(count, np.int64),
            list(range(count)),
            np.array(shelf.gauge, np.int64) if shared else None,
        )
        columns = zip(stack.thickness_nm, self._alone_u_nm(stack, "book").tolist(), stack.gauge, strict=True)
        installed = tuple(Installed(t, u_nm=u, gauge=gauge if shared else -1) for t, u, gauge in columns)
        return Problem(
            measures=self.measures,
            clearance_nm=self.clearance_nm,
            low_nm=TARGET_NM - self.window_nm,
            high_nm=TARGET_NM + self.window_nm,
            target_nm=TARGET_NM,
            pool=pool,
            slots=(Slot("steels", installed, swap=True, ordinary=np.arange(count, dtype=np.int64)),),
            u_reading_nm=self.u_reading_nm,
            u_move_nm=0.0 if self._forgot("stacked") else STACKED_U_NM,
            max_changes=4,
            u_gauge_nm=tuple(self.shared_u_nm) if shared else (),
            read_net=tuple(int(gauge == self.reading_gauge) for gauge in (0, 1)) if shared else (),
        )

    # --- what comes of it ---------------------------------------------------------------------------------------------

    def measures_nm(self, option: Exchange) -> int:
        """What the pack really is once it is built so: of a bin of like plates the hand takes any, each once."""
        free: dict[int, list[int]] = {}
        for row, group in enumerate(self.shelf.group):
            free.setdefault(group, []).append(row)
        thicker = 0.0
        for _, row in option.ins:
            near = free[self.shelf.group[row]]
            thicker += self.shelf.true_nm[near.pop(int(self.draw.integers(len(near))))]
        thicker -= sum(self.stack.true_nm[index] for _, index in option.outs)
        moved = len(option.ins) + len(option.outs)
        thicker += self.draw.normal(0, STACKED_U_NM * math.sqrt(moved))
        return round(self.true_nm + (thicker if self.measures == "height" else -thicker))

    def in_window(self, option: Exchange) -> bool:
        return abs(self.measures_nm(option) - TARGET_NM) <= self.window_nm
