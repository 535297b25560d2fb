"""One size as the buyer sees it: its counts in plates, and what came of them."""

from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from plates.buying.models import BuyRule
from plates.catalogue.models import Kind

#: A row of sizes: code of the fit, and role.
Row = tuple[str, str]


class Step(NamedTuple):
    """One figure of the arithmetic, with its unit, and how it was come by."""

    name: str
    figure: str
    how: str


@dataclass
class Size:
    """One step of a row, from_nm ≤ t < to_nm, with its counts in plates. ``kinds``: what is catalogued in it;
    ``rule``: by which it is bought, None for what a shop begins with.
    """

    fit: str
    role: str
    number: int
    from_nm: int
    to_nm: int
    centre_nm: int
    kinds: list[Kind] = field(default_factory=list)
    on_shelf: int = 0
    held: int = 0
    on_order: int = 0
    waiting: int = 0
    taken: int = 0
    missed: Fraction = Fraction(0)
    rule: BuyRule | None = None
    buy_below: int = 0
    fill_to: int = 0
    buy: int = 0
    reasons: list[str] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)

    @property
    def free(self) -> int:
        """What nobody waits for; below zero where more is waited for than there is and comes."""
        return self.on_shelf - self.held + self.on_order - self.waiting

    @property
    def low(self) -> bool:
        return self.free < self.buy_below

    @property
    def demand(self) -> Fraction:
        return self.taken + self.missed

    @property
    def kind(self) -> Kind | None:
        """The kind to buy in this size: the cheapest a plate; without costs the first by code."""
        return min(self.kinds, key=lambda kind: (kind.unit_cost is None, kind.unit_cost or 0, kind.code), default=None)

    @property
    def unit_cost(self) -> Decimal | None:
        """What a plate costs when so many are bought as is said here."""
        return self.kind.price(self.buy) if self.kind else None
