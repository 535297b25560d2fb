"""Buying for cover: the packs of the last year over today's shelf, and which plates would close the most more."""

import math
import uuid
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from plates.bench.pose import Posed, pose_together, takers_of
from plates.bench.repeatability import method_u_nm
from plates.buying.asked import Again, asked_again, assumed
from plates.buying.demand import WEEKS, YEAR_WEEKS
from plates.buying.levels import in_packs
from plates.buying.models import LEAD_WEEKS, REVIEW_WEEKS
from plates.buying.one_size import Size
from plates.buying.packs import Offer, Pack, Takers
from plates.buying.replay import Replay
from plates.buying.sizes import on_order, sizes
from plates.catalogue.models import Kind
from plates.catalogue.selectors import kinds_of
from plates.matching.search import stand_still
from plates.measuring.uncertainty import micrometer_u_nm
from plates.stock.selectors import Interchange, OnShelf
from shop.people.models import Shop

#: The share to be closed from the shelf, and the weeks that it has to last for: until what is ordered now is there.
TARGET, PERIOD_WEEKS = 0.95, LEAD_WEEKS + REVIEW_WEEKS


@dataclass(frozen=True)
class Buy:
    """One purchase, what it costs by itself, and what is closed with it and all before it."""

    kind: Kind
    count: int
    cost: Decimal | None
    closes: int
    closed: int


@dataclass(frozen=True)
class Idle:
    """Of ``of`` plates of one kind in one bin so many that no pack took."""

    kind: str
    bin: str | None
    count: int
    of: int
    worth: Decimal | None


@dataclass(frozen=True)
class BySizes:
    """What the list by sizes would buy of these kinds, in plates, how many packs are closed with that, its cost."""

    plates: int = 0
    closed: int = 0
    cost: Decimal = Decimal(0)


@dataclass(frozen=True)
class CoverPlan:
    """``packs`` needed plates, ``assumed`` of them were never asked. The shelf closes ``alone`` when each has it to
    itself, ``closed`` when those of one period share it; ``unpriced``: kinds without a cost, taken at the mean of the
    others.
    """

    weeks: float
    packs: int
    assumed: int
    alone: int
    closed: int
    buys: list[Buy] = field(default_factory=list)
    closed_then: int = 0
    by_sizes: BySizes = BySizes()
    idle: list[Idle] = field(default_factory=list)
    unpriced: list[str] = field(default_factory=list)

    @property
    def plates(self) -> int:
        return sum(buy.count for buy in self.buys)

    @property
    def order(self) -> dict[Kind, int]:
        """What is bought in all, kind by kind."""
        found = Counter[Kind]()
        for buy in self.buys:
            found[buy.kind] += buy.count
        return dict(found)

    @property
    def cost(self) -> Decimal:
        """What is known of it, ordered at once: where a price falls with the count, less than its purchases alone."""
        return _known(self.order.items())

    @property
    def less(self) -> Decimal:
        """By how much that is less than the sum of the purchases."""
        return sum((buy.cost for buy in self.buys if buy.cost is not None), Decimal(0)) - self.cost


@dataclass(frozen=True)
class _Year:
    """The packs of a year that need plates, the kinds that go into them (by code), and what is on order of these."""

    needed: Sequence[tuple[Again, Posed]]
    kinds: Mapping[str, Kind]
    packs: Sequence[Pack]
    stock: Sequence[Offer]


def _year(shop: Shop, weeks: float, assume: bool) -> _Year:
    again = asked_again(shop)
    again += assumed(shop, again) if assume else []
    posed = (
        pose_together([one.asked for one in again], sure=shop.sure_level, measured=method_u_nm(shop.pk))
        if again
        else []
    )
    needed = [(one, each) for one, each in zip(again, posed, strict=True) if not _fine_as_it_is(each)]
    kinds = {kind.code: kind for kind in _kinds(shop.pk, [each for _, each in needed])}
    to_come = on_order(shop.pk)
    return _Year(
        needed,
        kinds,
        [_pack(one, each, kinds.values(), weeks) for one, each in needed],
        [_offer(kind, to_come[kind.pk]) for kind in kinds.values() if to_come.get(kind.pk)],
    )


def cover_plan(
    *, shop: Shop, weeks: float = PERIOD_WEEKS, target: float = TARGET, budget: Decimal | None = None,
    assume: bool = True,
) -> CoverPlan:  # fmt: skip
    """What today's shelf, with what is on order, closes of the last year's packs when it has to last for so many weeks,
    and what to buy until ``target`` of them are closed or the budget is spent. Searches: takes seconds in a large shop.
    """
    year = _year(shop, weeks, assume)
    kinds, found = year.kinds, sizes(shop)
    replay = Replay(year.packs, _offers(kinds, found), year.stock)
    closed, alone, idle, by_sizes = replay.closed, replay.closed_alone(), replay.idle(), _by_sizes(replay, found, kinds)
    buys, sum_closed = [], closed
    wanted = math.ceil(round(target * len(year.packs), 6))  # 55 % of 100 are 55.00000000000001 in binary
    for step in replay.cheapest(wanted=wanted, budget=budget):
        sum_closed += step.closes
        kind = kinds[step.offer.kind]
        buys.append(Buy(kind, step.offer.count, _cost(kind, step.offer.count), step.closes, sum_closed))
    return CoverPlan(
        weeks=weeks,
        packs=len(year.packs),
        assumed=sum(one.assumed for one, _ in year.needed),
        alone=alone,
        closed=closed,
        buys=buys,
        closed_then=replay.closed,
        by_sizes=by_sizes,
        idle=_idle(year, idle),
        unpriced=sorted(code for code, kind in kinds.items() if kind.unit_cost is None),
    )


