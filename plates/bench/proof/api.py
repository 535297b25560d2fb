"""What final checks teach, over HTTP: residuals and their charts, the build sheet, comebacks."""

from typing import Any

from django_filters import rest_framework as filters
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from plates.bench import selectors
from plates.bench.answers import MatchAnswer
from plates.bench.api import MatchAct
from plates.bench.bodies import reading_of
from plates.bench.locks import Run
from plates.bench.proof import residuals
from plates.bench.proof.answers import GroupAnswer, ResidualAnswer
from plates.bench.proof.answers_sheet import SheetAnswer
from plates.bench.proof.bodies import ComebackBody, worn_of
from plates.bench.proof.build_sheet import build_sheet
from plates.bench.proof.comebacks import match_comeback
from plates.measuring.uncertainty import READING_U_NM
from shop.api import Collection, One, SinceFilter
from shop.errors import Malformed
from shop.once import Answer


class ResidualFilter(filters.FilterSet):
    method = filters.ChoiceFilter(choices=[(name, name) for name in READING_U_NM])
    gauge = filters.CharFilter("gauge")
    person = filters.CharFilter("person__username")
    since = SinceFilter("at")


class Residuals(Collection):
    """The final checks, oldest first, each with its residual = measured - predicted."""

    serializer_class, filterset_class = ResidualAnswer, ResidualFilter

    @staticmethod
    def rows(shop_id: Any) -> Any:
        return selectors.final_checks(shop_id).select_related("match", "person", "terminal").defer(
            *(f"match__{name}" for name in ("question", "options", "cautions", "slip", "outs", "built", "shortfall"))
        )


class ResidualCharts(Collection):
    """The residuals by method, gauge or person: limits, moving average, and what is out of control in plain words."""

    serializer_class = GroupAnswer
    rows = staticmethod(selectors.final_checks)

    @extend_schema(
        parameters=[OpenApiParameter("by", enum=list(residuals.BY), default="method")],
        responses={200: GroupAnswer(many=True)},
    )
    def get(self, request: Request) -> Response:
        by = request.query_params.get("by", "method")
        if by not in residuals.BY:
            raise Malformed(f"Charts are by {', '.join(residuals.BY)}.", [("/by", "name one of them")])
        if unknown := sorted(set(request.query_params) - {"by", "page", "page_size"}):
            raise Malformed(f"There is no filter {unknown[0]!r} here.", [(f"/{unknown[0]}", "known are by and page")])
        groups: Any = self.paginate_queryset(residuals.groups_of(residuals.points_of(self.shop_id), by))
        context = {**self.get_serializer_context(), "unit": self.person.shop.unit_first}
        return self.get_paginated_response(GroupAnswer(groups, many=True, context=context).data)


class Sheet(One):
    """The build sheet of a match that is taken or closed."""

    serializer_class = SheetAnswer
    rows = staticmethod(selectors.matches_with_stacks)

    def get_object(self) -> Any:
        return build_sheet(super().get_object())


class Comeback(MatchAct):
    """The unit of a closed match came back: a new match, with how much of the change its wear accounts for."""

    body_class, answer_status = ComebackBody, 201

    @extend_schema(request=ComebackBody, responses={201: MatchAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.do(self.come_back)

    def come_back(self, body: dict[str, Any], run: Run[Answer]) -> Answer:
        return match_comeback(
            person=self.person,
            match_id=self.row_id(),
            reading=reading_of(body),
            worn=worn_of(body),
            counted=body["counted"],
            made_key=self.once.made_key,
            run=run,
        )
