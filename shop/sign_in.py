"""Sign-in by password, or by badge and PIN at a terminal; the lock; change of person; a form that waited meanwhile."""

from typing import Any

from axes.utils import reset
from django.conf import settings
from django.contrib.auth import authenticate
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from shop.entry import (
    COOKIE,
    admit,
    begin,
    cookie_set,
    half,
    here,
    inside,
    kept_take,
    kept_told,
    leave,
    pin_said,
    seen,
    way_back,
)
from shop.errors import Refusal
from shop.people.audit import ENDED, HALF_IN, REFUSED, audit_write
from shop.people.badges import badge_owner, is_badge, pin_check, pin_free
from shop.people.models import GIVEN_DAYS, Person
from shop.people.one_time import code_due
from shop.web import PageRequest, page, shown


class PasswordEnded(Refusal):
    status, code, title = 403, "password_ended", "This password has ended"


def _ended_check(person: Person) -> None:
    """Raises PasswordEnded. Asked behind the right password alone."""
    if person.password_ends_at and person.password_ends_at <= timezone.now():
        audit_write(person=person, subject=person.username, what=ENDED)
        raise PasswordEnded(
            f"This password was set for you and ended after {GIVEN_DAYS} days, since you chose none of your own. "
            "Ask the owner for a new one."
        )


class SignInForm(AuthenticationForm):
    error_messages = {
        "invalid_login": "This name and password do not go together. Capitals count; check both and try again.",
        "inactive": "This person no longer works here. Ask the owner.",
    }
    use_required_attribute = False

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Name"
        self.fields["username"].widget.attrs.pop("autofocus", None)
        for name in ("username", "password"):
            self.fields[name].error_messages["required"] = "Fill this in."

    def confirm_login_allowed(self, user: Any) -> None:
        """Asked behind the right password alone, so that nobody who guesses learns of it."""
        super().confirm_login_allowed(user)
        try:
            _ended_check(user)
        except PasswordEnded as refusal:
            raise ValidationError(refusal.detail) from None

    def focus(self) -> None:
        """The first field that is not filled has the focus: the name, else the password."""
        name = "password" if self.data.get("username") else "username"
        self.fields[name].widget.attrs["autofocus"] = True


def let_in(request: HttpRequest, person: Person, *, by: str) -> HttpResponse:
    """Sign in by what was proven, and go where one was. All of it but the badge itself frees a locked badge."""
    if by != "badge":
        pin_free(person=person)
    begin(request, person, by=by)
    response = redirect(inside(request, way_back(request.POST.get("next", ""))))
    if here(request):
        cookie_set(response, request.COOKIES[COOKIE])
    return response


@sensitive_post_parameters("password", "pin", "badge")
@require_http_methods(["GET", "POST"])
@never_cache
def sign_in(request: HttpRequest) -> HttpResponse:
    """By name and password, or at a terminal by badge: once that is known, the page asks for its PIN."""
    said = request.POST if request.method == "POST" else request.GET
    if request.user.is_authenticated and request.method == "GET":
        return redirect(way_back(said.get("next", "")))
    form = SignInForm(request, data=request.POST if "username" in request.POST else None)
    terminal = here(request)
    # A badge is scanned into whatever has the focus.
    badge = next((said[name] for name in ("badge", "username") if is_badge(said.get(name, ""))), said.get("badge", ""))
    context: dict[str, Any] = {"next": way_back(said.get("next", "")), "terminal": terminal, "form": form}
    if badge and request.method == "POST":
        form = context["form"] = SignInForm(request)
        try:
            context |= {"badge_of": badge_owner(terminal=terminal, badge=badge), "badge": badge}
            if "pin" in request.POST:
                pin_check(person=context["badge_of"], pin=request.POST["pin"])
                return let_in(request, context["badge_of"], by="badge")
        except Refusal as refusal:
            context["refusal"] = refusal
    elif form.is_bound and form.is_valid():
        person: Any = form.get_user()
        if code_due(person):
            half(request, person)
            audit_write(person=person, subject=person.username, what=HALF_IN)
            return redirect(f"{resolve_url('second-step')}?{urlencode({'next': context['next']})}")
        return let_in(request, person, by="password")
    if terminal is None or form.is_bound:
        form.focus()
    return shown(request, "shop/sign_in.html", context)


