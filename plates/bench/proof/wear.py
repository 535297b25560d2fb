"""How much of the change of a pack that came back its worn plates account for, and what that does not prove."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from plates.lengths import both, half_even, mean_nm
from plates.measuring.uncertainty import MICROMETER_U_NM

NOT_WHY = "That does not say why they wore: look at pressure, seals, feed."


def read_u_nm(count: int, *, once: bool, micrometer_nm: float) -> float:
    """Standard uncertainty of so many plates together, each read by micrometer; ``once``: one figure stands for all."""
    return micrometer_nm * (count if once else math.sqrt(count))


@dataclass(frozen=True)
class Worn:
    """The plates of one slot as they went in and as they came back, in nm, each side in any order. ``was_u_nm``:
    standard uncertainty of what they were together. ``read_once``: one figure stands for all of them as they came back,
    so that its error is theirs together.
    """

    slot: str
    was_nm: list[int]
    now_nm: list[int]
    was_u_nm: float
    read_once: bool = False
    micrometer_nm: float = MICROMETER_U_NM

    @property
    def count(self) -> int:
        return len(self.now_nm)

    @property
    def sum_nm(self) -> int:
        """How much thinner they are together."""
        return sum(self.was_nm) - sum(self.now_nm)

    @property
    def u_nm(self) -> float:
        """Standard uncertainty of that: what they were, and the micrometer as they came back."""
        return math.hypot(self.was_u_nm, read_u_nm(self.count, once=self.read_once, micrometer_nm=self.micrometer_nm))

    def words(self, unit: str) -> str:
        plates = f"{self.count} plate{'s' if self.count > 1 else ''} of {self.slot}"
        if self.sum_nm <= 0:
            return f"{plates}: no thinner than they were"
        if len({*self.was_nm}) == len({*self.now_nm}) == 1:
            each = both(self.was_nm[0] - self.now_nm[0], unit)
            return f"{plates}: {self.count} × {each} = {both(self.sum_nm, unit)} thinner"
        return f"{plates}: {both(self.sum_nm, unit)} thinner together"


@dataclass(frozen=True)
class Wear:
    """The final reading of the closed pack, the reading of it come back, and the plates that were read again.

    ``u_nm``: standard uncertainties of the two readings.
    """

    measures: str
    was_nm: int
    now_nm: int
    u_nm: tuple[float, float]
    worn: Sequence[Worn]

    @property
    def change_nm(self) -> int:
        return self.now_nm - self.was_nm

    @property
    def accounted_nm(self) -> int:
        """What the wear changes: worn plates open a gap, and make a stack lower."""
        thinner_nm = sum(one.sum_nm for one in self.worn)
        return thinner_nm if self.measures == "gap" else -thinner_nm

    @property
    def rest_nm(self) -> int:
        return self.change_nm - self.accounted_nm

    @property
    def u_rest_nm(self) -> float:
        """Standard uncertainty of the rest: both readings of the pack, independent, and the plates'."""
        return math.hypot(*self.u_nm, *(one.u_nm for one in self.worn))

    def _opened(self, length_nm: int) -> int:
        """The change in the sense in which wear goes, above zero."""
        return length_nm if self.measures == "gap" else -length_nm

    def text(self, unit: str) -> str:
        """What it comes to, in plain words."""

        def said(length_nm: float) -> str:
            return both(half_even(abs(length_nm)), unit)

        what = {"gap": "The clearance", "height": "The stack height"}[self.measures]
        more = "more" if self.change_nm > 0 else "less"
        first = f"{what} was {said(self.was_nm)} when the pack was closed and is {said(self.now_nm)} now"
        first += f": {said(self.change_nm)} {more}." if self.change_nm else ": the same."
        within = 2 * self.u_rest_nm
        if self.worn:
            first += f" {'; '.join(one.words(unit) for one in self.worn)}."
        return f"{first} {self._judged(within, said(within), said(self.rest_nm), said(self.accounted_nm))}"

    def _judged(self, within: float, within_said: str, rest: str, accounted: str) -> str:
        opened, left = self._opened(self.change_nm), self._opened(self.rest_nm)
        wore = self._opened(self.accounted_nm) > 0
        may = f"the {within_said} by which such readings may differ (2·u)"
        if opened < -within:
            return (
                "It became tighter, and wear only opens a pack: check the reading, count the plates, and look for "
                "swollen linings and plates that are coned or warped."
            )
        if left < -within:
            return f"The plates lost {rest} more than the pack opened, beyond {may}: check the readings of both."
        if left > within:
            part = f"Wear accounts for {accounted} of it. {NOT_WHY} " if wore else ""
            unread = "" if self.worn else "No plate was read again: read them as they come out. "
            return (
                f"{part}{unread}{rest} is left, beyond {may}: something else opened the pack. Count the plates, look "
                "for a wave plate left out and a snap ring that is not seated, and check the reading."
            )
        if wore:
            return f"Wear accounts for all of it, within {may}. {NOT_WHY}"
        return f"Within {may} the pack is as it was built: what brought the unit back does not show in this number."

    def to_json(self, unit: str) -> dict[str, Any]:
        """As it is kept with the match, in nanometres."""
        worn = [
            {
                "slot": one.slot,
                "count": one.count,
                "was_nm": mean_nm(one.was_nm),
                "now_nm": mean_nm(one.now_nm),
                "sum_nm": one.sum_nm,
            }
            for one in self.worn
        ]
        names = ("was_nm", "now_nm", "change_nm", "accounted_nm", "rest_nm")
        figures = {name: getattr(self, name) for name in names}
        return {**figures, "u_nm": self.u_rest_nm, "worn": worn, "text": self.text(unit)}
