"""Which of the inner searches does the work depends on the lattice; each alone gives the same answer."""

import random
from dataclasses import replace

import numpy as np
import pytest

from plates.matching import choose, join, near, ways
from plates.matching.hands import TooMany
from plates.matching.problem import Problem, Slot, Way
from plates.matching.search import distances, first, match
from tests.matching import oracle
from tests.matching.packs import MOVE_NM, nm, pool_of, random_pack, rows, with_limits
from tests.matching.solvers import by_cp_sat


def refused(*_, **__):
    raise TooMany


def by_hands(patch):
    patch.setattr(choose, "best_on_lattice", lambda *_: None)
    patch.setattr(near, "_FINE", 0)
    patch.setattr(ways, "least_variances", lambda *_: None)


def by_few_plates(patch):
    """So few thicknesses first that as a rule they miss."""
    patch.setattr(near, "_FEWEST", 1)
    patch.setattr(near, "_TIMES", 0)


def by_few_plates_in_hands(patch):
    by_few_plates(patch)
    by_hands(patch)


def by_few_of_high_rank(patch):
    """Hardly more plates of the best rank first than there are changes."""
    patch.setattr(join, "_enough", lambda _, changes: changes + 3)


def by_arrays(patch):
    patch.setattr(choose, "best_by_joining", refused)


def by_labels(patch):
    patch.setattr(choose, "best_on_lattice", lambda *_: None)
    patch.setattr(choose, "best_by_joining", refused)


def by_probing(patch):
    patch.setattr(ways, "least_variances", lambda *_: None)
    patch.setattr(ways, "variances_by_joining", refused)


@pytest.mark.parametrize(
    "only",
    [by_hands, by_few_plates, by_few_plates_in_hands, by_few_of_high_rank, by_arrays, by_labels, by_probing],
)
def test_each_search_alone(only, mirror, monkeypatch):
    only(monkeypatch)
    answered = 0
    for seed in range(60):
        problem = mirror(random_pack(random.Random(4_000 + seed), 7))
        used = [row for slot in problem.slots for row in {*slot.ordinary.tolist(), *slot.substitute.tolist()}]
        expected, options = oracle.options(problem), match(problem).options
        assert [(one.way, one.changes, oracle.figures(problem, one)) for one in options] == [
            (one.way, one.changes, oracle.figures(problem, one)) for one in expected
        ], seed
        if len(used) == len(set(used)):
            assert [(one.ins, one.outs) for one in options] == [(one.ins, one.outs) for one in expected], seed
        answered += bool(expected)
    assert answered >= 10


def fine(problem, rng):
    """The same pack with every plate a few nanometres off its lattice: means of several readings are."""
    off = np.array([rng.randint(-900, 900) for _ in range(len(problem.pool))], np.int64)
    return replace(problem, pool=replace(problem.pool, thickness_nm=problem.pool.thickness_nm + off))


def test_a_lattice_of_one_nanometre_has_the_same_optimum(mirror):
    reached, seed = 0, 0
    while reached < 15:
        rng = random.Random(f"fine {seed}")
        pack = random_pack(rng, 40, least=10, slots=3, spread=150, most=4)
        problem = fine(mirror(replace(pack, max_changes=None)), rng)
        way, changes = rng.choice(list(Way)), rng.randint(1, 4)
        expected = by_cp_sat(problem, way, changes)
        assert distances(problem, way, 4).get(changes) == expected, (seed, way, changes)
        reached += expected is not None
        seed += 1


def test_options_on_a_lattice_of_one_nanometre(mirror):
    for seed in range(60):
        rng = random.Random(5_000 + seed)
        problem = fine(mirror(random_pack(rng, 7)), rng)
        shown = [(one.way, one.changes, oracle.figures(problem, one)) for one in match(problem).options]
        assert shown == [
            (one.way, one.changes, oracle.figures(problem, one)) for one in oracle.options(problem)
        ], seed


def test_graded_uncertainty_when_probing_gives_up(mirror, monkeypatch):
    """Too many in doubt for anything exact: what is shown as sure still is, though a nearer one may be missed."""
    by_probing(monkeypatch)
    monkeypatch.setattr(ways, "_PROBES", 0)
    found = 0
    for seed in range(120):
        problem = mirror(random_pack(random.Random(6_000 + seed), 7))
        known = {(one.ins, one.outs): one for one in oracle.exchanges(problem)}
        for option in match(problem).options:
            assert option.sure == known[option.ins, option.outs].sure
            found += option.changes > 0
    assert found >= 10


def test_hands_and_arrays_choose_the_same(mirror, monkeypatch):
    """Packs too large for trying every exchange, where plates of many ranks can end on the same cell."""
    for seed in range(150):
        rng = random.Random(7_000 + seed)
        pack = random_pack(rng, 40, least=20, slots=2, spread=25, most=4)
        few = [200 if rng.random() < 0.15 else rng.randint(1, 30) for _ in pack.pool.keys]
        pieces = np.array(few, np.int64)
        problem = mirror(replace(pack, pool=replace(pack.pool, pieces=pieces)))
        found = []
        for only in (by_few_of_high_rank, by_arrays):
            with monkeypatch.context() as patch:
                only(patch)
                found.append([(one.way, one.ins, one.outs) for one in match(problem).options])
        assert found[0] == found[1], seed


def test_an_empty_drum_and_a_shelf_of_equal_age_on_a_lattice_of_nanometres():
    """Seven places, and more exchanges on the very target than anybody could list: one of them is named."""
    rng = random.Random(1)
    steels = [rng.randrange(nm("0.070"), nm("0.090")) for _ in range(250)]
    pool = pool_of([*steels, *(rng.randrange(nm("0.058"), nm("0.080")) for _ in range(12))])
    slots = (
        Slot("steels", (), swap=True, empty=6, ordinary=rows(*range(250))),
        Slot("ring", (), swap=True, empty=1, ordinary=rows(*range(250, 262))),
    )
    drum = Problem("gap", nm("0.600"), nm("0.040"), nm("0.060"), nm("0.050"), pool, slots, float(nm("0.0015")), MOVE_NM)
    (option,) = match(drum).options
    assert (option.changes, option.predicted_nm, option.sure) == (7, nm("0.050"), True)
    assert match(drum).options == (option,)


@pytest.mark.parametrize("limited", [False, True])
def test_the_first_option_alone_is_the_first_of_all(limited):
    rng = random.Random(29)
    found = 0
    for _ in range(150):
        problem = random_pack(rng, 9)
        problem = with_limits(problem, rng) if limited else problem
        options = match(problem).options
        assert first(problem) == (options[0] if options else None)
        found += len(options) > 1
    assert found > 5
