"""The service whose bench plan locks no plates: what two plans may then do to one plate."""
# ruff: noqa: I001

import time
import uuid

from shop.wsgi import application  # first, since it sets Django up

from plates.bench import locks
from plates.bench.plan import plan

__all__ = ["application"]


def believe(wanted):
    """The look is believed: no lock, no look whether the plates are still as it saw them."""
    time.sleep(2.0)
    return [
        locks.Locked([(uuid.UUID(row["plate"]), row["revision"]) for row in ins if row["plate"]], [])
        for _, ins in wanted
    ]


plan.plates_lock_all = believe
