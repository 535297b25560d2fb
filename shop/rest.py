"""How REST framework is set up for every view: tokens, strict JSON, strict filters, pages, problems."""

import json
import re
from collections.abc import Callable, Mapping
from typing import Any

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from django.db.models import Q
from django.db.models.functions import Now
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils.html import format_html
from django.utils.timezone import localtime
from django.views.decorators.csrf import csrf_exempt
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework import exceptions, pagination, parsers
from rest_framework.authentication import TokenAuthentication as BaseTokenAuthentication
from rest_framework.request import Request
from rest_framework.response import Response

from shop.compiled import compiled, first
from shop.errors import Malformed, NotFound, Refusal, refusals
from shop.metrics import refusal_counted
from shop.people.models import Token, sha256_of

LARGEST = 1_000_000


# --- who ------------------------------------------------------------------------------------------------------


@compiled
def _tokens(sha256: str) -> Any:
    rows = Token.objects.select_related("person__shop").annotate(ended=Q(ends_at__lte=Now()))
    return rows.filter(sha256=sha256)


class TokenAuthentication(BaseTokenAuthentication):
    """``Authorization: Token …``; only the hash of a token is stored."""

    def authenticate_credentials(self, key: str) -> tuple[Any, Any]:
        token = first(_tokens(sha256_of(key)))
        if token is None or not token.person.is_active:
            raise exceptions.AuthenticationFailed("This token is not known. Make one with: manage.py token USERNAME")
        if token.ended:
            day = f"{localtime(token.ends_at):%Y-%m-%d}"
            raise exceptions.AuthenticationFailed(
                f"This token ended on {day}. Make a new one with: manage.py token USERNAME"
            )
        return token.person, token


class TokenScheme(OpenApiAuthenticationExtension):
    target_class = TokenAuthentication
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        return {"type": "apiKey", "in": "header", "name": "Authorization", "description": "Token …"}


# --- what comes in ---


class TooLarge(Refusal):
    status, code, title = 413, "too_large", "The body is too large"


class LengthRequired(Refusal):
    status, code, title = 411, "length_required", "How long is the body?"


TOO_LARGE = f"A body holds at most {LARGEST} bytes. Send a large delivery in parts."


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is not JSON")


def _no_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result = dict(pairs)
    if len(result) != len(pairs):
        raise ValueError("a member stands twice in one object")
    return result


class StrictJSONParser(parsers.JSONParser):
    """JSON of RFC 8259 and nothing beside: UTF-8, no NaN, no NUL, no lone surrogate, no member twice, no giant."""

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        text = stream.read(LARGEST + 1) if hasattr(stream, "read") else b""
        if len(text) > LARGEST:
            raise TooLarge(TOO_LARGE)
        try:
            data = json.loads(text.decode("utf-8"), parse_constant=_no_constant, object_pairs_hook=_no_twins)
            plain = json.dumps(data, ensure_ascii=False)
            plain.encode("utf-8")
        except (ValueError, RecursionError) as error:
            raise Malformed(f"The body is not JSON: {str(error)[:200]}.", [("", "send one JSON object")]) from None
        if "\\u0000" in plain:
            raise Malformed("The body holds a NUL character.", [("", "leave NUL characters out")])
        return data


def pointers(errors: Any, at: str = "") -> list[tuple[str, str]]:
    """(JSON pointer, detail) of every bad field of a serializer's errors."""
    if isinstance(errors, Mapping):
        return [
            pair
            for key, value in errors.items()
            for pair in pointers(value, at if key == "non_field_errors" else f"{at}/{_escaped(str(key))}")
        ]
    if isinstance(errors, list):
        if all(isinstance(item, str) for item in errors):
            return [(at, str(item)) for item in errors]
        return [pair for index, item in enumerate(errors) for pair in pointers(item, f"{at}/{index}")]
    return [(at, str(errors))]


def _escaped(key: str) -> str:
    return key.replace("~", "~0").replace("/", "~1")


class StrictFilters(DjangoFilterBackend):
    """A filter that cannot be read is refused instead of ignored, and so is one that does not exist."""

    def filter_queryset(self, request: Request, queryset: Any, view: Any) -> Any:
        filterset = self.get_filterset(request, queryset, view)
        known = {"page", "page_size", *(filterset.filters if filterset else ())}
        if unknown := sorted(set(request.query_params) - known):
            raise Malformed(
                f"There is no filter {unknown[0]!r} here.",
                [(f"/{_escaped(name)}", f"known are {', '.join(sorted(known))}") for name in unknown],
            )
        if filterset is None:
            return queryset
        if not filterset.is_valid():
            raise Malformed("A filter cannot be read.", pointers(dict(filterset.errors)))
        return filterset.qs


