"""The stock room over HTTP: bins, plates, lots, hand-outs, the ledger."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from plates.catalogue.models import Fit, Kind
from plates.catalogue.selectors import fits, kind_by_code
from plates.stock import bins, hand_outs, life, selectors, services
from plates.stock.answers import (
    BinAnswer,
    HandOutAnswer,
    LineAnswer,
    LotAnswer,
    LotReceivedAnswer,
    PlateAnswer,
    ReceivedAnswer,
)
from plates.stock.bodies import (
    BinBody,
    HandOutBody,
    LotBody,
    PlateBody,
    PutBackBody,
    ReworkBody,
    ScrapBody,
    findings_of,
    reading_of,
    tags_of,
)
from plates.stock.filters import HandOutFilter, LedgerFilter, PlateFilter
from plates.stock.models import Bin, HandOut
from plates.stock.services import Received
from shop.api import Act, Collection, One, Signed, by_code, by_codes
from shop.errors import Malformed


class InStock(Signed):
    """What the views of this room share."""

    def kind_of(self, body: dict[str, Any]) -> Kind:
        found = kind_by_code(shop_id=self.shop_id, kind=body.get("kind", ""), scan_code=body.get("scan_code", ""))
        if found is None:
            name = "kind" if "kind" in body else "scan_code"
            raise Malformed(
                f"Nothing in this shop's catalogue has the {name} {body[name]!r}.",
                [(f"/{name}", "not in the catalogue")],
            )
        return found

    def bin_of(self, body: dict[str, Any]) -> Bin | None:
        code = body.get("bin")
        return by_code(selectors.bins(self.shop_id), code, "/bin") if code else None

    def received(self, made: Received) -> dict[str, Any]:
        plate = selectors.plate_told(self.shop_id, made.plates[0].pk)
        return {**PlateAnswer(plate).data, "warnings": made.warnings}


class Bins(InStock, Collection):
    """The bins: from ≤ thickness < to, for plates of one fit and role."""

    body_class, serializer_class = BinBody, BinAnswer
    filterset_fields = {"role": ["exact"]}
    rows = staticmethod(selectors.bins)

    @extend_schema(request=BinBody, responses={201: BinAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, lambda made: self.get_serializer(made).data)

    def make(self, body: dict[str, Any]) -> Bin:
        fit: Fit = by_code(fits(self.shop_id), body["fit"], "/fit")
        return bins.bin_make(
            person=self.person,
            code=body["code"],
            fit=fit,
            role=body["role"],
            from_nm=body["from"],
            to_nm=body["to"],
        )


class Plates(InStock, Collection):
    """The plates; POST scans one in."""

    body_class, serializer_class, filterset_class = PlateBody, PlateAnswer, PlateFilter
    rows = staticmethod(selectors.plates_answered)

    @extend_schema(request=PlateBody, responses={201: ReceivedAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, self.received)

    def make(self, body: dict[str, Any]) -> Received:
        return services.plate_receive(
            person=self.person,
            kind=self.kind_of(body),
            reading=reading_of(body["readings"]),
            tags=tags_of(body),
            chosen_bin=self.bin_of(body),
            confirm=body["confirm"],
            made_key=self.once.made_key,
        )


class PlateAct(InStock, Act):
    """An action on one plate."""

    serializer_class = PlateAnswer
    rows = staticmethod(selectors.plates_answered)


class PutBack(PlateAct):
    """A plate comes back to the shelf with a fresh reading."""

    body_class = PutBackBody

    @extend_schema(request=PutBackBody, responses={200: ReceivedAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(self.make, self.received)

    def make(self, body: dict[str, Any]) -> Received:
        return life.plate_put_back(
            person=self.person,
            plate_id=self.row_id(),
            reading=reading_of(body["readings"]),
            chosen_bin=self.bin_of(body),
            condition=body.get("condition"),
            gauge=body.get("gauge", ""),
            findings=findings_of(body),
            confirm=body["confirm"],
        )


class Rework(PlateAct):
    """A face was ground or a lining stripped: the old plate ends, a new one begins."""

    body_class = ReworkBody

    @extend_schema(request=ReworkBody, responses={200: ReceivedAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(self.make, self.received)

    def make(self, body: dict[str, Any]) -> Received:
        return life.plate_rework(
            person=self.person,
            plate_id=self.row_id(),
            reading=reading_of(body["readings"]),
            reason=body["reason"],
            kind=self.kind_of(body) if "kind" in body else None,
            chosen_bin=self.bin_of(body),
            gauge=body.get("gauge", ""),
            findings=findings_of(body),
            confirm=body["confirm"],
            made_key=self.once.made_key,
        )


class Scrap(PlateAct):
    """A plate goes to scrap, with a reason."""

    body_class = ScrapBody

    @extend_schema(request=ScrapBody, responses={200: PlateAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(
            lambda body: life.plate_scrap(person=self.person, plate_id=self.row_id(), reason=body["reason"]),
            lambda plate: PlateAnswer(self.get_queryset().get(pk=plate.pk)).data,
        )


class Lots(InStock, Collection):
    """Deliveries of like plates, of which some were measured."""

    body_class, serializer_class = LotBody, LotAnswer
    rows = staticmethod(selectors.lots)

    @extend_schema(request=LotBody, responses={201: LotReceivedAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, self.render)

    def make(self, body: dict[str, Any]) -> Received:
        return services.lot_receive(
            person=self.person,
            kind=self.kind_of(body),
            count=body["count"],
            readings=[reading_of(pairs) for pairs in body["readings"]],
            tags=tags_of(body),
            chosen_bin=self.bin_of(body),
            confirm=body["confirm"],
            made_key=self.once.made_key,
        )

    def render(self, made: Received) -> dict[str, Any]:
        plates = selectors.plates(self.shop_id).filter(lot=made.lot).order_by("id")
        return {
            **LotAnswer(made.lot).data,
            "plates": PlateAnswer(plates, many=True).data,
            "warnings": made.warnings,
        }


class HandOuts(InStock, Collection):
    """Plates that left otherwise than into a job."""

    body_class, serializer_class, filterset_class = HandOutBody, HandOutAnswer, HandOutFilter
    rows = staticmethod(selectors.hand_outs)

    @extend_schema(request=HandOutBody, responses={201: HandOutAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, lambda made: self.get_serializer(self.get_queryset().get(pk=made.pk)).data)

    def make(self, body: dict[str, Any]) -> HandOut:
        return hand_outs.hand_out_make(
            person=self.person,
            reason=body["reason"],
            plate_ids=body.get("plates", ()),
            from_bins=self._from(body),
            to=body.get("to", ""),
            due=body.get("due"),
            price=body.get("price"),
            made_key=self.once.made_key,
        )

    def _from(self, body: dict[str, Any]) -> list[tuple[Bin, int]]:
        """The bins of the body, each with how many leave it. Raises Malformed where one is not there."""
        if one := self.bin_of(body):
            return [(one, body["count"])]
        rows = body.get("bins", [])
        found = by_codes(selectors.bins(self.shop_id), {f"/bins/{at}/bin": row["bin"] for at, row in enumerate(rows)})
        return [(found[row["bin"]], row["count"]) for row in rows]


class Ledger(Collection):
    """Every change of every plate, oldest first."""

    serializer_class, filterset_class = LineAnswer, LedgerFilter
    rows = staticmethod(selectors.ledger)


class OneBin(One):
    """One bin."""

    serializer_class, lookup_field = BinAnswer, "code"
    rows = staticmethod(selectors.bins)


class OnePlate(One):
    """One plate."""

    serializer_class = PlateAnswer
    rows = staticmethod(selectors.plates_answered)


class OneLot(One):
    """One lot with its plates."""

    serializer_class = LotAnswer
    rows = staticmethod(selectors.lots)


class OneHandOut(One):
    """One hand-out."""

    serializer_class = HandOutAnswer
    rows = staticmethod(selectors.hand_outs)


class OneLedgerLine(One):
    """One ledger line."""

    serializer_class = LineAnswer
    rows = staticmethod(selectors.ledger)
