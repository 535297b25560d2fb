"""Figures of the running service for Prometheus, and who may read them."""

from functools import cache
from ipaddress import ip_address
from threading import Lock
from typing import TYPE_CHECKING, Any, NamedTuple

from django.conf import settings
from django.db import DatabaseError
from django.db.backends.base.base import BaseDatabaseWrapper
from django.http import HttpRequest, HttpResponse
from django.utils.crypto import constant_time_compare
from django.views.decorators.http import require_safe

if TYPE_CHECKING:
    from prometheus_client import Counter, Histogram

#: What a proxy adds. Behind one on this machine everybody seems to ask from here.
_PROXIED = ("Forwarded", "X-Forwarded-For", "X-Forwarded-Proto", "X-Forwarded-Host", "X-Real-IP", "Via")
_SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)


class Meters(NamedTuple):
    requests: "Counter"
    seconds: "Histogram"
    refused: "Counter"
    database_errors: "Counter"


_making = Lock()


def _meters() -> Meters:
    with _making:  # threads that come first together must not make them twice: the second would fail, and its answer
        return _made()


@cache
def _made() -> Meters:
    # At its import the library looks whether it counts for several processes, which shop/gunicorn.py says before its
    # workers begin; in a demo this module is read earlier than that.
    from prometheus_client import Counter, Histogram

    return Meters(
        Counter("plates_requests", "Requests answered.", ["view", "status"]),
        Histogram("plates_request_seconds", "Time from request to answer.", ["view"], buckets=_SECONDS),
        Counter("plates_refused", "API requests and forms that were refused, by the code of the refusal.", ["code"]),
        Counter("plates_database_errors", "Statements that PostgreSQL refused, by SQLSTATE.", ["sqlstate"]),
    )


def request_counted(view: str, status: int, seconds: float) -> None:
    _meters().requests.labels(view, status).inc()
    _meters().seconds.labels(view).observe(seconds)


def refusal_counted(code: str) -> None:
    _meters().refused.labels(code).inc()


def database_watched(*, connection: BaseDatabaseWrapper, **_: object) -> None:
    """Receiver for Django's connection_created: counts what fails on this connection."""
    if _counted not in connection.execute_wrappers:
        connection.execute_wrappers.append(_counted)


def _counted(execute: Any, sql: Any, params: Any, many: Any, context: Any) -> Any:
    try:
        return execute(sql, params, many, context)
    except DatabaseError as error:
        _meters().database_errors.labels(getattr(error.__cause__, "sqlstate", None) or "none").inc()
        raise


@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """For whoever asks from this machine itself, or with ``Authorization: Bearer`` and PLATES_METRICS_TOKEN."""
    if not _allowed(request):
        why = "Metrics are read from this machine itself, or with the token that PLATES_METRICS_TOKEN sets.\n"
        return HttpResponse(why, status=403, content_type="text/plain; charset=utf-8")
    from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, generate_latest
    from prometheus_client.multiprocess import MultiProcessCollector
    from prometheus_client.values import MutexValue, ValueClass

    registry = REGISTRY
    if ValueClass is not MutexValue:
        registry = CollectorRegistry()
        MultiProcessCollector(registry)
    return HttpResponse(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)


def _allowed(request: HttpRequest) -> bool:
    if token := settings.METRICS_TOKEN:
        said = request.headers.get("Authorization", "")
        if constant_time_compare(said, f"Bearer {token}"):
            return True
    if any(name in request.headers for name in _PROXIED):
        return False
    try:
        return ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:  # a local socket: whoever is behind it
        return False
