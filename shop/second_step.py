"""The one-time code behind the password at sign-in, and how everybody sets it up and turns it off, under *Me*.

A new secret waits in the session until a first code of it was given: only then it counts.
"""

import time
from typing import Any

from django import forms
from django.contrib.auth import update_session_auth_hash
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.utils.http import urlencode
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from shop.entry import HALF_SECONDS, half_in, way_back
from shop.errors import Refusal
from shop.forms import PageForm
from shop.people.forms import secret_field
from shop.people.models import Person
from shop.people.one_time import code_check, code_turn_off, code_turn_on, secret_make, secret_picture
from shop.people.pages import known
from shop.sign_in import let_in
from shop.web import PageRequest, page, shown

#: Where it waits: whose, the secret, and since when.
_WAITS = "code_waits"


class _Anew(forms.TextInput):
    """Comes back empty: the next code is another one."""

    def format_value(self, value: Any) -> None:
        return None


class CodeForm(PageForm):
    focus = "otp"
    POINTED = {"/otp": "otp"}
    otp = forms.CharField(
        label="Code",
        max_length=60,
        help_text="The six digits that the app shows now.",
        widget=_Anew(attrs={"class": "big", "inputmode": "numeric", "autocomplete": "one-time-code"}),
    )


class RecoveryForm(PageForm):
    focus = ""
    otp = forms.CharField(
        label="Recovery code",
        max_length=60,
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )


class PasswordNowForm(PageForm):
    focus = "password_now"
    password_now = secret_field("Password now", autocomplete="current-password")


class OffForm(PasswordNowForm):
    otp = forms.CharField(
        label="Code, or a recovery code", max_length=60, widget=forms.TextInput(attrs={"autocomplete": "one-time-code"})
    )


def _waiting(request: HttpRequest, person: Person, *, fresh: bool = False) -> str:
    """The secret that this person sets up in this session: a new one if ``fresh``, else nothing where there is none, or
    where it waits so long that the password said before it no longer says who is there.
    """
    if fresh:
        request.session[_WAITS] = [str(person.pk), secret_make(), time.time()]
    whose, secret, since = request.session.get(_WAITS, ("", "", 0))
    return secret if whose == str(person.pk) and time.time() - since < HALF_SECONDS else ""


def _set_up(request: HttpRequest, person: Person, secret: str, form: CodeForm) -> dict[str, Any]:
    """What the page needs to show the secret."""
    fours = " ".join(secret[at : at + 4] for at in range(0, len(secret), 4))
    return {"form": form, "secret": fours, "picture": secret_picture(person=person, secret=secret)}


def _turned_on(request: HttpRequest, person: Person, secret: str, form: CodeForm) -> list[str]:
    """The recovery codes, when the form holds the first code of the secret; else none, and the form says why."""
    if not form.is_valid():
        return []
    try:
        with transaction.atomic():
            said = form.cleaned_data["otp"]
            recovery = code_turn_on(person=person, secret=secret, code=said, at=time.time())
    except Refusal as refusal:
        form.add_error("otp", refusal.detail)
        return []
    del request.session[_WAITS]
    person.refresh_from_db()
    return recovery


def _right(form: PageForm, person: Person) -> str:
    """Which code the form holds, when it is a good one, in words; else nothing, and the form says why."""
    try:
        return code_check(person=person, text=form.cleaned_data["otp"], at=time.time())
    except Refusal as refusal:
        form.add_error("otp", refusal.detail)
        return ""


@sensitive_post_parameters("otp")
@require_http_methods(["GET", "POST"])
@never_cache
def second_step(request: HttpRequest) -> HttpResponse:
    """After the password: the code, or where there is none yet, setting it up."""
    to = way_back((request.POST or request.GET).get("next", ""))
    person = half_in(request)
    if person is None:
        return redirect(f"{resolve_url('sign-in')}?{urlencode({'next': to})}")
    by_recovery = request.POST.get("act") == "recovery"
    sent = request.POST if request.method == "POST" else None
    form = CodeForm(None if by_recovery else sent, person=person)
    recovery = RecoveryForm(sent if by_recovery else None, person=person, auto_id="id_recovery_%s")
    context: dict[str, Any] = {"next": to, "person": person, "form": form, "recovery": recovery}
    if not person.totp_secret:
        secret = _waiting(request, person) or _waiting(request, person, fresh=True)
        if codes := _turned_on(request, person, secret, form):
            inside = let_in(request, person, by="password and code")
            response = shown(request, "shop/recovery_codes.html", {"codes": codes, "to": inside["Location"]})
            response.cookies.update(inside.cookies)
            return response
        return shown(request, "shop/second_step.html", context | _set_up(request, person, secret, form))
    typed = recovery if by_recovery else form
    if typed.is_valid() and (which := _right(typed, person)):
        return let_in(request, person, by=f"password and {which}")
    return shown(request, "shop/second_step.html", context)


@sensitive_post_parameters("password_now", "otp")
@require_http_methods(["GET", "POST"])
@page
def own_code(request: PageRequest) -> HttpResponse:
    """The own one-time codes: set up by the password and a first code, turned off by the password and a good one."""
    person, act = request.user, request.POST.get("act", "")
    begin = PasswordNowForm(request.POST if act == "begin" else None, person=person)
    first = CodeForm(request.POST if act == "first" else None, person=person)
    off = OffForm(request.POST if act == "off" else None, person=person)
    context: dict[str, Any] = {"done": "off" in request.GET and not act}
    if person.totp_secret:
        if off.is_valid() and known(request, off) and _right(off, person):
            with transaction.atomic():
                code_turn_off(person=person, username=person.username)
            _stay(request, person)
            return redirect(f"{request.path}?off")
        return shown(request, "shop/own_code.html", {**context, "off": off})
    if begin.is_valid() and known(request, begin):
        _waiting(request, person, fresh=True)
        return redirect(request.path)
    secret = _waiting(request, person)
    if not secret:
        return shown(request, "shop/own_code.html", {**context, "begin": begin})
    if codes := _turned_on(request, person, secret, first):
        _stay(request, person)
        return shown(request, "shop/recovery_codes.html", {"codes": codes, "to": resolve_url("me")})
    return shown(request, "shop/own_code.html", context | _set_up(request, person, secret, first))


def _stay(request: PageRequest, person: Person) -> None:
    """Turned on or off, codes end what is open elsewhere; here one stays, by a new key."""
    person.refresh_from_db()
    update_session_auth_hash(request, person)