@sensitive_post_parameters("password", "pin")
@require_http_methods(["GET", "POST"])
@never_cache
def unlock(request: PageRequest) -> HttpResponse:
    """Whoever was there last comes back: by PIN at a terminal, else by password."""
    to = way_back((request.POST or request.GET).get("next", ""))
    if not request.user.is_authenticated:
        return redirect(f"{resolve_url('sign-in')}?{urlencode({'next': to})}")
    if admit(request):
        return redirect(inside(request, to))
    person = request.user
    if not person.is_authenticated:  # the badge has ended meanwhile
        return redirect(f"{resolve_url('sign-in')}?{urlencode({'next': to})}")
    by_pin = person.at_terminal is not None and bool(person.pin) and not person.badge_locked
    context: dict[str, Any] = {"next": to, "by_pin": by_pin, "locked": True}
    if request.method == "POST":
        try:
            if by_pin and "pin" in request.POST:
                pin_check(person=person, pin=request.POST["pin"])
                pin_said(request, person)
            elif not password_known(request, request.POST.get("password", "")):
                context["wrong_password"] = True
                return shown(request, "shop/unlock.html", context)
            request.session.cycle_key()
            seen(request)
            return redirect(inside(request, to))
        except Refusal as refusal:
            person.refresh_from_db(fields=["pin_wrong"])
            context |= {"refusal": refusal, "by_pin": not person.badge_locked}
    return shown(request, "shop/unlock.html", context)


def password_known(request: PageRequest, password: str) -> bool:
    """Whether it is the password of whoever is signed in. A wrong one counts as one at sign-in does, and shuts the name
    out like those; the right one forgets them, and wrong PINs. Raises PasswordEnded.
    """
    person = request.user
    if not authenticate(request, username=person.username, password=password):
        return False
    _ended_check(person)
    pin_free(person=person)
    reset(username=person.username)
    return True


class PasswordLocked(Refusal):
    status, code, title = 429, "password_locked", "Too many wrong passwords"


def locked_out(request: HttpRequest, response: HttpResponse, credentials: dict[str, Any], *_: Any) -> HttpResponse:
    """What whoever tried too many passwords for one name reads, be there somebody of that name or not."""
    minutes = int(settings.AXES_COOLOFF_TIME.total_seconds() // 60)
    refusal = PasswordLocked(
        f"{settings.AXES_FAILURE_LIMIT} wrong passwords in a row: for {minutes} minutes none is looked at for this "
        "name, not even the right one. At a terminal the badge still signs in. Was it not you, tell the owner."
    )
    context = {"refusal": refusal, "form": SignInForm(request), "terminal": here(request), "next": resolve_url("home")}
    return render(request, "shop/sign_in.html", context, status=refusal.status)


def password_refused(*, request: HttpRequest, credentials: dict[str, Any], **_: object) -> None:
    """Receiver for Django's user_login_failed: the shop of that name, if there is one, finds it among its sign-ins.
    Tries that are not judged are not written, so that nobody fills the audit by them.
    """
    if getattr(request, "axes_locked_out", False):
        return
    found = Person.objects.filter(username=credentials.get("username", "")).first()
    if found:
        audit_write(person=found, subject=found.username, what=REFUSED)


@require_GET
@page
def go_on(request: PageRequest) -> HttpResponse:
    """The form that met a closed door, to be sent now or left."""
    kept = kept_take(request)
    if kept is None:
        return redirect("home")
    return shown(request, "shop/go_on.html", {"kept": kept, "told": kept_told(kept)})


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    """The browser is to forget what it kept of our pages. Not its storage: there scans wait for the line."""
    kept_take(request)
    leave(request)
    response = redirect("sign-in")
    response["Clear-Site-Data"] = '"cache"'
    return response


@require_POST
def change_person(request: HttpRequest) -> HttpResponse:
    """Sign out, and let the next person sign in to the same page."""
    leave(request)
    return redirect(f"{resolve_url('sign-in')}?{urlencode({'next': way_back(request.POST.get('next', ''))})}")