class Pages(pagination.PageNumberPagination):
    page_size = 100
    page_size_query_param = "page_size"
    max_page_size = 1000

    def get_page_size(self, request: Request) -> int | None:
        """As asked, at most 1 000; raises Malformed for what is no number above zero."""
        asked = request.query_params.get(self.page_size_query_param)
        if asked is not None and not re.fullmatch("0*[1-9][0-9]{0,8}", asked):
            raise Malformed(
                f"A page holds 1 to {self.max_page_size} rows.",
                [(f"/{self.page_size_query_param}", "give a whole number above zero")],
            )
        return super().get_page_size(request)


# --- what goes out ----------------------------------------------------------------------------------------------

TITLES = {
    401: ("unauthenticated", "Who is asking?"),
    403: ("wrong_role", "Not for this role"),
    404: ("not_found", "There is no such thing"),
    405: ("method_not_allowed", "Not with this method"),
    406: ("not_acceptable", "Only JSON is served"),
    415: ("unsupported_media_type", "Only JSON is read"),
}


def problem_body(refusal: Refusal) -> dict[str, Any]:
    """The members of RFC 9457, and ours."""
    body: dict[str, Any] = {
        "type": "about:blank",
        "title": refusal.title,
        "status": refusal.status,
        "detail": refusal.detail,
        "code": refusal.code,
        **refusal.more,
    }
    if refusal.errors:
        body["errors"] = [{"pointer": pointer, "detail": detail} for pointer, detail in refusal.errors]
    return body


def _as_refusal(error: Exception) -> Refusal | None:
    if isinstance(error, Refusal):
        return error
    if isinstance(error, RequestDataTooBig):  # Django looks at the announced length before a byte is parsed
        return TooLarge(TOO_LARGE)
    if isinstance(error, exceptions.ValidationError):
        errors = pointers(error.detail)
        return Malformed(f"{len(errors)} field(s) cannot be read: {errors[0][0] or '/'}: {errors[0][1]}", errors)
    if isinstance(error, Http404):
        return NotFound("Nothing here has this code or id.")
    if isinstance(error, exceptions.APIException):
        refusal = Refusal(str(error.default_detail if isinstance(error.detail, dict | list) else error.detail))
        refusal.status = error.status_code
        refusal.code, refusal.title = TITLES.get(error.status_code, ("malformed", "The request cannot be read"))
        return refusal
    return None


def problem_handler(error: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler: every refusal as ``application/problem+json``."""
    try:
        with refusals():
            raise error
    except Exception as translated:
        refusal = _as_refusal(translated)
    if refusal is None:
        return None
    refusal_counted(refusal.code)
    headers = {}
    if getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = error.auth_header  # type: ignore[attr-defined]
    if refusal.code in ("busy", "unavailable"):
        headers["Retry-After"] = "1"
    if refusal.status == 405:
        headers["Allow"] = ", ".join(context["view"].allowed_methods)
    return Response(problem_body(refusal), refusal.status, headers=headers, content_type="application/problem+json")


class TlsRequired(Refusal):
    # Not 426, which has to name a protocol to change to on this connection (RFC 9110, 15.5.22): https is another one.
    status, code, title = 403, "tls_required", "Not without TLS"


class TlsOnly:
    """Middleware: where pages are led to https, a call of the API without it is refused. The token that came along has
    been in the clear; led on silently, nobody would learn of it.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.is_secure() or not settings.SECURE_SSL_REDIRECT or not request.path.startswith("/api/"):
            return self.get_response(request)
        refusal_counted(TlsRequired.code)
        return _problem_or_page(
            request,
            TlsRequired(
                "Call it by https. Nothing was done. A token that was sent along has been in the clear: let the owner "
                "end it under Shop, People, and make a new one."
            ),
        )


@csrf_exempt
def unknown_address(request: Any, rest: str = "") -> JsonResponse:
    """An address that the API does not have, as a problem like any other."""
    refusal = NotFound(f"The API has no address /api/v1/{rest[:100]}. GET /api/v1/schema/ lists them all.")
    return JsonResponse(problem_body(refusal), status=404, content_type="application/problem+json")


class Fault(Refusal):
    status, code, title = 500, "fault", "A fault of ours"


# Plain, since what failed may be what a page with its frame would need.
_FAULT_PAGE = (
    "<!doctype html><html lang=en><title>{title}</title><h1>{title}</h1><p>{detail}</p><p><a href=/>Go on</a></p>"
)


def _problem_or_page(request: HttpRequest, refusal: Refusal) -> HttpResponse:
    if request.path.startswith("/api/"):
        return JsonResponse(problem_body(refusal), status=refusal.status, content_type="application/problem+json")
    return HttpResponse(format_html(_FAULT_PAGE, title=refusal.title, detail=refusal.detail), status=refusal.status)


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """What Django itself refuses before a view sees it: a strange host, a body too large."""
    return _problem_or_page(request, Malformed("The request was refused before it was read: check its host and form."))


def server_error(request: HttpRequest) -> HttpResponse:
    """Nothing was changed: whatever was begun has been rolled back."""
    return _problem_or_page(request, Fault("Something went wrong on our side, and nothing was changed. Try again."))
