"""Each request counted and told in one line, with neither what it brought nor what it got.

A line holds who asked (ids), from where, which view, status and time: never what stands in an address, a body, a token,
a PIN or a password.
"""

import logging
import re
import time
import uuid
from collections.abc import Callable
from ipaddress import IPv4Address, IPv6Address, ip_address

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.functional import SimpleLazyObject

from shop import log
from shop.metrics import request_counted
from shop.people.models import Person

_log = logging.getLogger("shop.request")
_GIVEN = re.compile(r"[A-Za-z0-9-]{8,64}")


class Watch:
    """Middleware: gives the request an id, or takes the proxy's, and says it in the answer as ``X-Request-ID``."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get("X-Request-ID", "")
        own = given if _GIVEN.fullmatch(given) else uuid.uuid4().hex
        token, begun = log.request_id.set(own), time.perf_counter()
        try:
            response = self.get_response(request)
            seconds = time.perf_counter() - begun
            view = _view(request)
            request_counted(view, response.status_code, seconds)
            person = _asker(request)
            said = {
                "person": str(person.pk) if person else None,
                "shop": str(person.shop_id) if person else None,
                "client": client_address(request),
                "view": view,
                "status": response.status_code,
                "ms": round(1e3 * seconds, 1),
            }
            _log.info("answered", extra={"said": said})
        finally:
            log.request_id.reset(token)
        response["X-Request-ID"] = own
        return response


def client_address(request: HttpRequest) -> str | None:
    """Who is at the line, or whom our proxy (``PLATES_PROXY``) names last in ``X-Forwarded-For``; of a local socket,
    where only the proxy is, the same. What others write there is believed of nobody.
    """
    line = _address(request.META.get("REMOTE_ADDR", ""))
    if line and not any(line in proxy for proxy in settings.PROXIES):
        return str(line)
    named = _address(request.headers.get("X-Forwarded-For", "").rpartition(",")[2].strip()) or line
    return str(named) if named else None


def _address(text: str) -> IPv4Address | IPv6Address | None:
    """Without its zone, which is any text, as long as one likes: no table takes it."""
    try:
        return ip_address(text.partition("%")[0])
    except ValueError:
        return None


def _view(request: HttpRequest) -> str:
    """The name of the view, else its route: an address holds codes and ids, and would be a label for each."""
    match = request.resolver_match
    return (match.url_name and match.view_name) or match.route if match else "none"


def _asker(request: HttpRequest) -> Person | None:
    """Who asked, if anybody wanted to know: to find out now would cost a query."""
    user = getattr(request, "user", None)
    if isinstance(user, SimpleLazyObject):
        user = getattr(request, "_cached_user", None)
    return user if isinstance(user, Person) else None
