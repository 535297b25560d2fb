"""What follows from a gauge that reads wrongly, over HTTP: the plates read with it, and putting them right."""

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from plates.bench.gauges.corrections import Done, gauge_correct
from plates.lengths import length_json
from plates.measuring import selectors
from plates.measuring.answers import CheckAnswer
from plates.measuring.api import GaugeChecks, OfGauge
from plates.measuring.bodies import CheckBody
from plates.measuring.models import GaugeCheck
from plates.measuring.services import gauge_check
from plates.stock.answers import PlateAnswer
from plates.stock.corrections import Errors, plates_read_wrongly
from plates.stock.models import Plate
from shop.api import Act, Body, Collection, by_id
from shop.errors import Malformed, NotFound
from shop.once import Answer


class CheckedAnswer(CheckAnswer):
    """A check just made: how the gauge stands now and, after a failed one, what was read with it."""

    gauge_state = serializers.CharField()
    affected = serializers.DictField(allow_null=True)

    class Meta(CheckAnswer.Meta):
        fields = [*CheckAnswer.Meta.fields, "gauge_state", "affected"]


class Checks(GaugeChecks):
    """The checks of one gauge against a standard, oldest first; POST adds one. After a failed one ``affected`` says
    how many plates were read with the gauge since its last good check, and where they are listed.
    """

    body_class = CheckBody

    @extend_schema(request=CheckBody, responses={201: CheckedAnswer})
    def post(self, request: Request, code: str) -> Response:
        return self.act(self.make, self.rendered)

    def make(self, body: dict[str, Any]) -> GaugeCheck:
        return gauge_check(
            person=self.person,
            gauge_id=self.gauge().pk,
            standard_nm=body["standard"],
            texts=[typed for typed, _ in body["readings"]],
            readings_nm=[length_nm for _, length_nm in body["readings"]],
            then=body["then"],
            confirm=body["confirm"],
            made_key=self.once.made_key,
        )

    def rendered(self, check: GaugeCheck) -> dict[str, Any]:
        affected = None
        if not check.passed:
            address = f"/api/v1/gauges/{check.gauge.code}/affected/?check={check.pk}"
            count = plates_read_wrongly(self.shop_id, Errors.of(check)).count()
            affected = {"count": count, "list": address}
        return {**CheckAnswer(check).data, "gauge_state": self.gauge().state_now, "affected": affected}


class OfCheck(OfGauge):
    """What is asked about one failed check."""

    def check(self, text: str | None) -> GaugeCheck:
        """The check named, else the last failed one of the gauge. Raises NotFound, Malformed."""
        rows = selectors.checks(self.shop_id).filter(gauge=self.gauge())
        if text is None:
            found = rows.filter(passed=False).order_by("-at", "-id").first()
            if found is None:
                raise NotFound(f"Gauge {self.kwargs['code']} has failed no check.")
            return found
        try:
            return by_id(rows, text)
        except NotFound as error:
            raise Malformed(str(error), [("/check", "no check of this gauge")]) from None


class AffectedAnswer(PlateAnswer):
    read_at = serializers.DateTimeField()

    class Meta(PlateAnswer.Meta):
        fields = [*PlateAnswer.Meta.fields, "read_at"]

    def to_representation(self, plate: Any) -> dict[str, Any]:
        return super().to_representation(plate) | {"read_at": self.fields["read_at"].to_representation(plate.read_at)}


class Affected(OfCheck, Collection):
    """The plates whose thickness was read with the gauge from its last good check to the failed one, and that were not
    corrected since; without ``check``, for the last failed one.
    """

    serializer_class = AffectedAnswer
    http_method_names = ["get", "head", "options"]
    filter_backends: list[Any] = []

    def get_queryset(self) -> Any:
        if getattr(self, "swagger_fake_view", False):
            return Plate.objects.none()
        unknown = sorted(set(self.request.query_params) - {"check", "page", "page_size"})
        if unknown:
            raise Malformed(f"There is no filter {unknown[0]!r} here.", [(f"/{unknown[0]}", "known is check")])
        return plates_read_wrongly(self.shop_id, Errors.of(self.check(self.request.query_params.get("check"))))

    @extend_schema(parameters=[OpenApiParameter("check", OpenApiTypes.UUID)])
    def get(self, request: Request, code: str = "") -> Response:
        return self.list(request)


class CorrectBody(Body):
    check = serializers.UUIDField()
    plates = serializers.ListField(child=serializers.UUIDField(), required=False, min_length=1, max_length=1_000)


class CorrectAnswer(serializers.Serializer[Any]):
    corrected = serializers.ListField(child=serializers.DictField())
    matches = serializers.ListField(child=serializers.IntegerField())


def done_json(done: Done) -> dict[str, Any]:
    """The plates corrected, each with where it belongs now, and the numbers of the matches that follow."""
    corrected = [
        {
            "plate": str(one.plate.pk),
            "kind": one.plate.kind.code,
            "state": one.plate.state,
            "before": length_json(one.before_nm),
            "thickness": length_json(one.plate.thickness_nm),
            "was_in": one.was_in,
            "bin": one.plate.bin.code if one.plate.bin else None,
        }
        for one in done.plates
    ]
    return {"corrected": corrected, "matches": [match.number for match in done.matches]}


class Correct(OfCheck, Act):
    """Take the error that a check found off the plates read with it: all of them, or those named. Open questions get
    fresh options, packs that are being built a fresh prediction. Whoever does it again corrects nothing twice.
    """

    body_class, serializer_class = CorrectBody, CorrectAnswer

    @extend_schema(request=CorrectBody, responses={200: CorrectAnswer})
    def post(self, request: Request, code: str) -> Response:
        if earlier := self.once.replay():
            return self.reply(earlier)
        body = self.body()
        answer = gauge_correct(
            person=self.person,
            check=self.check(str(body["check"])),
            plate_ids=body.get("plates"),
            run=lambda effect: self.once.run(effect, lambda done: Answer(self.answer_status, done_json(done))),
        )
        return self.reply(answer)
