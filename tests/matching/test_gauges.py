"""Plates read with one gauge share its error: it adds up over them, and cancels between one out and one in."""

import math
import random
from dataclasses import replace

import numpy as np
import pytest

from plates.matching.problem import Way
from plates.matching.search import match
from tests.matching import oracle
from tests.matching.packs import FEELER, MOVE_NM, nm, pool_of, random_pack, with_gauges
from tests.matching.test_brute_force import _overlapping, _shown
from tests.matching.test_shortfall import stack

PACKS = 60


def loose(into: int, out_of: int, u_gauge: tuple[float, ...]):
    """Three plates of five are exchanged."""
    base = stack("0.0698", "0.0699", "0.0700", "0.0701", "0.0702", reads="0.074")
    pool = pool_of([nm("0.0771"), nm("0.0771"), nm("0.0768")])
    (slot,) = base.slots
    return replace(
        base,
        low_nm=nm("0.040"),
        high_nm=nm("0.060"),
        target_nm=nm("0.050"),
        pool=replace(pool, gauge=np.full(3, into)),
        slots=(
            replace(
                slot,
                ordinary=np.arange(3),
                installed=tuple(replace(one, gauge=out_of) for one in slot.installed),
            ),
        ),
        u_reading_nm=nm(FEELER),
        u_move_nm=MOVE_NM,
        u_gauge_nm=u_gauge,
    )


def u_of_three(into: int, out_of: int) -> float:
    (three,) = [one for one in match(loose(into, out_of, (2_000.0, 3_000.0))).options if one.changes == 3]
    return three.u_nm


def test_one_gauge_cancels_and_two_add_up():
    alone = nm(FEELER) ** 2 + 6 * MOVE_NM**2
    assert u_of_three(-1, -1) == pytest.approx(math.sqrt(alone), rel=1e-12)
    assert u_of_three(0, 0) == pytest.approx(math.sqrt(alone), rel=1e-12)
    assert u_of_three(0, -1) == pytest.approx(math.sqrt(alone + (3 * 2_000) ** 2), rel=1e-12)
    assert u_of_three(0, 1) == pytest.approx(math.sqrt(alone + (3 * 2_000) ** 2 + (3 * 3_000) ** 2), rel=1e-12)


def test_a_gauge_that_read_pack_and_plates_counts_once_for_all_three():
    """Read 1, taken out with it 0, put in with it 3: what it reads too high is off twice in a gap."""
    problem = replace(loose(0, -1, (2_000.0, 3_000.0)), read_net=(1, 0))
    (three,) = [one for one in match(problem).options if one.changes == 3]
    alone = nm(FEELER) ** 2 + 6 * MOVE_NM**2
    assert three.u_nm == pytest.approx(math.sqrt(alone + (2 * 2_000) ** 2), rel=1e-12)


@pytest.mark.parametrize("gauges", [([0], [0]), ([0], [1]), ([1], [-1]), ([-1], [0])], ids=str)
def test_one_gauge_in_and_one_out_is_searched_exactly(mirror, gauges):
    """Options and their order against every exchange there is; a plate beyond the count apart."""
    answered = 0
    for seed in range(PACKS):
        rng = random.Random(seed)
        plain = random_pack(rng, 7)
        plain = replace(plain, slots=tuple(replace(slot, extra=0) for slot in plain.slots))
        problem = mirror(with_gauges(plain, rng, *gauges))
        problem = replace(problem, read_net=())
        overlapping = _overlapping(problem)
        expected = [_shown(problem, one, overlapping) for one in oracle.options(problem)]
        assert [_shown(problem, one, overlapping) for one in match(problem).options] == expected, seed
        answered += bool(expected)
    assert answered >= PACKS // 20


def test_mixed_gauges_never_call_a_marginal_option_sure(mirror):
    """Figures are exact for every option shown; the nearest of each way and number of changes is as exact as ever."""
    found = 0
    for seed in range(PACKS):
        rng = random.Random(seed)
        problem = mirror(with_gauges(random_pack(rng, 7), rng, [0, 1, -1], [0, 1, -1]))
        everything = oracle.exchanges(problem)
        known = {(one.ins, one.outs): one for one in everything}
        expected = oracle.options(problem)
        options = match(problem).options
        for option in options:
            same = known[option.ins, option.outs]
            assert option.u_nm == pytest.approx(same.u_nm, rel=1e-12), seed
            assert option.sure == same.sure
        for way in Way:
            least, mine = (
                min((abs(one.predicted_nm - problem.target_nm) for one in some if one.way == way), default=None)
                for some in (expected, options)
            )
            assert mine == least, seed
        found += any(option.sure for option in options)
    assert found >= PACKS // 20
