"""How lists of the stock room are filtered and ordered."""

from typing import Any

from django_filters import rest_framework as filters

from plates.catalogue.models import Role
from plates.lengths import LengthError, length_parse
from plates.stock.count_models import CountState
from plates.stock.models import Condition, Reason, State
from shop.api import SinceFilter
from shop.errors import Malformed


class LengthFilter(filters.CharFilter):
    """A length with its unit in an address, as 0.0771 in."""

    def filter(self, queryset: Any, value: str) -> Any:
        if not value:
            return queryset
        try:
            return super().filter(queryset, length_parse(value))
        except LengthError as error:
            raise Malformed(str(error), [(f"/{self.label}", "give a length with its unit")]) from None


class Ordering(filters.OrderingFilter):
    """What was asked for, then the id: equal rows keep their places from page to page."""

    def filter(self, queryset: Any, value: Any) -> Any:
        return super().filter(queryset, value).order_by(*self.get_orders(value), "id") if value else queryset

    def get_orders(self, value: Any) -> list[str]:
        return [self.get_ordering_value(one) for one in value]


class PlateFilter(filters.FilterSet):
    fit = filters.CharFilter("fit__code")
    kind = filters.CharFilter("kind__code")
    bin = filters.CharFilter("bin__code")
    role = filters.ChoiceFilter(choices=Role.choices)
    state = filters.ChoiceFilter("state_now", choices=State.choices)
    condition = filters.ChoiceFilter(choices=Condition.choices)
    transfer = filters.UUIDFilter()
    thickness_min = LengthFilter("thickness_nm", "gte", label="thickness_min")
    thickness_max = LengthFilter("thickness_nm", "lte", label="thickness_max")
    ordering = Ordering(
        fields=(
            ("thickness_nm", "thickness"),
            ("received_at", "received_at"),
            ("kind__code", "kind"),
            ("bin__code", "bin"),
        )
    )


class HandOutFilter(filters.FilterSet):
    reason = filters.ChoiceFilter(choices=Reason.choices)
    since = SinceFilter("at")


class CountFilter(filters.FilterSet):
    bin = filters.CharFilter("bin__code")
    person = filters.CharFilter("person__username")
    state = filters.ChoiceFilter(choices=CountState.choices)


class LedgerFilter(filters.FilterSet):
    plate = filters.UUIDFilter("plate_id")
    match = filters.UUIDFilter("match_id")
    job = filters.CharFilter("job__code")
    kind = filters.CharFilter("plate__kind__code")
    person = filters.CharFilter("person__username")
    since = SinceFilter("at")
