"""How many plates to order at once: the arithmetic alone. Costs are in the shop's own money, times are years."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from plates.buying.levels import MOST, in_packs


@dataclass(frozen=True)
class Price:
    """What a plate costs when so many plates or more are ordered at once: all of them cost that."""

    from_count: int
    unit_cost: float


@dataclass(frozen=True)
class Costs:
    """What ordering and keeping one kind costs. ``share``: what it costs to keep a plate for a year, as a share of its
    price; ``prices``: those of a plate, the first from 1 on, each other one lower and from more plates on.
    """

    order_cost: float
    share: float
    prices: Sequence[Price]

    def price(self, count: float) -> Price:
        return next((one for one in reversed(self.prices) if one.from_count <= count), self.prices[0])

    def keeping(self, count: float) -> float:
        """What it costs to keep one of so many plates for a year."""
        return self.share * self.price(count).unit_cost

    def economic(self, demand: float) -> float:
        """The economic quantity by the lowest price that it earns itself, at a demand of so many plates a year."""
        for one in reversed(self.prices):
            if (found := economic(demand, self.order_cost, self.keeping(one.from_count))) >= one.from_count:
                return found
        return found

    def a_year(self, count: int, demand: float) -> float:
        """Plates, orders and keeping for a year, when ``demand`` plates a year are ordered by so many at once."""
        goods = demand * self.price(count).unit_cost
        return goods + self.order_cost * demand / count + self.keeping(count) * count / 2


def economic(demand: float, order_cost: float, keeping: float) -> float:
    """The economic order quantity: so many at once that orders cost as much a year as the plates cost to keep.

    ``demand``: plates a year; ``order_cost``: of one order; ``keeping``: of one plate for a year. Raises ValueError
    where it costs nothing to keep one.
    """
    if keeping <= 0:
        raise ValueError("A plate that costs nothing to keep has no economic quantity.")
    return math.sqrt(2 * order_cost * demand / keeping)


def cheapest(demand: float, costs: Costs, *, pack_size: int = 1, least: int = 1, years: float | None = None) -> int:
    """The whole packs, ``least`` plates or more, by which a demand of so many plates a year is cheapest met; the fewer
    where two cost the same. With ``years``, no more packs than last for so long, and those that ``least`` makes.

    Along one price the cost falls to the economic quantity and rises behind it, so of its whole packs the best lie on
    either side of that, or of the count from which the price holds.
    """
    floor = in_packs(max(least, 1), pack_size)
    counts = {floor}
    for one in costs.prices:
        quantity = economic(demand, costs.order_cost, costs.keeping(one.from_count))
        below = int(min(max(quantity, one.from_count), MOST) / pack_size) * pack_size
        counts |= {max(below, floor), max(below + pack_size, floor)}
    if years is not None:
        most = max(floor, in_packs(math.ceil(min(demand * years, MOST)), pack_size))
        counts = {min(count, most) for count in counts}
    return min(sorted(counts), key=lambda count: costs.a_year(count, demand))
