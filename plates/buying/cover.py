"""Buying for cover: the packs of the last year over today's shelf, and which plates would close the most more."""

import math
import uuid
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from statistics import fmean

from plates.bench.pose import Posed, pose_together, takers_of
from plates.bench.repeatability import method_u_nm
from plates.buying.asked import YEAR_WEEKS, Again, asked_again, assumed
from plates.buying.demand import WEEKS
from plates.buying.levels import in_packs
from plates.buying.models import LEAD_WEEKS, REVIEW_WEEKS
from plates.buying.one_size import Size
from plates.buying.replay import Offer, Pack, Replay, Takers
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
    """One purchase, and what is closed with it and all before it."""

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
    itself, ``closed`` when those of one period share it; ``cost`` is what is known of it; ``unpriced``: kinds without
    a cost, taken at the mean of the others.
    """

    weeks: float
    packs: int
    assumed: int
    alone: int
    closed: int
    buys: list[Buy] = field(default_factory=list)
    closed_then: int = 0
    cost: Decimal = Decimal(0)
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


def cover_plan(
    *, shop: Shop, weeks: float = PERIOD_WEEKS, target: float = TARGET, budget: Decimal | None = None,
    assume: bool = True,
) -> CoverPlan:  # fmt: skip
    """What today's shelf, with what is on order, closes of the last year's packs when it has to last for so many weeks,
    and what to buy until ``target`` of them are closed or the budget is spent. Searches: takes seconds in a large shop.
    """
    again = asked_again(shop)
    again += assumed(shop, again) if assume else []
    if not again:
        return CoverPlan(weeks, 0, 0, 0, 0)
    posed = pose_together([one.asked for one in again], sure=shop.sure_level, measured=method_u_nm(shop.pk))
    needed = [(one, each) for one, each in zip(again, posed, strict=True) if not _fine_as_it_is(each)]
    if not needed:
        return CoverPlan(weeks, 0, 0, 0, 0)
    kinds = {kind.code: kind for kind in _kinds(shop.pk, [each for _, each in needed])}
    found = sizes(shop)
    price = _prices(kinds)
    offers = _offers(kinds, found, price)
    to_come = on_order(shop.pk)
    stock = [_offer(kind, to_come[kind.pk], 0.0) for kind in kinds.values() if to_come.get(kind.pk)]
    packs = [_pack(one, each, kinds.values(), weeks) for one, each in needed]
    replay = Replay(packs, offers, stock)
    closed, alone, idle = replay.closed, replay.closed_alone(), replay.idle()
    buys, sum_closed = [], closed
    most = None if budget is None else float(budget)
    for step in replay.cheapest(wanted=math.ceil(target * len(packs)), budget=most):
        sum_closed += step.closes
        kind = kinds[step.offer.kind]
        cost = None if kind.unit_cost is None else kind.unit_cost * step.offer.count
        buys.append(Buy(kind, step.offer.count, cost, step.closes, sum_closed))
    return CoverPlan(
        weeks=weeks,
        packs=len(packs),
        assumed=sum(one.assumed for one, _ in needed),
        alone=alone,
        closed=closed,
        buys=buys,
        closed_then=replay.closed,
        cost=sum((buy.cost for buy in buys if buy.cost is not None), Decimal(0)),
        by_sizes=_by_sizes(packs, found, kinds, stock),
        idle=_idle(needed, idle, kinds),
        unpriced=sorted(code for code, kind in kinds.items() if kind.unit_cost is None),
    )


def _fine_as_it_is(posed: Posed) -> bool:
    still = stand_still(posed.problem)
    return still is not None and posed.problem.low_nm <= still.predicted_nm <= posed.problem.high_nm


def _kinds(shop_id: uuid.UUID, posed: Sequence[Posed]) -> Iterable[Kind]:
    slots = [slot for each in posed for slot in each.slots]
    fits = {fit for slot in slots for fit in slot.fit_ids}
    return kinds_of(shop_id, fits, {slot.role for slot in slots}).select_related("fit", "supplier")


def _prices(kinds: Mapping[str, Kind]) -> dict[str, float]:
    """What a plate of each kind counts for; one without a cost for the mean of the others."""
    known = [float(kind.unit_cost) for kind in kinds.values() if kind.unit_cost is not None]
    mean = fmean(known) if known else 1.0
    return {code: mean if kind.unit_cost is None else float(kind.unit_cost) for code, kind in kinds.items()}


def _offer(kind: Kind, count: int, cost: float, weeks: float = 1.0) -> Offer:
    """Plates of the book size; each will be measured when it comes in."""
    return Offer(kind.code, kind.nominal_nm, micrometer_u_nm(None), count, cost, weeks)


def _offers(kinds: Mapping[str, Kind], found: Sequence[Size], price: Mapping[str, float]) -> list[Offer]:
    """One pack of every kind that is bought in its size, and two plates where they come one by one: they may be needed
    together. They lie there until they are used as the size was, which is once a year at least.
    """
    offers = []
    for size in found:
        if (kind := size.kind) is None or kind.code not in kinds:
            continue
        a_week = max(float(size.demand) / WEEKS, 1 / YEAR_WEEKS)
        for count in sorted({in_packs(1, kind.pack_size), in_packs(2, kind.pack_size)}):
            offers.append(_offer(kind, count, price[kind.code] * count, count / a_week))
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


def _by_sizes(
    packs: Sequence[Pack], found: Sequence[Size], kinds: Mapping[str, Kind], stock: Sequence[Offer]
) -> BySizes:
    bought = [(size.kind, size.buy) for size in found if size.kind and size.buy and size.kind.code in kinds]
    cost = sum((kind.unit_cost * count for kind, count in bought if kind.unit_cost is not None), Decimal(0))
    replay = Replay(packs, [], [*stock, *(_offer(kind, count, 0.0) for kind, count in bought)])
    return BySizes(sum(count for _, count in bought), replay.closed, cost)


def _idle(needed: Sequence[tuple[Again, Posed]], keys: set[object], kinds: Mapping[str, Kind]) -> list[Idle]:
    lying: dict[tuple[str, str | None], list[bool]] = defaultdict(list)
    candidates = needed[0][1].candidates  # the same for all
    for row in candidates:
        if isinstance(row, OnShelf):
            lying[row.kind, row.bin].append(str(row.id) in keys)
    found = []
    for (code, bin_code), some in lying.items():
        if any(some):
            cost = kinds[code].unit_cost if code in kinds else None
            found.append(Idle(code, bin_code, sum(some), len(some), None if cost is None else cost * sum(some)))
    return sorted(found, key=lambda one: (-(one.worth or 0), one.kind, one.bin or ""))

