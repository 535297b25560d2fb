"""What every API view is made of: bodies, lengths and codes in them, and acts that are done once."""

import json
import re
import uuid
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db.models import Model
from django.utils.functional import cached_property
from django_filters import fields, filters
from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from rest_framework import exceptions, generics, mixins, serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from plates.lengths import LengthError, length_json, length_parse
from shop.errors import Malformed, NotFound, Refusal
from shop.once import Answer, Once
from shop.people.models import Person
from shop.rest import LengthRequired
from shop.rows import id_of
from shop.texts import NOT_PLAIN, line_refused, plain_number

T = TypeVar("T")
CODE = r"^[A-Za-z0-9._-]{1,40}\Z"


class KeptFields:
    """A serializer whose fields are made once for its class, since to make them takes longer than to use them. Requests
    at the same time share them, and their root is none of the serializers in use: no field may hang on that one, on its
    context, its instance or whether it is partial, say, nor be changed by it.
    """

    @cached_property
    def fields(self) -> Any:
        kept = vars(type(self)).get("_fields_kept")
        if kept is None:
            kept = type(self)._fields_kept = super(KeptFields, type(self)()).fields  # type: ignore[attr-defined, misc]
        return kept


class Body(KeptFields, serializers.Serializer[Any]):
    """A request body. A member that it does not know is refused: a slip of the hand must not pass for silence."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            unknown = [str(key) for key in data if key not in self.fields]
            if unknown:
                known = ", ".join(self.fields)
                raise serializers.ValidationError({key: [f"not known here; known are {known}"] for key in unknown})
            # null for a member that may be left out says the same as leaving it out.
            data = {k: v for k, v in data.items() if v is not None or self.fields[k].required}
            said = {k: _mistyped(self.fields[k], v) for k, v in data.items() if v is not None}
            if wrong := {k: [text] for k, text in said.items() if text}:
                raise serializers.ValidationError(wrong)
        return super().to_internal_value(data)


class EmptyBody(Body):
    """Of an act that needs to be told nothing."""


#: What JSON must hold for a field; "5" is no number here, and 5 no text.
TYPES: list[tuple[type[serializers.Field[Any, Any, Any, Any]], type | tuple[type, ...], str]] = [
    (serializers.BooleanField, bool, "Give true or false."),
    (serializers.IntegerField, int, "Give a whole number."),
    (serializers.FloatField, (int, float), "Give a number."),
    (serializers.DecimalField, (str, int, float), 'Give a number, best as a text: "12.50".'),
    (serializers.CharField, str, "Give a text."),
    (serializers.ChoiceField, str, "Give a text."),
    (serializers.UUIDField, str, "Give an id as a text."),
]


def _mistyped(field: Any, value: Any) -> str | None:
    """What is wrong with the JSON type of this value, with its line or its digits; None when nothing is."""
    if isinstance(field, serializers.ListField) and isinstance(value, list):
        return next((said for item in value if (said := _mistyped(field.child, item))), None)
    for field_type, plain, said in TYPES:
        if isinstance(field, field_type):
            if not isinstance(value, plain) or (plain is not bool and isinstance(value, bool)):
                return said
            break
    if isinstance(value, str):
        if isinstance(field, serializers.DecimalField) and not plain_number(value):
            return NOT_PLAIN
        if isinstance(field, serializers.CharField):
            return line_refused(value)
    return None


class LengthField(serializers.Field[int, Any, dict[str, Any], Any]):
    """In: a string with its unit, above zero. Out: nanometres, inch and millimetres."""

    default_error_messages = {
        "text": 'Give a length as a string with its unit, as "0.0771 in" or "1.958 mm".',
        "zero": "A length here is above zero.",
    }

    def __init__(self, *, zero: bool = False, **kwargs: Any) -> None:
        self.zero = zero
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> int:
        if not isinstance(data, str):
            self.fail("text")
        try:
            length_nm = length_parse(data)
        except LengthError as error:
            raise serializers.ValidationError(str(error)) from None
        if length_nm == 0 and not self.zero:
            self.fail("zero")
        return length_nm

    def to_representation(self, value: Any) -> Any:
        return length_json(value)


class TypedLengthField(LengthField):
    """As :class:`LengthField`, but keeps the text as typed beside the length: (text, nanometres)."""

    def to_internal_value(self, data: Any) -> Any:
        return data, super().to_internal_value(data)


LENGTH_SCHEMA = {"type": "string", "pattern": r"^([0-9]{1,12}(\.[0-9]{1,30})?|\.[0-9]{1,30}) ?(in|thou|mm|um)$"}


class LengthSchema(OpenApiSerializerFieldExtension):
    target_class = LengthField
    match_subclasses = True

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        if direction == "request":
            return LENGTH_SCHEMA
        members = {"nm": {"type": "integer"}, "in": {"type": "string"}, "mm": {"type": "string"}}
        return {"type": "object", "properties": members, "required": list(members)}


class CodeField(serializers.RegexField):
    """A code: 1 to 40 of letters, digits, point, underscore, hyphen."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("error_messages", {"invalid": "A code is 1 to 40 of letters, digits, . _ and -."})
        super().__init__(CODE, trim_whitespace=False, **kwargs)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


