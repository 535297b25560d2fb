"""The bench over HTTP: ask, take, hold, release, final check."""

from collections.abc import Callable
from typing import Any

from django.db.models import QuerySet
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from plates.bench import selectors, services
from plates.bench.models import Match, MatchState
from plates.bench.question import Entry, Loose, Question
from plates.bench.services import StockMoved
from plates.catalogue.models import MEASURES, WAVE_STATES, Slot, Spec
from plates.catalogue.selectors import specs
from plates.catalogue.windows import counted_frictions
from plates.lengths import half_even, length_json, mean_nm
from plates.measuring.uncertainty import READING_U_NM
from shop.api import Act, Body, CodeField, Collection, LengthField, One, by_code, readings_field
from shop.errors import Malformed
from shop.once import Answer, Once


class EntryField(serializers.Field[Entry, Any, Any, Any]):
    """A length, or an object with thickness, must_go, cone, hot_spot."""

    def to_internal_value(self, data: Any) -> Entry:
        if isinstance(data, dict):
            body = EntryBody(data=data)
            body.is_valid(raise_exception=True)
            found = body.validated_data
            return Entry(
                thickness_nm=found["thickness"],
                must_go=found["must_go"],
                cone_nm=found.get("cone"),
                hot_spot=found["hot_spot"],
            )
        return Entry(LengthField().run_validation(data))


class EntryBody(Body):
    thickness = LengthField()
    must_go = serializers.BooleanField(default=False)
    cone = LengthField(required=False, zero=True)
    hot_spot = serializers.BooleanField(default=False)


class NominalBody(Body):
    nominal = serializers.BooleanField()


class InstalledField(serializers.Field[Any, Any, Any, Any]):
    """What is in one slot: a list of its entries, or ``{"nominal": true}``."""

    def to_internal_value(self, data: Any) -> list[Entry] | None:
        if isinstance(data, dict):
            body = NominalBody(data=data)
            body.is_valid(raise_exception=True)
            if not body.validated_data["nominal"]:
                raise serializers.ValidationError({"nominal": ["is true, or else list the plates"]})
            return None
        return serializers.ListField(child=EntryField(), max_length=60).run_validation(data)


class LooseBody(Body):
    readings = readings_field(required=False)
    thickness = LengthField(required=False)
    count = serializers.IntegerField(min_value=1, max_value=100, default=1)
    source = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("readings" in attrs) == ("thickness" in attrs):
            raise serializers.ValidationError({"thickness": ["give either readings or thickness"]})
        return attrs


class MatchBody(Body):
    spec = CodeField()
    readings = readings_field()
    method = serializers.ChoiceField(sorted(READING_U_NM))
    installed = serializers.DictField(child=InstalledField())
    bench = serializers.DictField(child=LooseBody(many=True, max_length=60), required=False)
    left_out = serializers.ListField(child=serializers.CharField(max_length=60), required=False, max_length=40)
    job = CodeField(required=False, allow_null=True)
    gauge = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")
    soaked = serializers.BooleanField(default=False)
    counted = serializers.BooleanField(default=False)
    take = serializers.BooleanField(default=False)
    accept_marginal = serializers.BooleanField(default=False)
    max_changes = serializers.IntegerField(min_value=0, max_value=100, required=False, allow_null=True)
    used_ok = serializers.BooleanField(required=False, allow_null=True, default=None)
    open_boxes = serializers.BooleanField(default=False)
    wave_state = serializers.ChoiceField(WAVE_STATES, required=False)
    wave_free = LengthField(required=False)


class OptionBody(Body):
    option = serializers.IntegerField(min_value=1, max_value=1_000_000)
    counted = serializers.BooleanField(default=False)


class EmptyBody(Body):
    pass


class FinalBody(Body):
    readings = readings_field()
    method = serializers.ChoiceField(sorted(READING_U_NM))


