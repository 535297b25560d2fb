"""Two years of an invented shop, bought for in three ways: how many packs close from the shelf, and with how much money
in plates on it.

Every way sees the same packs in the same weeks, the same delays of its orders and the same plates in the same purchase;
all of it is invented, from a seed. A pack that the shelf does not close is lost to it. Each way is run at several
settings, so that they can be compared at the same share of packs closed.

    python -m tests.benchmarks.buying --plot
"""

import argparse
import math
import random
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from statistics import fmean

import numpy as np

from plates.buying import levels
from plates.buying.missed import shared
from plates.buying.packs import Offer, Pack, Takers
from plates.buying.replay import Replay
from plates.lengths import INCH
from plates.matching.problem import Installed, Pool, Problem, Slot
from plates.matching.search import match
from plates.stock.sizes import SizeRow
from tests.benchmarks import plot

THOU = INCH // 1000
TENTH = INCH // 10_000
PICTURE = Path("fixtures/pictures/buying.svg")

WARM_UP, WEEKS = 52, 104
PACK, COST = 5, 4
LEADS = (1, 2, 2, 2, 3, 4)  # weeks that an order takes, drawn from these
LEAD, LEAD_SD, REVIEW = 2.33, 0.94, 1.0
U_READING, U_MOVE, U_PLATE = 38_100.0, 12_700.0, 5_080.0


@dataclass(frozen=True)
class Spec:
    """Steels of one fit; ``a_week``: how many such packs come."""

    fit: str
    count: int
    nominal_nm: int
    low_nm: int
    high_nm: int
    a_week: float

    @property
    def target_nm(self) -> int:
        return (self.low_nm + self.high_nm) // 2


#: Catalogued nominals of each fit, in thou.
ROWS = {
    "F1": [66, 70, 74, 78, 82, 86, 90, 94, 98],
    "F2": [63, 67, 71, 75, 79, 83, 87],
    "F3": [72, 77, 82, 87, 92, 97, 102],
}
#: The window by the rule of the trade (0.008 to 0.012 in a friction; common practice, no source).
SPECS = [
    Spec(fit, count, nominal * THOU, 8 * count * THOU, 12 * count * THOU, a_week)
    for fit, count, nominal, a_week in (
        ("F1", 5, 78, 2.0), ("F1", 4, 78, 1.0), ("F1", 6, 82, 0.5),
        ("F2", 4, 71, 1.0), ("F2", 3, 75, 0.4), ("F3", 5, 87, 0.6),
    )
]  # fmt: skip
KINDS = [(fit, nominal * THOU) for fit, row in ROWS.items() for nominal in row]


def poisson(rng: random.Random, mean: float) -> int:
    count, product = 0, rng.random()
    limit = math.exp(-mean)
    while product > limit:
        count, product = count + 1, product * rng.random()
    return count


@dataclass(frozen=True)
class Asked:
    week: int
    spec: Spec
    installed_nm: tuple[int, ...]
    clearance_nm: int


def asked(seed: int) -> list[Asked]:
    """Every pack of the years: worn drums and frictions make most read large, by a thou to four a friction."""
    rng, found = random.Random(seed), []
    for week in range(-52, WARM_UP + WEEKS):  # the year before the first is known to the shop, too
        for spec in SPECS:
            for _ in range(poisson(rng, spec.a_week)):
                installed = tuple(spec.nominal_nm + round(rng.gauss(0, 5)) * TENTH for _ in range(spec.count))
                off = spec.count * rng.gauss(25, 22)
                found.append(Asked(week, spec, installed, max(5 * THOU, spec.target_nm + round(off) * TENTH)))
    return [one for one in found if not one.spec.low_nm <= one.clearance_nm <= one.spec.high_nm]


def problem(one: Asked, pool: Pool, fits: Sequence[str]) -> Problem:
    rows = np.flatnonzero(np.array([fit == one.spec.fit for fit in fits], dtype=bool)).astype(np.int64)
    slot = Slot("steels", tuple(Installed(nm) for nm in one.installed_nm), swap=True, ordinary=rows)
    low, high, target = one.spec.low_nm, one.spec.high_nm, one.spec.target_nm
    return Problem("gap", one.clearance_nm, low, high, target, pool, (slot,), U_READING, U_MOVE)


def _none() -> dict[tuple[str, int], Fraction]:
    return defaultdict(Fraction)


