"""The service whose pull check locks neither its match nor its plates: what two hands at one bin may then do."""
# ruff: noqa: I001

from shop.wsgi import application  # first, since it sets Django up

from plates.bench.slip import pull, pull_acts
from tests.races.gate import stand
from tests.races.wsgi_match_unlocked import read

__all__ = ["application"]


def believe(match, seen):
    """The plates are believed to be as they were seen."""
    stand()


pull.match_lock = read
pull_acts._lock = believe
