"""Counting a bin over HTTP, step by step as at the counter: what the ledger has is told when all are read."""

import uuid
from collections.abc import Callable, Mapping
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from plates.catalogue.models import Kind
from plates.catalogue.selectors import kinds
from plates.lengths import length_json
from plates.stock import counts, selectors
from plates.stock.api import InStock
from plates.stock.bodies import reading_of
from plates.stock.count_book import Fate, SecondLook, count_book
from plates.stock.count_models import BinCount, CountState
from plates.stock.filters import CountFilter
from plates.stock.models import Condition, Plate, State
from shop.api import Act, Body, CodeField, Collection, EmptyBody, One, by_codes, linked, readings_field, text_field
from shop.errors import Refusal

# --- what comes in ------------------------------------------------------------------------------------------------


class CountBody(Body):
    bin = CodeField()
    gauge = text_field()


class ReadBody(Body):
    """The points read on one plate."""

    readings = readings_field()


class RowBody(Body):
    """What a reading without a plate was: of one read ``twice``, of one that was lost and is ``back``, or of a new one
    of a ``kind``. All but the first are read once more.
    """

    twice = serializers.BooleanField(required=False)
    back = serializers.UUIDField(required=False)
    kind = CodeField(required=False)
    condition = serializers.ChoiceField(Condition.choices, required=False)
    readings = readings_field(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if sum([attrs.get("twice", False), "back" in attrs, "kind" in attrs]) != 1:
            raise serializers.ValidationError({"twice": ["say one: twice, back, or kind"]})
        return attrs


class LookBody(Body):
    """A second look: what is ``gone``, second readings by id of the ``plates`` and what the ``rows`` of the readings
    without a plate were, by their numbers.
    """

    gone = serializers.ListField(child=serializers.UUIDField(), required=False, max_length=2_000)
    plates = serializers.DictField(child=readings_field(), required=False)
    rows = serializers.DictField(child=RowBody(), required=False)
    agreed_by = text_field()

    def validate_plates(self, said: dict[str, Any]) -> dict[uuid.UUID, Any]:
        return _by(uuid.UUID, said, "not the id of a plate")

    def validate_rows(self, said: dict[str, Any]) -> dict[int, Any]:
        return _by(int, said, "not the number of a row")


def _by(key: Callable[[str], Any], said: Mapping[str, Any], wrong: str) -> dict[Any, Any]:
    try:
        return {key(name): value for name, value in said.items()}
    except ValueError:
        raise serializers.ValidationError(f"One of these names is {wrong}.") from None


def look_of(body: dict[str, Any], by_code: Mapping[str, Kind]) -> SecondLook:
    rows = body.get("rows", {})
    fates = {
        row: Fate(
            back=said.get("back"),
            kind=by_code[said["kind"]] if "kind" in said else None,
            condition=said.get("condition", Condition.NEW) if "kind" in said else "",
        )
        for row, said in rows.items()
    }
    return SecondLook(
        gone=frozenset(body.get("gone", ())),
        plates={plate: reading_of(pairs) for plate, pairs in body.get("plates", {}).items()},
        rows={row: reading_of(said["readings"]) for row, said in rows.items() if "readings" in said},
        fates=fates,
        agreed_by=body.get("agreed_by", ""),
    )


# --- what goes out ------------------------------------------------------------------------------------------------


class CountAnswer(serializers.ModelSerializer[BinCount]):
    """A count. ``read``: the points of each plate as typed; ``outcome``: plates by what became of them, once booked."""

    bin, person, dropped_by = linked(), linked("username"), linked("username", allow_null=True)
    state = serializers.ChoiceField(CountState.choices)
    read = serializers.SerializerMethodField()
    differences = serializers.SerializerMethodField()
    outcome = serializers.DictField(child=serializers.ListField(child=serializers.UUIDField()))

    class Meta:
        model = BinCount
        fields = [
            "id", "bin", "state", "person", "gauge", "begun_at", "read", "all_read_at", "booked_at", "differences",
            "outcome", "dropped_at", "dropped_by",
        ]  # fmt: skip

    def get_read(self, count: BinCount) -> list[list[str]]:
        return [one["typed"] for one in count.readings]

    def get_differences(self, count: BinCount) -> int | None:
        return count.differences if count.booked_at else None


class CountLookAnswer(CountAnswer):
    """One count; while its state is ``look``, ``look`` has what to look at again."""

    look = serializers.SerializerMethodField()

    class Meta(CountAnswer.Meta):
        fields = [*CountAnswer.Meta.fields, "look"]

    def get_look(self, count: Any) -> dict[str, Any] | None:
        return look_json(count) if count.state == CountState.LOOK else None


def look_json(count: BinCount) -> dict[str, Any]:
    """``row`` is the place of a reading in ``read``, from 0. ``refused``: why nothing can be compared."""
    try:
        found = counts.counted(count)
    except Refusal as refusal:
        return {"refused": refusal.detail}
    lost = counts.lost_before(count, [found.readings_nm[row] for row in found.over]) if found.over else []
    return {
        "refused": None,
        "agreed": len(found.agreed),
        "missing": [
            {**_plate(plate), "match": plate.match.number if plate.match and plate.state == State.HELD else None}
            for plate in found.missing
        ],
        "doubtful": [
            {"row": row, "reading": length_json(found.readings_nm[row]), **_plate(plate)}
            for row, plate in found.doubtful
        ],
        "over": [
            {
                "row": row,
                "reading": length_json(found.readings_nm[row]),
                "kinds": [kind.code for kind in counts.kinds_read(found, row)],
                "back": [str(plate.pk) for plate in lost if counts.is_of(found.readings_nm[row], plate)],
            }
            for row in found.over
        ],
        "left_out": [str(plate.pk) for plate in found.left_out],
    }


def _plate(plate: Plate) -> dict[str, Any]:
    return {"plate": str(plate.pk), "kind": plate.kind.code, "thickness": length_json(plate.thickness_nm)}


# --- the calls ----------------------------------------------------------------------------------------------------


class Counts(InStock, Collection):
    """The counts of bins, oldest first; POST begins one."""

    body_class, serializer_class, filterset_class = CountBody, CountAnswer, CountFilter
    rows = staticmethod(selectors.counts)

    @extend_schema(request=CountBody, responses={201: CountAnswer})
    def post(self, request: Request) -> Response:
        return self.act(self.make, lambda made: self.get_serializer(self.get_queryset().get(pk=made.pk)).data)

    def make(self, body: dict[str, Any]) -> BinCount:
        found = self.bin_of(body)
        assert found is not None
        return counts.count_begin(
            person=self.person, found=found, gauge=body.get("gauge", ""), made_key=self.once.made_key
        )


class OneCount(One):
    """One count, with what to look at again."""

    serializer_class = CountLookAnswer
    rows = staticmethod(selectors.counts)


class CountAct(InStock, Act):
    """A step of one count."""

    body_class: type[Body] = EmptyBody
    serializer_class = CountLookAnswer
    rows = staticmethod(selectors.counts)

    def step(self, service: Callable[..., BinCount]) -> Response:
        """A service that needs no more than to know which count it is."""
        return self.act(lambda _: service(person=self.person, count_id=self.row_id()), self.rendered)

    def rendered(self, count: BinCount) -> dict[str, Any]:
        return CountLookAnswer(self.get_queryset().get(pk=count.pk)).data


class Read(CountAct):
    """One more plate of the bin was read."""

    body_class = ReadBody

    @extend_schema(request=ReadBody, responses={200: CountLookAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(
            lambda body: counts.count_read(
                person=self.person, count_id=self.row_id(), reading=reading_of(body["readings"])
            ),
            self.rendered,
        )


class Unread(CountAct):
    """The last reading does not count."""

    @extend_schema(request=EmptyBody, responses={200: CountLookAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.step(counts.count_unread)


class AllRead(CountAct):
    """That is all. A count that agrees with the ledger is booked at once, any other waits for a second look."""

    @extend_schema(request=EmptyBody, responses={200: CountLookAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.step(counts.count_all_read)


class Book(CountAct):
    """Book what differs as the second look says, all or nothing; a 422 ``look_again`` points at what is missing."""

    body_class = LookBody

    @extend_schema(request=LookBody, responses={200: CountLookAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.act(self.book, self.rendered)

    def book(self, body: dict[str, Any]) -> BinCount:
        named = {f"/rows/{row}/kind": said["kind"] for row, said in body.get("rows", {}).items() if "kind" in said}
        look = look_of(body, by_codes(kinds(self.shop_id), named))
        return count_book(person=self.person, count_id=self.row_id(), look=look, made_key=self.once.made_key)


class Drop(CountAct):
    """Give up an unfinished count: nothing in stock changes."""

    @extend_schema(request=EmptyBody, responses={200: CountLookAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.step(counts.count_drop)
