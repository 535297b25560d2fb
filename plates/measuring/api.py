"""The measuring room over HTTP: gauges, checks, studies."""

import re
from typing import Any

from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from plates.measuring import selectors, services
from plates.measuring.answers import CheckAnswer, GaugeAnswer, StudyAnswer
from plates.measuring.bodies import GaugeBody, ReturnBody, StudyBody, WithdrawBody
from plates.measuring.models import Gauge, GaugeCheck, GaugeStudy, GaugeType
from plates.measuring.selectors import GaugeState
from shop.api import CODE, Act, Collection, One, Signed, by_code
from shop.errors import NotFound


class GaugeFilter(filters.FilterSet):
    type = filters.ChoiceFilter(choices=GaugeType.choices)
    state = filters.ChoiceFilter("state_now", choices=GaugeState.choices)


class OfGauge(Signed):
    """What the views under the address of one gauge share."""

    def gauge(self) -> Any:
        """The gauge in the address; raises 404."""
        code = self.kwargs["code"]
        found = selectors.gauges(self.shop_id).filter(code=code).first() if re.match(CODE, code) else None
        if found is None:
            raise NotFound(f"No gauge has the code {code!r}.")
        return found


class Gauges(Collection):
    """The gauges of the shop, each with its state and when it is due."""

    body_class, serializer_class, filterset_class = GaugeBody, GaugeAnswer, GaugeFilter
    rows = staticmethod(selectors.gauges)

    @extend_schema(request=GaugeBody, responses={201: GaugeAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, lambda made: self.get_serializer(self.get_queryset().get(pk=made.pk)).data)

    def make(self, body: dict[str, Any]) -> Gauge:
        lengths = {f"{name}_nm": body.pop(name) for name in ("resolution", "limit") if name in body}
        return services.gauge_make(person=self.person, **body, **lengths)


class OneGauge(One):
    """One gauge."""

    serializer_class, lookup_field = GaugeAnswer, "code"
    rows = staticmethod(selectors.gauges)


class GaugeChecks(OfGauge, Collection):
    """The checks of one gauge against a standard, oldest first."""

    serializer_class = CheckAnswer

    def get_queryset(self) -> Any:
        if getattr(self, "swagger_fake_view", False):
            return GaugeCheck.objects.none()
        return selectors.checks(self.shop_id).filter(gauge=self.gauge())

    def get(self, request: Request, code: str = "") -> Response:
        return self.list(request)


class GaugeAct(OfGauge, Act):
    """An action on one gauge."""

    serializer_class = GaugeAnswer

    def rendered(self, _: Gauge) -> dict[str, Any]:
        return GaugeAnswer(self.gauge()).data


class Withdraw(GaugeAct):
    """Take a gauge out of use: nothing is booked with it any more."""

    body_class = WithdrawBody

    @extend_schema(request=WithdrawBody, responses={200: GaugeAnswer})
    def post(self, request: Request, code: str) -> Response:
        return self.act(
            lambda body: services.gauge_withdraw(person=self.person, gauge_id=self.gauge().pk, **body), self.rendered
        )


class Return(GaugeAct):
    """Take a withdrawn gauge back into use."""

    body_class = ReturnBody

    @extend_schema(request=ReturnBody, responses={200: GaugeAnswer})
    def post(self, request: Request, code: str) -> Response:
        return self.act(
            lambda _: services.gauge_return(person=self.person, gauge_id=self.gauge().pk), self.rendered
        )


class StudyFilter(filters.FilterSet):
    gauge = filters.CharFilter("gauge__code")


class GaugeStudies(Collection):
    """Crossed gauge studies with their results, oldest first."""

    body_class, serializer_class, filterset_class = StudyBody, StudyAnswer, StudyFilter
    rows = staticmethod(selectors.studies)

    @extend_schema(request=StudyBody, responses={201: StudyAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, lambda made: self.get_serializer(self.get_queryset().get(pk=made.pk)).data)

    def make(self, body: dict[str, Any]) -> GaugeStudy:
        return services.gauge_study(
            person=self.person,
            gauge=by_code(selectors.gauges(self.shop_id), body["gauge"], "/gauge"),
            people=body["people"],
            plates=body["plates"],
            readings=body["readings"],
            made_key=self.once.made_key,
        )


class OneGaugeStudy(One):
    """One gauge study."""

    serializer_class = StudyAnswer
    rows = staticmethod(selectors.studies)
