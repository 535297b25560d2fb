"""How many at once: beside published examples, and beside trying every quantity."""

from itertools import accumulate

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plates.buying import lot_sizes
from plates.buying.lot_sizes import Costs, Price

PUBLISHED = 1e-6


def test_the_published_economic_quantity() -> None:
    """Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., Example 3.1: an order costs 8, to keep one a year
    0.225, 1 300 a year; 304.046780 at once cost 68.410526 a year beside the goods.
    """
    assert lot_sizes.economic(1300, 8, 0.225) == pytest.approx(304.046780, abs=PUBLISHED)
    free = Costs(8, 0.225, [Price(1, 1.0)])
    quantity = free.economic(1300)
    assert quantity == pytest.approx(304.046780, abs=PUBLISHED)
    assert 8 * 1300 / quantity + 0.225 * quantity / 2 == pytest.approx(68.410526, abs=PUBLISHED)
    assert free.a_year(304, 1300) == pytest.approx(1300 + 68.410526, abs=1e-4)
    assert lot_sizes.cheapest(1300, free) == 304


@st.composite
def costs(draw: st.DrawFn) -> Costs:
    """Prices that fall with the count, as the catalogue has them."""
    froms = sorted(draw(st.sets(st.integers(2, 300), max_size=4)))
    falls = accumulate(
        (draw(st.floats(0.5, 0.999)) for _ in froms), lambda a, b: a * b, initial=draw(st.floats(0.1, 50))
    )
    prices = [Price(count, cost) for count, cost in zip([1, *froms], falls, strict=True)]
    return Costs(draw(st.floats(0, 200)), draw(st.floats(0.05, 2)), prices)


@given(costs(), st.floats(0.1, 1_000), st.integers(1, 25), st.integers(0, 120))
def test_no_quantity_is_cheaper(given_costs: Costs, demand: float, pack_size: int, least: int) -> None:
    found = lot_sizes.cheapest(demand, given_costs, pack_size=pack_size, least=least)
    assert found % pack_size == 0 and found >= max(least, 1)
    counts = range(-(-max(least, 1) // pack_size) * pack_size, 5_000, pack_size)
    best = min(given_costs.a_year(count, demand) for count in counts)
    assert given_costs.a_year(found, demand) <= best * (1 + 1e-12)


@given(costs(), st.floats(0.1, 1_000))
def test_the_economic_quantity_earns_the_price_that_it_is_reckoned_with(given_costs: Costs, demand: float) -> None:
    quantity = given_costs.economic(demand)
    keeping = given_costs.share * given_costs.price(max(quantity, 1)).unit_cost
    assert quantity == pytest.approx(lot_sizes.economic(demand, given_costs.order_cost, keeping))


def test_what_costs_nothing_to_keep_has_none() -> None:
    with pytest.raises(ValueError, match="no economic quantity"):
        lot_sizes.cheapest(100, Costs(8, 0.2, [Price(1, 0.0)]))


def test_no_more_at_once_than_is_used_in_the_years_given() -> None:
    """Four a year, 20 an order, 0.2 to keep one: √(2 × 20 × 4 / 0.2) = 28.3 at once, which last seven years."""
    costs = Costs(20.0, 0.1, [Price(1, 2.0)])
    assert lot_sizes.cheapest(4, costs, pack_size=5) == 30
    assert lot_sizes.cheapest(4, costs, pack_size=5, years=1) == 5
    assert lot_sizes.cheapest(4, costs, pack_size=5, least=12, years=1) == 15
    assert lot_sizes.cheapest(0.1, costs, pack_size=5, years=1) == 5
