"""The service whose bench plan locks no plates: what two plans may then do to one plate."""
# ruff: noqa: I001

import uuid

from shop.wsgi import application  # first, since it sets Django up

from plates.bench import locks
from plates.bench.plan import plan
from tests.races.gate import stand

__all__ = ["application"]


def believe(wanted):
    """The look is believed: no lock, no look whether the plates are still as it saw them."""
    stand()
    return [
        locks.Locked([(uuid.UUID(row["plate"]), row["revision"]) for row in ins if row["plate"]], [])
        for _, ins in wanted
    ]


plan.plates_lock_all = believe
