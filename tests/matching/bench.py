"""Several packs over one shelf for the tests, and every plan that there is for them."""

import random
from dataclasses import replace

from plates.matching.plan.moves import Move, packs_build
from plates.matching.problem import Exchange, Pool, Problem
from tests.matching import oracle
from tests.matching.packs import every_nanometre, mirrored, random_pack, rows, with_gauges, with_limits


def random_bench(rng: random.Random, packs: int, plates: int, *, most: int = 3) -> tuple[list[Problem], list[Move]]:
    """Packs over the pool of the first, each with rows of its own drawn anew; some of their plates may move."""
    drawn = [
        random_pack(rng, plates, slots=rng.choice([1, 2]), most=most, spread=rng.choice([12, 30])) for _ in range(packs)
    ]
    if rng.random() < 0.7:
        drawn = [_wanting(pack, rng, len(drawn[0].pool)) for pack in drawn]
    lattice = rng.choice(["inch", "mm"])
    drawn = [mirrored(pack, rng.choice(["gap", "height"]), lattice) for pack in drawn]
    if rng.random() < 0.3:
        drawn = [with_gauges(pack, rng, [-1, 0, 1], [-1, 0, 1]) for pack in drawn]
    if rng.random() < 0.3:
        drawn = [every_nanometre(pack, rng) for pack in drawn]
    drawn = [with_limits(pack, rng) if rng.random() < 0.2 else pack for pack in drawn]
    problems = [on_pool(pack, drawn[0].pool) for pack in drawn]
    moves = []
    for number, pack in enumerate(problems):
        for slot, place in enumerate(pack.slots):
            for index in range(len(place.installed)):
                there = [(n, s) for n, one in enumerate(problems) if n != number for s in range(len(one.slots))]
                serves = [one for one in there if rng.random() < 0.8]
                cut = rng.choice([len(serves), rng.randint(0, len(serves))])
                moves.append(Move(number, slot, index, tuple(serves[:cut]), tuple(serves[cut:])))
    return problems, moves


def _wanting(pack: Problem, rng: random.Random, plates: int) -> Problem:
    """The pack a few steps from its window, and open to most plates, so that there is something to share."""
    slots = [
        replace(slot, swap=True, ordinary=rows(*(row for row in range(plates) if rng.random() < 0.8)))
        for slot in pack.slots
    ]
    return replace(
        pack,
        clearance_nm=pack.target_nm + 2_540 * rng.randint(-12, 12),
        u_reading_nm=2_540.0 * rng.choice([0.0, 0.5, 2.0]),
        slots=tuple(slots),
    )


def on_pool(problem: Problem, pool: Pool) -> Problem:
    """The pack asked of another shelf."""
    count = len(pool)
    slots = [
        replace(
            slot,
            ordinary=slot.ordinary[slot.ordinary < count],
            substitute=slot.substitute[slot.substitute < count],
        )
        for slot in problem.slots
    ]
    return replace(problem, pool=pool, slots=tuple(slots))


def rank(problem: Problem, exchange: Exchange | None) -> tuple[int, int, int, int]:
    """What an exchange adds to the order of plans, the smaller the better."""
    if exchange is None:
        return (0, 0, 0, 0)
    return (-1, -exchange.sure, exchange.changes, abs(exchange.predicted_nm - problem.target_nm))


def best_rank(problems: list[Problem], moves: list[Move]) -> tuple[int, ...]:
    """The rank of the best plan, by trying all of them; of exchanges that take and give the same only the best."""
    packs = packs_build(problems, moves)
    row_of = {place: row for row, place in packs.source.items()}
    choices = []
    for number, problem in enumerate(packs.problems):
        best = {(frozenset(), frozenset()): (0, 0, 0, 0)}
        for one in oracle.exchanges(problem):
            if problem.low_nm <= one.predicted_nm <= problem.high_nm:
                takes = frozenset(row for _, row in one.ins)
                gives = frozenset(row_of[number, *place] for place in one.outs if (number, *place) in row_of)
                best[takes, gives] = min(best.get((takes, gives), (1,)), rank(problem, one))
        choices.append(list(best.items()))
    lent = frozenset(packs.source)

    def tried(number: int, taken: frozenset[int], given: frozenset[int]) -> tuple[int, ...]:
        if number == len(choices):
            return (0, 0, 0, 0) if taken & lent <= given else (1_000, 0, 0, 0)
        found = [
            tuple(map(sum, zip(own, tried(number + 1, taken | takes, given | gives), strict=True)))
            for (takes, gives), own in choices[number]
            if not taken & takes
        ]
        return min(found)

    return tried(0, frozenset(), frozenset())