@dataclass
class Shop:
    """Its shelf as (fit, nominal, thickness) in the order of coming in, and what is on order as (week, kind, count)."""

    seed: int
    shelf: list[tuple[str, int, int]] = field(default_factory=list)
    due: list[tuple[int, tuple[str, int], int]] = field(default_factory=list)
    taken: dict[int, Counter[tuple[str, int]]] = field(default_factory=lambda: defaultdict(Counter))
    missed: dict[int, dict[tuple[str, int], Fraction]] = field(default_factory=lambda: defaultdict(_none))
    bought: Counter[tuple[str, int]] = field(default_factory=Counter)

    def come_in(self, kind: tuple[str, int], count: int) -> None:
        for _ in range(count):
            self.bought[kind] += 1
            rng = random.Random(f"{self.seed} {kind} {self.bought[kind]}")
            self.shelf.append((*kind, kind[1] + round(rng.gauss(0, 6)) * TENTH))

    def order(self, week: int, kind: tuple[str, int], count: int) -> None:
        weeks = random.Random(f"{self.seed} {week} {kind}").choice(LEADS)
        self.due.append((week + weeks, kind, count))

    def pool(self) -> Pool:
        of_kind = Counter(plate[:2] for plate in self.shelf)
        return Pool(
            np.array([nm for _, _, nm in self.shelf], np.int64),
            np.full(len(self.shelf), U_PLATE),
            np.array([of_kind[plate[:2]] for plate in self.shelf], np.int64),
            np.arange(len(self.shelf)),
            [f"{row:09}" for row in range(len(self.shelf))],
        )

    def free(self) -> Counter[tuple[str, int]]:
        """What lies there and what is on order."""
        found = Counter(plate[:2] for plate in self.shelf)
        for _, kind, count in self.due:
            found[kind] += count
        return found

    def close(self, one: Asked) -> bool:
        answer = match(problem(one, self.pool(), [fit for fit, _, _ in self.shelf]))
        if answer.options:
            for row in sorted((row for _, row in answer.options[0].ins), reverse=True):
                fit, nominal, _ = self.shelf.pop(row)
                self.taken[one.week][fit, nominal] += 1
            return True
        assert answer.shortfall is not None
        ranges = [
            {"fit": one.spec.fit, "role": "steel", "count": some.count, "from_nm": some.from_nm, "to_nm": some.to_nm}
            for some in answer.shortfall.would_close
        ]
        nominals = {(fit, "steel"): [nominal * THOU for nominal in row] for fit, row in ROWS.items()}
        row_of = {fit: SizeRow.of([nominal * THOU for nominal in row], "in") for fit, row in ROWS.items()}
        for (fit, _, number), share in shared(ranges, nominals, lambda fit, _: row_of[fit]).items():
            self.missed[one.week][fit, row_of[fit].centre_nm(number)] += share
        return False


#: What it buys in a week, knowing every pack up to then.
Buyer = Callable[[Shop, int, Sequence[Asked]], None]


def by_size(service: float, fill_weeks: float) -> Buyer:
    """(a) Buy below by size: gamma-Poisson over 13 weeks, as the list of sizes does it, and weeks of demand over it."""

    def buy(shop: Shop, week: int, known: Sequence[Asked]) -> None:
        free = shop.free()
        for fit, row in ROWS.items():
            kinds = [(fit, nominal * THOU) for nominal in row]
            last = range(week - 12, week + 1)
            used = [sum(shop.taken[one][kind] + shop.missed[one][kind] for one in last) for kind in kinds]
            prior = levels.pooled([float(count) for count in used], 13)
            for kind, count in zip(kinds, used, strict=True):
                rate = prior.seen(float(count), 13)
                below = levels.buy_below_by_service(rate, levels.Wait(LEAD + REVIEW, LEAD_SD), service)
                over = levels.at_most(rate.a_week * fill_weeks, rate.a_week * fill_weeks, 0.5) if count else 0
                wanted = levels.to_buy(
                    free=free[kind], buy_below=below, fill_to=below + over, asked_for=count > 0, pack_size=PACK
                )
                if wanted:
                    shop.order(week, kind, wanted)

    return buy


def for_cover(share: float, period: int) -> Buyer:
    """(b) Buying for cover: the packs of the last year, so many weeks at a time, over the shelf and what is to come."""

    def buy(shop: Shop, week: int, known: Sequence[Asked]) -> None:
        pool, fits = shop.pool(), [fit for fit, _, _ in shop.shelf]
        packs = [
            Pack(
                problem(one, pool, fits),
                (week - one.week) // period,
                frozenset([one.spec.fit]),
                {f"{fit} {nominal}": Takers([0]) for fit, nominal in KINDS if fit == one.spec.fit},
            )
            for one in known
            if week - 52 < one.week <= week
        ]
        kinds = {f"{fit} {nominal}": (fit, nominal) for fit, nominal in KINDS}
        last = range(max(0, week - 51), week + 1)
        offers = []
        for name, kind in kinds.items():
            used = float(sum(shop.taken[one][kind] + shop.missed[one][kind] for one in last)) / len(last)
            offers.append(Offer(name, kind[1], U_PLATE, PACK, Decimal(PACK * COST), PACK / max(used, 1 / 52)))
        due = [Offer(f"{fit} {nominal}", nominal, U_PLATE, count, Decimal(0)) for _, (fit, nominal), count in shop.due]
        replay = Replay(packs, offers, due)
        to_buy = Counter[str]()
        for step in replay.cheapest(wanted=math.ceil(share * len(packs))):
            to_buy[step.offer.kind] += step.offer.count
        for name, count in to_buy.items():
            shop.order(week, kinds[name], count)

    return buy