def question_of(body: dict[str, Any], spec: Spec) -> Question:
    """The body as a question; raises Malformed with a pointer where it does not go with the spec."""
    slots = {slot.name: slot for slot in spec.slots.all()}

    def slot_of(name: str, pointer: str) -> Slot:
        if name not in slots:
            raise Malformed(
                f"Spec {spec.code} has no slot {name!r}; it has {', '.join(slots)}.",
                [(pointer, "name a slot of the spec")],
            )
        return slots[name]

    left_out = list(dict.fromkeys(body.get("left_out", [])))
    for row, name in enumerate(left_out):
        if not slot_of(name, f"/left_out/{row}").swap:
            raise Malformed(
                f"Slot {name!r} is not one that is chosen to measure.", [(f"/left_out/{row}", "not a swap slot")]
            )
        if name in body["installed"]:
            raise Malformed(
                f"Slot {name!r} is left out, so nothing is installed in it.", [(f"/installed/{name}", "left out")]
            )
    installed = {
        name: _entries(slot_of(name, f"/installed/{name}"), entries) for name, entries in body["installed"].items()
    }
    bench = {}
    for name, rows in body.get("bench", {}).items():
        slot_of(name, f"/bench/{name}")
        bench[name] = [
            Loose(
                row["thickness"] if "thickness" in row else mean_nm(nm for _, nm in row["readings"]),
                row["count"],
                row["source"],
            )
            for row in rows
        ]
    pairs = body["readings"]
    return Question(
        method=body["method"],
        texts=[typed for typed, _ in pairs],
        readings_nm=[length_nm for _, length_nm in pairs],
        installed=installed,
        bench=bench,
        left_out=left_out,
        max_changes=body.get("max_changes"),
        used_ok=body["used_ok"],
        open_boxes=body["open_boxes"],
        wave_state=body.get("wave_state", ""),
        wave_free_nm=body.get("wave_free"),
        gauge=body["gauge"],
        soaked=body["soaked"],
    )


def _entries(slot: Slot, entries: list[Entry] | None) -> list[Entry]:
    pointer = f"/installed/{slot.name}"
    if entries is None:
        if slot.nominal_nm is None:
            raise Malformed(f"Slot {slot.name!r} has no book size: read its plates.", [(pointer, "list the plates")])
        return [Entry(slot.nominal_nm, at_book=True)] * slot.count
    if len(entries) != slot.count:
        raise Malformed(
            f"Slot {slot.name!r} counts {slot.count}, and {len(entries)} are given.",
            [(pointer, f"list {slot.count} plates")],
        )
    return entries


# --- the answer -----------------------------------------------------------------------------------------------------


def slip_row(row: dict[str, Any]) -> dict[str, Any]:
    return {
        "plate": row["plate"],
        "kind": row["kind"],
        "bin": row["bin"],
        "thickness": length_json(row["thickness_nm"]),
        "slot": row["slot"],
        "source": row["source"],
    }


def option_json(option: dict[str, Any]) -> dict[str, Any]:
    return {
        "number": option["number"],
        "way": option["way"],
        "changes": option["changes"],
        "predicted": length_json(option["predicted_nm"]),
        "u": length_json(half_even(option["u_nm"])),
        "probability": option["probability"],
        "confidence": option["confidence"],
        "out": [{"slot": row["slot"], "thickness": length_json(row["thickness_nm"])} for row in option["out"]],
        "in": [slip_row(row) for row in option["in"]],
    }


def shortfall_json(shortfall: dict[str, Any]) -> dict[str, Any]:
    nearest = shortfall["nearest"]
    return {
        "reason": shortfall["reason"],
        "nearest": nearest and {"predicted": length_json(nearest["predicted_nm"]), "changes": nearest["changes"]},
        "would_close": [
            {
                **{name: row[name] for name in ("slot", "fit", "role", "count")},
                "from": length_json(row["from_nm"]),
                "to": length_json(row["to_nm"]),
            }
            for row in shortfall["would_close"]
        ],
    }


def match_json(match: Match) -> dict[str, Any]:
    """The one form of every answer about a match."""
    shown = [option for option in match.options if not option.get("past")]
    return {
        "id": str(match.pk),
        "number": match.number,
        "state": getattr(match, "state_now", match.state),
        "job": match.job.code if match.job else None,
        "spec": match.spec.code,
        "measures": match.spec.measures,
        "clearance": length_json(match.clearance_nm),
        "as_read": length_json(match.as_read_nm),
        "method": match.method,
        "readings": match.readings,
        "u": length_json(half_even(match.u_nm)),
        "window": {
            "low": length_json(match.low_nm),
            "high": length_json(match.high_nm),
            "target": length_json(match.target_nm),
            "source": match.source,
            "reference": match.reference,
            "counted_frictions": counted_frictions(match.faces),
        },
        "verdict": match.verdict,
        "options": [option_json(option) for option in shown],
        "shortfall": shortfall_json(match.shortfall) if match.shortfall else None,
        "cautions": match.cautions,
        "option_taken": match.option_taken,
        "held_until": match.held_until.isoformat() if match.held_until else None,
        "slip": [slip_row(row) for row in match.slip],
        "residual": None if match.residual_nm is None else length_json(match.residual_nm),
        "person": match.person.username,
        "asked_at": match.asked_at.isoformat() if hasattr(match.asked_at, "isoformat") else None,
    }