class Signed(generics.GenericAPIView):
    """Who is asking, and for which rows: every view of the API but the schema is for somebody of a shop."""

    #: A selector: the rows of a shop.
    rows: Callable[[uuid.UUID], Any]

    @property
    def person(self) -> Person:
        person = self.request.user
        assert isinstance(person, Person)
        return person

    @property
    def shop_id(self) -> uuid.UUID:
        # The schema is drawn without anybody asking.
        return uuid.UUID(int=0) if getattr(self, "swagger_fake_view", False) else self.person.shop_id

    def get_queryset(self) -> Any:
        return type(self).rows(self.shop_id)


class ShopView(Signed):
    """A view of one shop: reads the body, makes one call, renders; POST is done once per Idempotency-Key."""

    body_class: type[Body] | None = None
    answer_status: int = status.HTTP_201_CREATED

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if request.META.get("HTTP_TRANSFER_ENCODING") and not request.META.get("CONTENT_LENGTH"):
            raise LengthRequired("The body came in pieces without its length. Send it whole, with a Content-Length.")

    @cached_property
    def once(self) -> Once:
        header = self.request.headers.get("Idempotency-Key")
        if header is None:
            return Once(self.person)
        key = header.strip()
        if len(key) >= 2 and key[0] == key[-1] == '"':
            key = key[1:-1].replace('\\"', '"').replace("\\\\", "\\")  # a string of RFC 9651
        if not 1 <= len(key) <= 255 or not key.isascii() or not key.isprintable():
            raise Malformed(
                "An Idempotency-Key is 1 to 255 printable ASCII characters, quoted or bare.",
                [("/Idempotency-Key", "send a shorter or plainer key, a UUID for instance")],
            )
        return Once(self.person, key, Once.print_of(self.request.method or "", self.request.path, self._raw()))

    def _raw(self) -> bytes:
        try:
            return json.dumps(self.request.data, sort_keys=True).encode()
        except Refusal:
            raise
        except exceptions.APIException:
            return b""

    def body(self) -> dict[str, Any]:
        """The validated body; raises 400 with a pointer to each bad field."""
        assert self.body_class is not None
        serializer = self.body_class(data=self.request.data)
        serializer.is_valid(raise_exception=True)
        return serializer.validated_data

    def reply(self, answer: Answer) -> Response:
        return Response(answer.body, answer.status)

    def act(self, effect: Callable[[dict[str, Any]], T], render: Callable[[T], Any]) -> Response:
        """Read the body, do ``effect`` with it once, answer ``render`` of what it made."""
        if earlier := self.once.replay():
            return self.reply(earlier)
        body = self.body()
        return self.reply(self.once.run(lambda: effect(body), lambda made: Answer(self.answer_status, render(made))))