def two_bins(factor: float) -> Buyer:
    """(c) A plain two-bin rule: a bin holds so many times what the shop used of the size in the weeks of lead and
    review (over the last year; a pack at least); when one is empty, it is bought again.
    """

    def buy(shop: Shop, week: int, known: Sequence[Asked]) -> None:
        free = shop.free()
        for kind in KINDS:
            last = range(max(0, week - 51), week + 1)
            used = sum(shop.taken[one][kind] + shop.missed[one][kind] for one in last) / len(last)
            bin_holds = levels.in_packs(max(1, round(factor * float(used) * (LEAD + REVIEW))), PACK)
            while free[kind] <= bin_holds:
                shop.order(week, kind, bin_holds)
                free[kind] += bin_holds

    return buy


def run(seed: int, buy: Buyer) -> tuple[float, float]:
    """(share of the packs that needed plates closed from the shelf, average money on it), of the last two years."""
    every, shop = asked(seed), Shop(seed)
    for kind in KINDS:
        shop.come_in(kind, PACK)
    in_week = defaultdict(list)
    for one in every:
        in_week[one.week].append(one)
    closed = needed = 0
    money = 0.0
    for week in range(WARM_UP + WEEKS):
        for at, kind, count in shop.due:
            if at <= week:
                shop.come_in(kind, count)
        shop.due = [one for one in shop.due if one[0] > week]
        done = [shop.close(one) for one in in_week[week]]
        buy(shop, week, every)
        if week >= WARM_UP:
            closed, needed, money = closed + sum(done), needed + len(done), money + COST * len(shop.shelf)
    return closed / needed, money / WEEKS


WAYS: dict[str, tuple[Callable[..., Buyer], list[tuple[float, ...]]]] = {
    "by size": (by_size, [(0.5, 0), (0.5, 2), (0.5, 4), (0.8, 4), (0.95, 4), (0.99, 4)]),
    "for cover": (for_cover, [(0.9, 4), (0.95, 4), (0.99, 4), (1.0, 6), (1.0, 9)]),
    "two bins": (two_bins, [(0.5,), (1.0,), (2.0,), (3.0,)]),
}


COLOURS = {"by size": "#1d5a96", "for cover": "#b3400f", "two bins": "#4a4a4a"}


def drawing(points: dict[str, list[tuple[float, float]]]) -> str:
    """Share closed against average money, a line for each way, as SVG."""
    frame = plot.Frame(460, 320, 70, 20, 30)
    every = [point for some in points.values() for point in some]
    least = math.floor(min(share for share, _ in every) * 50) / 50
    most = math.ceil(max(money for _, money in every) / 200) * 200

    def x(money: float) -> float:
        return frame.across(money / most)

    def y(share: float) -> float:
        return frame.down((1 - share) / (1 - least))

    curves = []
    for name, some in points.items():
        dots = [(x(money), y(share)) for share, money in some]
        curves.append(plot.Curve(name, COLOURS[name], dots, (dots[0][0] + 8, dots[0][1] + 20)))
    percents = range(100, 100 - round((1 - least) * 100) - 1, -1)
    return plot.drawing(
        frame,
        curves,
        says="Share of packs closed from the shelf against the average money on it, for three ways of buying.",
        across=("average money in plates on the shelf", [(x(money), str(money)) for money in range(0, most + 1, 200)]),
        down=("", [(y(percent / 100), f"{percent} %") for percent in percents]),
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=2, help="shops of each setting")
    parser.add_argument("--ways", nargs="*", default=list(WAYS), choices=list(WAYS))
    parser.add_argument("--plot", type=Path, nargs="?", const=PICTURE, help="draw share against money")
    options = parser.parse_args()
    points: dict[str, list[tuple[float, float]]] = defaultdict(list)
    print("way, setting: share closed of the packs that needed plates, average money on the shelf", flush=True)
    for way in options.ways:
        make, knobs = WAYS[way]
        for knob in knobs:
            found = [run(seed, make(*knob)) for seed in range(1, options.seeds + 1)]
            share, money = (fmean(column) for column in zip(*found, strict=True))
            points[way].append((share, money))
            print(f"{way:10} {', '.join(map(str, knob)):10} {share:7.2%} {money:7.0f}", flush=True)
    if options.plot:
        options.plot.write_text(drawing(points), encoding="utf-8")
        print(f"Drawn: {options.plot.name}")


if __name__ == "__main__":
    main()
