"""Who is at this browser: its terminal, the automatic lock, and a form that met a closed door.

The server decides: it keeps with the session when somebody was last there. A form that is sent while nobody is signed
in, or while the page is locked, is not carried out and not lost: it waits in the session, and is offered for sending
once it is known who is there.
"""

import time
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.auth import login, logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import resolve_url
from django.urls import Resolver404, resolve

from shop.people.audit import SIGNED_IN, SIGNED_OUT, audit_write
from shop.people.badges import is_badge
from shop.people.models import Person, Terminal
from shop.people.terminals import terminal_of

COOKIE = settings.TERMINAL_COOKIE_NAME
#: Browsers keep no cookie longer than 400 days; each sign-in there begins them anew.
COOKIE_SECONDS = 400 * 24 * 3600
#: So often at most a session is written to say that somebody is still there.
SEEN_STEP_SECONDS = 15
#: So long a password that was right waits for its one-time code, and a secret that is set up for its first one.
HALF_SECONDS = 10 * 60
_SEEN, _BADGE, _PIN, _KEPT, _BEGAN, _HALF = "seen", "badge", "pin", "kept", "began", "half"
#: What is never kept.
NOT_KEPT = {"csrfmiddlewaretoken", "password", "password_now", "pin", "now", "badge", "otp", "by"}


def here(request: HttpRequest) -> Terminal | None:
    """The terminal that this browser is; None where it is none, or has ended."""
    return terminal_of(request.COOKIES.get(COOKIE, ""))


def cookie_set(response: HttpResponse, token: str) -> None:
    """Let this browser keep the token of its terminal."""
    response.set_cookie(
        COOKIE,
        token,
        max_age=COOKIE_SECONDS,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def _stand(request: HttpRequest, person: Person) -> None:
    """Say at which terminal of the own shop this person stands, if at one."""
    terminal = here(request)
    person.at_terminal = terminal if terminal and terminal.shop_id == person.shop_id else None


def half(request: HttpRequest, person: Person) -> None:
    """Keep who said the right password and is to give a one-time code: nothing is open to them yet."""
    request.session.cycle_key()
    request.session[_HALF] = {"id": str(person.pk), "hash": person.get_session_auth_hash(), "at": time.time()}


def half_in(request: HttpRequest) -> Person | None:
    """Who is half in; None when that was too long ago, or when a new password or a sign-out everywhere came between."""
    kept = request.session.get(_HALF)
    if not kept or time.time() - kept["at"] > HALF_SECONDS:
        return None
    person = Person.objects.select_related("shop").filter(pk=kept["id"], is_active=True).first()
    return person if person and person.get_session_auth_hash() == kept["hash"] else None


def begin(request: HttpRequest, person: Person, *, by: str) -> None:
    """Sign the person in, in a session with a key of its own; of the one before stays the form that waits there.
    ``by`` is ``badge``, or what else the audit is to say.
    """
    kept = kept_take(request)
    request.session.flush()
    _stand(request, person)
    login(request, person, backend="django.contrib.auth.backends.ModelBackend")
    if by == "badge":
        request.session[_BADGE] = person.badge_sha256
        pin_said(request, person)
    audit_write(person=person, subject=person.username, what=SIGNED_IN, after=by)
    if kept:
        request.session[_KEPT] = kept


def signed_in(*, request: HttpRequest, **_: object) -> None:
    """Receiver for Django's user_logged_in: whoever signs in is there."""
    seen(request)
    request.session[_BEGAN] = time.time()


def pin_said(request: HttpRequest, person: Person) -> None:
    """This session is one that the present PIN opened, at the door or at the lock."""
    request.session[_PIN] = person.pin_opened()


def pin_changed(request: HttpRequest, person: Person) -> None:
    """The new PIN ends what the old one opened, but here, where it was changed."""
    if _PIN in request.session:
        pin_said(request, person)


def seen(request: HttpRequest) -> None:
    """Somebody is there now."""
    request.session[_SEEN] = time.time()


def admit(request: HttpRequest) -> bool:
    """Whether whoever is signed in may go on; False when the lock asks first.

    Sets the terminal on the person. Who came by a badge that has ended since, by a PIN that has, or at a terminal that
    has, is signed out, and so is who signed in longer ago than a session lasts: each request that is seen would carry
    it on for ever.
    """
    person: Any = request.user
    _stand(request, person)
    badge = request.session.get(_BADGE)
    over = time.time() - request.session.get(_BEGAN, 0) > settings.SESSION_COOKIE_AGE
    pin_ended = request.session.get(_PIN, person.pin_opened()) != person.pin_opened()
    if over or pin_ended or (badge and (person.at_terminal is None or badge != person.badge_sha256)):
        leave(request)
        return False
    idle = time.time() - request.session.get(_SEEN, time.time())
    if idle > person.shop.lock_minutes * 60:
        return False
    if idle > SEEN_STEP_SECONDS or _SEEN not in request.session:
        seen(request)
    return True


def password_owed(request: HttpRequest) -> bool:
    """Whether whoever is there came by a password that somebody else chose, and has to choose one first."""
    person: Any = request.user
    return person.password_given_at is not None and _BADGE not in request.session


def way_back(text: str) -> str:
    """A page of ours to come back to, query included; home for anything else."""
    try:
        parts = urlsplit(text)
        resolve(parts.path)
    except (ValueError, Resolver404):
        return resolve_url("home")
    return f"{parts.path}?{parts.query}" if parts.query else parts.path


def keep(request: HttpRequest) -> None:
    """Keep a form that met a closed door: where it was sent, and its fields in order, without anything secret, be it a
    badge that was scanned into one; whose it is (``by``) is said by whoever presses to send it.
    """
    typed = [(name, text) for name, texts in request.POST.lists() for text in texts if name not in NOT_KEPT]
    fields = [(name, text) for name, text in typed if not is_badge(text)]
    came_from = way_back(request.META.get("HTTP_REFERER", ""))
    request.session[_KEPT] = {"to": request.get_full_path(), "fields": fields, "from": came_from}


#: What a form carries for itself, which tells a person nothing.
_UNSEEN = {"key", "next", "go", "at"}


def kept_told(kept: dict[str, Any]) -> list[tuple[str, str]]:
    """What of a kept form a person reads before it is sent: each filled field by its name in words, and its value."""
    return [
        (name.replace("-", " ").replace("_", " ").strip().capitalize(), text)
        for name, text in kept["fields"]
        if text and name not in _UNSEEN
    ]


def kept_take(request: HttpRequest) -> dict[str, Any] | None:
    """The kept form, which is from now on in the hands of the page that shows it."""
    kept: dict[str, Any] | None = request.session.pop(_KEPT, None)
    return kept


def leave(request: HttpRequest) -> None:
    """Sign out; a form that met the door waits for whoever comes next."""
    kept = kept_take(request)
    person: Any = request.user
    if person.is_authenticated:
        _stand(request, person)
        audit_write(person=person, subject=person.username, what=SIGNED_OUT)
    logout(request)
    if kept:
        request.session[_KEPT] = kept


def inside(request: HttpRequest, to: str) -> str:
    """Where to go once it is known who is there: to the kept form, where there is one."""
    return resolve_url("go-on") if _KEPT in request.session else to