class TimeField(fields.IsoDateTimeField):
    """A time as UTC: an offset of sixteen hours and more is one that PostgreSQL does not read."""

    def to_python(self, value: Any) -> datetime | None:
        time = super().to_python(value)
        try:
            return time and time.astimezone(UTC)
        except OverflowError:
            raise ValidationError(self.error_messages["invalid"]) from None


class SinceFilter(filters.IsoDateTimeFilter):
    """Rows from this time on."""

    field_class = TimeField

    def __init__(self, field_name: str) -> None:
        super().__init__(field_name, "gte")


class Collection(mixins.ListModelMixin, ShopView):
    """GET answers a page."""

    def get(self, request: Request) -> Response:
        return self.list(request)


class One(mixins.RetrieveModelMixin, Signed):
    """GET answers one row, by its code where it has one, else by its id."""

    http_method_names = ["get", "head", "options"]
    lookup_field = "pk"

    def get(self, request: Request, **kwargs: str) -> Response:
        return self.retrieve(request)

    def get_object(self) -> Any:
        if self.lookup_field == "pk":
            return by_id(self.get_queryset(), self.kwargs["pk"])
        if not re.match(CODE, self.kwargs[self.lookup_field]):
            raise NotFound("Nothing here has this code.")
        return super().get_object()


class Act(ShopView):
    """An action on one row: POST only, answers 200."""

    http_method_names = ["post", "options"]
    answer_status: int = status.HTTP_200_OK

    def row_id(self) -> uuid.UUID:
        """The id in the address; raises 404 for what is none. Whether the shop has it, the service finds."""
        return id_named(self.kwargs["pk"])


def linked(field: str = "code", **kwargs: Any) -> serializers.SlugRelatedField[Any]:
    """A linked row, shown by its code."""
    return serializers.SlugRelatedField(field, read_only=True, **kwargs)


def text_field() -> serializers.CharField:
    """A short optional text."""
    return serializers.CharField(max_length=200, required=False, allow_blank=True)


def readings_field(**kwargs: Any) -> serializers.ListField:
    """1 to 12 readings, each a length; keeps the texts as typed: a list of (text, nanometres)."""
    return serializers.ListField(child=TypedLengthField(), min_length=1, max_length=12, **kwargs)


def by_code(queryset: Any, code: str, pointer: str, field: str = "code") -> Any:
    """The row with this code, for a code in a body; an unknown one is a malformed request (400)."""
    return by_codes(queryset, {pointer: code}, field)[code]


def by_codes(queryset: Any, codes: Mapping[str, str], field: str = "code") -> dict[str, Any]:
    """The rows with these codes, by code, for those at some pointers of a body; one query, none where none is named.
    Raises Malformed for the first that is unknown.
    """
    found = {getattr(row, field): row for row in queryset.filter(**{f"{field}__in": set(codes.values())})}
    for pointer, code in codes.items():
        if code not in found:
            raise unknown(queryset.model, code, pointer)
    return found


def unknown(model: type[Model], code: str, pointer: str) -> Malformed:
    """What a code that nothing of this model has is refused with."""
    what = model._meta.verbose_name
    return Malformed(f"There is no {what} {code!r} in this shop.", [(pointer, f"no {what} has the code {code!r}")])


def by_id(queryset: Any, text: str) -> Any:
    """The row with this id out of an address; raises 404."""
    key = id_named(text)
    return found_by_id(queryset.filter(pk=key).first(), key)


def found_by_id(found: T | None, key: uuid.UUID) -> T:
    """What was looked for by this id; raises 404 for nothing."""
    if found is None:
        raise NotFound(f"Nothing here has the id {key}.")
    return found


def id_named(text: str) -> uuid.UUID:
    """The id that an address names; raises 404."""
    key = id_of(text)
    if key is None:
        raise NotFound(f"{text!r} is not an id.")
    return key
