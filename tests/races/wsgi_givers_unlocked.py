"""The service that locks only the match acted on, not the one that gives it a plate: what two packs may then take."""
# ruff: noqa: I001

from shop.wsgi import application  # first, since it sets Django up

from plates.bench import locks, take
from tests.races.gate import stand

__all__ = ["application"]


def only_the_taker(*, person, match_id, givers):
    """The givers as they stand, for anybody at the same time."""
    match = locks.match_lock(person=person, match_id=match_id)
    rows = locks._matches(person.shop_id, tuple(givers))
    found = locks._current(rows)
    stand()
    return match, {**found, match.pk: match}


take.taker_lock = only_the_taker
