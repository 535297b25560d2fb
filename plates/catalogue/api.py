"""The catalogue over HTTP: fits, kinds, pack specs."""

import uuid
from typing import Any

from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from plates.catalogue import selectors, services, specs
from plates.catalogue.answers import FitAnswer, KindAnswer, SpecAnswer
from plates.catalogue.bodies import KIND_LENGTHS, FitBody, KindBody, ReviseBody, SpecBody, beside, slot_of, window_of
from plates.catalogue.estimates import Case, estimates
from plates.catalogue.hydraulics import hydraulics_read
from plates.catalogue.hydraulics_body import EstimateAnswer, EstimateQuery
from plates.catalogue.kinds import Break, KindData, kind_make
from plates.catalogue.models import Fit, Kind
from plates.catalogue.spec_models import Spec
from shop.api import Act, Collection, One, Signed, by_code


class CatalogueRows(Signed):
    """Rendering of what was just made, with its links."""

    def rendered(self, row: Any) -> Any:
        return self.get_serializer(self.get_queryset().get(pk=row.pk)).data


class Fits(CatalogueRows, Collection):
    """The fits of the shop: what must agree for a plate to go on the same splines."""

    body_class, serializer_class = FitBody, FitAnswer
    filterset_fields = {"tooth_side": ["exact"], "teeth": ["exact"]}
    rows = staticmethod(selectors.fits)

    @extend_schema(request=FitBody, responses={201: FitAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, self.rendered)

    def make(self, body: dict[str, Any]) -> Fit:
        lengths = {f"{name}_nm": body.pop(name) for name in ("outer", "inner")}
        return services.fit_make(person=self.person, **body, **lengths)


class KindFilter(filters.FilterSet):
    fit = filters.CharFilter("fit__code")

    class Meta:
        model = Kind
        fields = ["fit", "role"]


class Kinds(CatalogueRows, Collection):
    """The catalogued kinds of plates."""

    body_class, serializer_class, filterset_class = KindBody, KindAnswer, KindFilter
    rows = staticmethod(selectors.kinds)

    @extend_schema(request=KindBody, responses={201: KindAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, self.rendered)

    def make(self, body: dict[str, Any]) -> Kind:
        fit = by_code(selectors.fits(self.shop_id), body.pop("fit"), "/fit")
        lengths = {f"{name}_nm": body.pop(name) for name in KIND_LENGTHS if name in body}
        breaks = [Break(one["from"], one["unit_cost"]) for one in body.pop("price_breaks", [])]
        return kind_make(person=self.person, kind=KindData(fit=fit, price_breaks=breaks, **body, **lengths))


class Specs(CatalogueRows, Collection):
    """The pack specs: stacks with their slots and windows."""

    body_class, serializer_class = SpecBody, SpecAnswer
    filterset_fields = {"measures": ["exact"], "adjustable": ["exact"]}
    rows = staticmethod(selectors.specs)

    @extend_schema(request=SpecBody, responses={201: SpecAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, self.rendered)

    def make(self, body: dict[str, Any]) -> Spec:
        return specs.spec_make(person=self.person, code=body["code"], **_figures(self.shop_id, body))


def _figures(shop_id: uuid.UUID, body: dict[str, Any]) -> specs.Figures:
    codes = {code for slot in body["slots"] for code in (slot["fit"], *slot.get("fits", []))}
    fits = {fit.code: fit for fit in selectors.fits(shop_id).filter(code__in=codes)}
    slots = [slot_of(slot, f"/slots/{row}", fits) for row, slot in enumerate(body["slots"])]
    wave, hydraulics = body.get("wave"), body.get("hydraulics")
    return specs.Figures(
        title=body["title"],
        measures=body["measures"],
        window=window_of(body, specs.faces_of(slots)),
        slots=slots,
        limit_low_nm=beside(body, "limit_low"),
        limit_high_nm=beside(body, "limit_high"),
        wave_nm=(wave["free"], wave["flat"]) if wave else None,
        reads=specs.Convention(*(body.get(f"reads_{name}", "") for name in ("wave", "method", "soak", "load"))),
        limits=specs.StackLimits(body.get("spread"), body.get("splines"), body.get("liftable", [])),
        hydraulics=hydraulics_read(hydraulics) if hydraulics else None,
        adjustable=body["adjustable"],
        set_only=body["set_only"],
    )


class Revise(CatalogueRows, Act):
    """Replaces a pack spec by a new revision. The one before stays for what was asked and built by it."""

    body_class, serializer_class = ReviseBody, SpecAnswer
    rows = staticmethod(selectors.specs)

    @extend_schema(request=ReviseBody, responses=SpecAnswer)
    def post(self, request: Request, code: str) -> Response:
        return self.act(self.revise, self.rendered)

    def revise(self, body: dict[str, Any]) -> Spec:
        return specs.spec_revise(
            person=self.person,
            code=self.kwargs["code"],
            revision=body["revision"],
            reason=body["reason"],
            **_figures(self.shop_id, body),
        )


class OneFit(One):
    """One fit."""

    serializer_class, lookup_field = FitAnswer, "code"
    rows = staticmethod(selectors.fits)


class OneKind(One):
    """One kind."""

    serializer_class, lookup_field = KindAnswer, "code"
    rows = staticmethod(selectors.kinds)


class OneSpec(One):
    """One pack spec, with its counted frictions and its window: as it stands, or in an earlier ``revision``."""

    serializer_class, lookup_field = SpecAnswer, "code"
    filterset_fields = {"revision": ["exact"]}

    def get_queryset(self) -> Any:
        return (selectors.specs_all if self.request.query_params.get("revision") else selectors.specs)(self.shop_id)


class Estimates(One):
    """What a clearance does to this pack, as estimates for warm oil: each appears when what it needs is known."""

    serializer_class, lookup_field = EstimateAnswer, "code"
    filter_backends = ()  # the whole query is the question
    rows = staticmethod(selectors.specs)

    @extend_schema(parameters=[EstimateQuery], responses=EstimateAnswer(many=True))
    def get(self, request: Request, **kwargs: str) -> Response:
        spec = self.get_object()
        asked = {name: text for name, text in request.query_params.items() if name not in ("page", "page_size")}
        query = EstimateQuery(data=asked)
        query.is_valid(raise_exception=True)
        said = query.validated_data
        learned = said.get("learned")
        case = Case(spec, said["clearance"], said.get("u"), float(learned.si) if learned else None)
        rows = self.paginate_queryset(estimates(case))
        return self.get_paginated_response(self.get_serializer(rows, many=True).data)
