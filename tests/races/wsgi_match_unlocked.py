"""The service with the lock on a match taken out: what one question may then be taken for."""
# ruff: noqa: I001

from shop.wsgi import application  # first, since it sets Django up

from plates.bench import take
from plates.bench.models import Match
from tests.races.gate import stand

__all__ = ["application"]


def read(*, person, match_id):
    """The match as it stands, for anybody at the same time."""
    return Match.objects.select_related("spec", "job", "person", "shop").get(shop_id=person.shop_id, pk=match_id)


def seen(*, person, match_id, givers):
    match = read(person=person, match_id=match_id)
    stand()
    return match, {}


take.taker_lock = seen
