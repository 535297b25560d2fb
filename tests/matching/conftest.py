"""Every matching test runs mirrored: as a gap and as a height, in tenths of a thou and in thousandths of a mm."""

from collections.abc import Callable
from functools import partial

import pytest

from plates.matching.problem import Problem
from tests.matching.packs import mirrored

Mirror = Callable[[Problem], Problem]


@pytest.fixture(
    params=[(measures, lattice) for measures in ("gap", "height") for lattice in ("inch", "mm")],
    ids="-".join,
)
def mirror(request: pytest.FixtureRequest) -> Mirror:
    measures, lattice = request.param
    return partial(mirrored, measures=measures, lattice=lattice)