class MatchAnswer(serializers.Serializer[Match]):
    """Answers with :func:`match_json`; the fields describe that shape to the schema."""

    id, number = serializers.UUIDField(), serializers.IntegerField()
    state = serializers.ChoiceField(MatchState.choices)
    job = serializers.CharField(allow_null=True)
    spec, measures = serializers.CharField(), serializers.ChoiceField(MEASURES)
    clearance, as_read, u = LengthField(), LengthField(), LengthField()
    method, readings = serializers.CharField(), serializers.ListField(child=serializers.CharField())
    window = serializers.DictField()
    verdict = serializers.ChoiceField(["in_window", "high", "low"])
    options, cautions, slip = (serializers.ListField(child=serializers.DictField()) for _ in range(3))
    shortfall = serializers.DictField(allow_null=True)
    option_taken = serializers.IntegerField(allow_null=True)
    held_until = serializers.DateTimeField(allow_null=True)
    residual = LengthField(allow_null=True)
    person, asked_at = serializers.CharField(), serializers.DateTimeField()

    def to_representation(self, instance: Match) -> dict[str, Any]:
        return match_json(instance)


class MatchFilter(filters.FilterSet):
    state = filters.ChoiceFilter("state_now", choices=MatchState.choices)
    job = filters.CharFilter("job__code")
    spec = filters.CharFilter("spec__code")


class MatchRows:
    """What the views of this room share."""

    serializer_class = MatchAnswer
    request: Any
    once: Once
    answer_status: int

    def get_queryset(self) -> QuerySet[Match]:
        return selectors.matches(self.request.user.shop_id)

    def answer(self, match: Match) -> Answer:
        return Answer(self.answer_status, match_json(match))

    def do(self: Any, effect: Callable[[dict[str, Any], services.Run[Answer]], Answer]) -> Response:
        """Read the body, hand the service the way to carry it out once, render; show fresh options when stock moved."""
        if earlier := self.once.replay():
            return self.reply(earlier)
        body = self.body()
        try:
            return self.reply(effect(body, lambda act: self.once.run(act, self.answer)))
        except StockMoved as moved:
            moved.more = {"options": match_json(moved.match)["options"], "match": match_json(moved.match)}
            raise


class Matches(MatchRows, Collection):
    body_class, filterset_class, answer_status = MatchBody, MatchFilter, 201

    @extend_schema(request=MatchBody, responses={201: MatchAnswer})
    def post(self, request: Request) -> Response:
        return self.do(self.ask)

    def ask(self, body: dict[str, Any], run: services.Run[Answer]) -> Answer:
        spec = by_code(specs(self.request.user.shop_id), body["spec"], "/spec")
        return services.match_ask(
            person=self.request.user,
            spec=spec,
            question=question_of(body, spec),
            run=run,
            job=body.get("job") or "",
            counted=body["counted"],
            take=body["take"],
            accept_marginal=body["accept_marginal"],
            made_key=self.once.made_key,
        )


class OneMatch(MatchRows, One):
    pass


class MatchAct(MatchRows, Act):
    """An action on one match."""


class Take(MatchAct):
    body_class = OptionBody

    @extend_schema(request=OptionBody, responses={200: MatchAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.do(
            lambda body, run: services.match_take(person=request.user, match_id=self.row_id(), run=run, **body)
        )


class Hold(MatchAct):
    body_class = OptionBody

    @extend_schema(request=OptionBody, responses={200: MatchAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.do(
            lambda body, run: services.match_hold(person=request.user, match_id=self.row_id(), run=run, **body)
        )


class Release(MatchAct):
    body_class = EmptyBody

    @extend_schema(request=EmptyBody, responses={200: MatchAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(lambda _: services.match_release(person=request.user, match_id=self.row_id()), match_json)


class Final(MatchAct):
    body_class = FinalBody

    @extend_schema(request=FinalBody, responses={200: MatchAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(self.check, match_json)

    def check(self, body: dict[str, Any]) -> Match:
        return services.match_final(
            person=self.request.user,
            match_id=self.row_id(),
            method=body["method"],
            texts=[typed for typed, _ in body["readings"]],
            readings_nm=[length_nm for _, length_nm in body["readings"]],
        )
