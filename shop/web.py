"""What every page shares: who asks, an act done once, a refusal in plain words, and what a browser may load."""

import json
import re
from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import render, resolve_url
from django.urls import Resolver404, resolve
from django.views.csrf import csrf_failure
from django.views.decorators.cache import never_cache
from django_htmx.http import HttpResponseClientRedirect
from django_htmx.middleware import HtmxDetails

from shop.entry import admit, keep, password_owed, way_back
from shop.errors import KeyReused, Malformed, Refusal, Unavailable
from shop.metrics import refusal_counted
from shop.once import Answer, Once
from shop.people.badges import is_badge
from shop.people.models import Person
from shop.rows import uuid7

P = ParamSpec("P")

#: Everything comes from this server: no script, style, font or picture from elsewhere, nothing inline.
CONTENT_POLICY = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; frame-ancestors 'none'; base-uri 'none'; "
    "form-action 'self'"
)
#: Of what a browser could do for a page, the counter needs nothing.
FEATURES = "camera=(), geolocation=(), microphone=(), payment=(), usb=(), browsing-topics=()"
_KEY = re.compile(r"[A-Za-z0-9._-]{8,120}")
#: The one page that is shown to whoever came by a password that somebody else chose.
OWN_PASSWORD = "own-password"  # noqa: S105


class PageRequest(HttpRequest):
    """A request of somebody who is signed in."""

    user: Person
    htmx: HtmxDetails


def _door(request: PageRequest, name: str = "") -> HttpResponse:
    """To the page that asks who is there, or to the one named, and back here afterwards. A form that is sent meanwhile
    is kept; a fragment cannot hold that page, so the whole page goes there, and its script keeps what was typed.
    """
    name = name or ("unlock" if request.user.is_authenticated else "sign-in")
    if request.htmx:
        here = way_back(request.htmx.current_url or "")
        response = HttpResponseClientRedirect(f"{resolve_url(name)}?{urlencode({'next': here})}")
        response["HX-Trigger"] = "keep-typed"
        return response
    if request.method == "POST":
        keep(request)
        return HttpResponseRedirect(resolve_url(name))
    return HttpResponseRedirect(f"{resolve_url(name)}?{urlencode({'next': request.get_full_path()})}")


def form_refused(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form without a good token. Who left it open until the browser forgot who it was signs in again."""
    asked: PageRequest = request  # type: ignore[assignment]
    if asked.htmx and not asked.user.is_authenticated:
        return _door(asked)
    return csrf_failure(request, reason)


def page(view: Callable[Concatenate[PageRequest, P], HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """A page of the counter: for signed-in people, never out of a cache, so that *back* shows a fresh form."""

    @wraps(view)
    def checked(request: PageRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
        typed = (
            text for form in (request.GET, request.POST) for name, texts in form.lists() for text in (name, *texts)
        )
        if any("\0" in text for text in (request.path, *typed)):
            raise Malformed("The address or the form holds a NUL character. Type it again.")
        return view(request, *args, **kwargs)

    @wraps(view)
    def admitted(request: PageRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not request.htmx and any(is_badge(text) for texts in request.GET.lists() for text in texts[1]):
            return HttpResponseRedirect(f"{resolve_url('find')}?badge")  # before the way back could hold it
        if not request.user.is_authenticated or not admit(request):
            return _door(request)
        if password_owed(request) and not (request.resolver_match and request.resolver_match.url_name == OWN_PASSWORD):
            return _door(request, OWN_PASSWORD)
        return checked(request, *args, **kwargs)

    return never_cache(admitted)


class SentBefore(KeyReused):
    title = "This form was sent before"


class FormOnly(Refusal):
    status, code, title = 405, "method_not_allowed", "Only a form leads here"


#: A page that a form came back with lies at the form's address; whoever unlocks it or loads it again asks for that.
FORM_ONLY = FormOnly("A form is sent to this address, and none came with it. Go on from the page that the form is on.")


def _above(path: str) -> str:
    """The nearest address above this one that there is: the page that its form is on."""
    while path != "/":
        path = path.rstrip("/").rpartition("/")[0] + "/"
        try:
            resolve(path)
        except Resolver404:
            continue
        break
    return path


class RefusalPages:
    """A refusal that a page did not catch: says why and how to go on. The API has its own handler."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if isinstance(response, HttpResponseNotAllowed) and not request.path.startswith("/api/"):
            allowed, context = response["Allow"], {"refusal": FORM_ONLY, "to": _above(request.path)}
            response = render(request, "shop/refused.html", context, status=FORM_ONLY.status)
            response["Allow"] = allowed
        response.setdefault("Content-Security-Policy", CONTENT_POLICY)
        response.setdefault("Permissions-Policy", FEATURES)
        if request.path.startswith("/api/"):  # pages say so themselves
            response.setdefault("Cache-Control", "no-store")
        return response

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, Refusal):
            return None
        # What was sent twice has counted once, and a database that went away may have kept it.
        unchanged = request.method == "POST" and not isinstance(exception, KeyReused | Unavailable)
        # To the page that the form was on, as it stands now.
        to = way_back(request.META.get("HTTP_REFERER", "")) if request.method == "POST" else ""
        context = {"refusal": exception, "unchanged": unchanged, "to": "" if to == resolve_url("home") else to}
        return render(request, "shop/refused.html", context, status=exception.status)


def key_new(prefix: str = "") -> str:
    """The key of one rendered form: sent twice, it acts once."""
    return f"{prefix}{uuid7()}"


def once_of(request: PageRequest) -> Once:
    """How the posted form is carried out: once, by the key that it was rendered with. Raises Malformed."""
    key = request.POST.get("key", "")
    if not _KEY.fullmatch(key):
        raise Malformed("This form came without its key. Go back, load the page again and repeat.")
    besides = ("csrfmiddlewaretoken", "key")
    fields = sorted((name, values) for name, values in request.POST.lists() if name not in besides)
    return Once(request.user, key, Once.print_of("POST", request.path, json.dumps(fields).encode()))


def act(request: PageRequest, effect: Callable[[Once], Answer]) -> HttpResponse:
    """Do ``effect`` once and go to the address ``to`` of its answer. Raises SentBefore, and what the effect refuses."""
    once = once_of(request)
    try:
        answer = once.replay() or effect(once)
    except Refusal as refusal:
        refusal_counted(refusal.code)
        if not isinstance(refusal, KeyReused):
            raise
        raise SentBefore(
            "This form was sent before with other figures, and those have counted. Go back to its page, look what "
            "became of them, and send a fresh form for anything more."
        ) from None
    return go(request, answer.body["to"])


def go(request: HttpRequest, to: str) -> HttpResponse:
    """Lead the browser to another page, from a whole form as from a fragment."""
    if getattr(request, "htmx", None):
        return HttpResponseClientRedirect(to)
    response = HttpResponseRedirect(to)
    response.status_code = 303
    return response


def forbidden(person: Person, right: str) -> str:
    """Why this person may not do that, or nothing."""
    refusal = person.refusal(right)
    return refusal.detail if refusal else ""


def shown(request: HttpRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    """A page, always with status 200: what a form refuses is part of the page."""
    return render(request, template, context)