def cover_idle(*, shop: Shop, weeks: float = PERIOD_WEEKS, assume: bool = True) -> list[Idle]:
    """What could go, as :func:`cover_plan` has it."""
    year = _year(shop, weeks, assume)
    return _idle(year, Replay(year.packs, [], year.stock).idle())


def _fine_as_it_is(posed: Posed) -> bool:
    still = stand_still(posed.problem)
    return still is not None and posed.problem.low_nm <= still.predicted_nm <= posed.problem.high_nm


def _kinds(shop_id: uuid.UUID, posed: Sequence[Posed]) -> Iterable[Kind]:
    slots = [slot for each in posed for slot in each.slots]
    fits = {fit for slot in slots for fit in slot.fit_ids}
    rows = kinds_of(shop_id, fits, {slot.role for slot in slots}).select_related("fit", "supplier")
    return rows.prefetch_related("price_breaks")


def _cost(kind: Kind, count: int) -> Decimal | None:
    """What so many cost when they are ordered at once; None where that is not known."""
    price = kind.price(count)
    return None if price is None else price * count


def _known(counts: Iterable[tuple[Kind, int]]) -> Decimal:
    """What these cost, as far as that is known."""
    return sum((cost for kind, count in counts if (cost := _cost(kind, count)) is not None), Decimal(0))


def _offer(kind: Kind, count: int, cost: Decimal = Decimal(0), weeks: float = 1.0) -> Offer:
    """Plates of the book size; each will be measured when it comes in."""
    return Offer(kind.code, kind.nominal_nm, micrometer_u_nm(None), count, cost, weeks)


def _offers(kinds: Mapping[str, Kind], found: Sequence[Size]) -> list[Offer]:
    """One pack of every kind that is bought in its size, and two plates where they come one by one: they may be needed
    together; by its rule no fewer than the least of an order. They lie there until they are used as the size was, which
    is once a year at least. A plate without a cost counts for the mean of the others.
    """
    known = [kind.unit_cost for kind in kinds.values() if kind.unit_cost is not None]
    mean = sum(known, Decimal(0)) / len(known) if known else Decimal(1)
    offers = []
    for size in found:
        if (kind := size.kind) is None or kind.code not in kinds:
            continue
        a_week = max(float(size.demand) / WEEKS, 1 / YEAR_WEEKS)
        least = size.rule.least if size.rule else 0
        for count in sorted({in_packs(needed, kind.pack_size, least) for needed in (1, 2)}):
            cost = _cost(kind, count)
            offers.append(_offer(kind, count, mean * count if cost is None else cost, count / a_week))
    return offers


def _pack(one: Again, posed: Posed, kinds: Iterable[Kind], weeks: float) -> Pack:
    takers = {}
    for kind in kinds:
        plate = Interchange(kind.fit_id, kind.role, kind.lined_faces, kind.material, kind.facing)
        if numbers := takers_of(posed, plate, kind.nominal_nm):
            own = [number for number in numbers if posed.slots[number].fit_id == kind.fit_id]
            takers[kind.code] = Takers(own, [number for number in numbers if number not in own])
    fits = frozenset[object](fit for slot in posed.slots for fit in slot.fit_ids)
    return Pack(posed.problem, int(one.weeks_ago // weeks), fits, takers)


def _by_sizes(replay: Replay, found: Sequence[Size], kinds: Mapping[str, Kind]) -> BySizes:
    bought = [(size.kind, size.buy) for size in found if size.kind and size.buy and size.kind.code in kinds]
    closed = replay.closed_with(_offer(kind, count) for kind, count in bought)
    return BySizes(sum(count for _, count in bought), closed, _known(bought))


def _idle(year: _Year, keys: set[object]) -> list[Idle]:
    """The most worth first, each at what its kind costs today."""
    lying: dict[tuple[str, str | None], list[bool]] = defaultdict(list)
    candidates = year.needed[0][1].candidates if year.needed else ()  # the same for all
    for row in candidates:
        if isinstance(row, OnShelf):
            lying[row.kind, row.bin].append(str(row.id) in keys)
    found = []
    for (code, bin_code), some in lying.items():
        if any(some):
            cost = year.kinds[code].unit_cost
            found.append(Idle(code, bin_code, sum(some), len(some), None if cost is None else cost * sum(some)))
    return sorted(found, key=lambda one: (-(one.worth or 0), one.kind, one.bin or ""))
