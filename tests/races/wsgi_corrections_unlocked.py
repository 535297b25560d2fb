"""The service with the locks on checks and plates to be corrected taken out: what two hands may then do to a plate."""
# ruff: noqa: I001

from shop.wsgi import application  # first, since it sets Django up

from plates.bench.gauges import corrections as bench
from plates.stock import corrections
from tests.races.gate import stand

__all__ = ["application"]

_correct = corrections._correct


def late(*args):
    """Everybody has looked before anybody writes."""
    stand()
    return _correct(*args)


corrections._lock = lambda person, wanted: list(wanted.values_list("pk", flat=True))
corrections._correct = late
bench._lock_checks = lambda person, errors: None
