"""Sizes: the row of thicknesses of one fit and role in equal steps, centred on its catalogued nominals."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from plates.lengths import NM_PER

#: One step of the row, by the shop's first unit: 0.001 in, or 0.02 mm.
STEP_NM = {"in": NM_PER["in"] // 1000, "mm": NM_PER["mm"] // 50}


@dataclass(frozen=True)
class SizeRow:
    """Size number n is centred at ``anchor_nm`` + n steps: centre - half a step ≤ t < centre + half a step."""

    anchor_nm: int
    step_nm: int

    @classmethod
    def of(cls, nominals_nm: Sequence[int], unit: str) -> "SizeRow":
        """The row of these catalogued nominals (one at least). Where they do not all lie on one row, most of them do;
        of rows with as many, that of the thinnest.
        """
        step_nm = STEP_NM[unit]
        share = Counter(nominal % step_nm for nominal in nominals_nm)
        return cls(min(nominals_nm, key=lambda nominal: (-share[nominal % step_nm], nominal)), step_nm)

    def number(self, thickness_nm: int) -> int:
        return (thickness_nm - self.anchor_nm + self.step_nm // 2) // self.step_nm

    def centre_nm(self, number: int) -> int:
        return self.anchor_nm + number * self.step_nm

    def from_nm(self, number: int) -> int:
        """The least thickness of the size; that of the next one is its end, which is not in it."""
        return self.centre_nm(number) - self.step_nm // 2
