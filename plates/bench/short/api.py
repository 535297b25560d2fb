"""What the shelf could not answer, over HTTP."""

from django_filters import rest_framework as filters

from plates.bench import selectors
from plates.bench.short.answers import MissedAnswer
from shop.api import Collection, One, SinceFilter


class MissedFilter(filters.FilterSet):
    spec = filters.CharFilter("spec__code")
    job = filters.CharFilter("job__code")
    since = SinceFilter("at")


class Misses(Collection):
    """The questions that the shelf could not answer, oldest first; asked again for one job on one day it is one."""

    serializer_class, filterset_class = MissedAnswer, MissedFilter
    rows = staticmethod(selectors.missed)


class OneMiss(One):
    """One question that the shelf could not answer."""

    serializer_class = MissedAnswer
    rows = staticmethod(selectors.missed)
