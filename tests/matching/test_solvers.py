"""The same optimum as OR-Tools CP-SAT and HiGHS (general-purpose libraries) on random packs, every time."""

import random
from dataclasses import replace
from itertools import product

import pytest

from plates.matching.problem import Installed, Way
from plates.matching.search import distances
from tests.matching.packs import random_pack
from tests.matching.solvers import by_cp_sat, by_highs

PACKS = 80  # for each of the four mirrors, every one with an exchange to find
BATCHES = 4


@pytest.mark.parametrize("batch", range(BATCHES))
def test_each_way_and_number_of_changes_has_the_same_optimum(batch, mirror):
    reached, seed = 0, batch
    while reached < PACKS // BATCHES:
        rng = random.Random(f"{seed} {mirror.keywords}")
        pack = random_pack(rng, 60, least=20, slots=4, spread=120, most=5)
        problem = mirror(replace(pack, max_changes=None))
        asked = list(product(Way, range(1, 7)))
        for way, changes in rng.sample(asked, len(asked)):
            expected = by_cp_sat(problem, way, changes)
            assert distances(problem, way, 6).get(changes) == expected, (seed, way, changes)
            if expected is not None:
                assert by_highs(problem, way, changes) == expected, (seed, way, changes)
                reached += 1
                break
        seed += BATCHES


def test_packs_that_need_five_changes(mirror):
    """One slot, five out of the pack that must all go: nothing but five changes is an answer."""
    for seed in range(10):
        rng = random.Random(f"five {seed} {mirror.keywords}")
        pack = random_pack(rng, 60, least=40, slots=1, spread=200)
        slot = replace(pack.slots[0], installed=_five(rng), swap=True, empty=0, extra=0)
        problem = mirror(replace(pack, slots=(slot,), max_changes=None))
        found = distances(problem, Way.ORDINARY, 6)
        assert set(found) <= {5}
        assert found.get(5) == by_cp_sat(problem, Way.ORDINARY, 5) == by_highs(problem, Way.ORDINARY, 5)


def _five(rng):
    return tuple(Installed(2_540 * rng.randint(700, 900), True) for _ in range(5))
