"""The WSGI application, for gunicorn or any other server."""

import json
import os
from collections.abc import Iterable
from typing import Any

from django.core.wsgi import get_wsgi_application
from django.utils.http import parse_header_parameters

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
_django = get_wsgi_application()
#: A problem of RFC 9457, as the API answers everything that it refuses.
_REFUSED = {
    "type": "about:blank",
    "title": "Only UTF-8 is read",
    "status": 415,
    "detail": "Send it in UTF-8, and name no other charset.",
    "code": "unsupported_media_type",
}
#: What a browser has to hold to, as with every other answer.
_HEADERS = [
    ("Content-Type", "application/problem+json"),
    ("X-Content-Type-Options", "nosniff"),
    ("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'"),
    ("Cache-Control", "no-store"),
]


def _is_utf8(content_type: str) -> bool:
    try:
        said = parse_header_parameters(content_type)[1].get("charset", "utf-8")
    except ValueError:
        return False
    return said.lower() in ("utf-8", "utf8")


def application(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
    """Django, for what is in UTF-8. It takes up the charset that a request names before anything of it could refuse
    one, and fails on those that are none of a text, as rot13.
    """
    if _is_utf8(environ.get("CONTENT_TYPE", "")):
        return _django(environ, start_response)
    start_response("415 Unsupported Media Type", [*_HEADERS])
    return [json.dumps(_REFUSED).encode()]
