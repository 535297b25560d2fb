"""People, terminals, settings and what was changed of them, for the owner; the own password and PIN for everybody."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from django.contrib.auth import update_session_auth_hash
from django.core.paginator import Paginator
from django.db import transaction
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, resolve_url
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from shop.entry import cookie_set, inside, password_owed, pin_changed, way_back
from shop.errors import Refusal, refusals
from shop.forms import PageForm
from shop.people import services
from shop.people.audit import audit
from shop.people.badges import PIN, badge_make, pin_check, pin_set
from shop.people.forms import (
    NewPersonForm,
    OwnPasswordForm,
    OwnPinForm,
    PasswordForm,
    PinForm,
    ProvenForm,
    RoleForm,
    SettingsForm,
    TerminalForm,
)
from shop.people.models import Person
from shop.people.one_time import code_turn_off
from shop.people.settings import settings_change
from shop.people.terminals import terminal_end, terminal_enrol, terminal_name, terminals
from shop.sign_in import password_known
from shop.web import PageRequest, forbidden, go, page, shown

P = ParamSpec("P")

_DONE = {
    "password": "Your password is changed. What the old one opened elsewhere has ended.",
    "pin": "Your PIN is set. What the old one opened elsewhere has ended.",
}


def _done(form: PageForm, effect: Callable[[], object]) -> bool:
    """Carry out ``effect`` in one transaction when the form holds. A refusal is said in the form; False is returned.

    Such an act goes without a key of its own: done twice it does nothing more, and no stored answer holds a secret.
    """
    if not form.is_valid():
        return False
    try:
        with refusals(), transaction.atomic():
            effect()
    except Refusal as refusal:
        if not form.refuse(refusal):
            form.add_error(None, refusal.detail)
        return False
    return True


def owners_page(view: Callable[Concatenate[PageRequest, P], HttpResponse]) -> Callable[..., HttpResponseBase]:
    """A page for the owner alone; anybody else who comes by reads why. Raises Forbidden for what they send there."""

    @wraps(view)
    def mine(request: PageRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        if request.method == "POST":
            request.user.require("people")
        elif why := forbidden(request.user, "people"):
            return shown(request, "shop/not_yours.html", {"why_not": why})
        return view(request, *args, **kwargs)

    return page(mine)


@require_GET
@owners_page
def people(request: PageRequest) -> HttpResponse:
    rows = Person.objects.filter(shop_id=request.user.shop_id).order_by("-is_active", "username")
    return shown(request, "shop/people.html", {"people": rows})


@sensitive_post_parameters("password", "now")
@require_http_methods(["GET", "POST"])
@owners_page
def add_person(request: PageRequest) -> HttpResponse:
    form = NewPersonForm(request.POST or None, person=request.user)
    said = ("username", "role", "password")
    if _proven(request, form) and _done(
        form, lambda: services.person_add(person=request.user, **{name: form.cleaned_data[name] for name in said})
    ):
        return go(request, resolve_url("shop-person", Person.normalize_username(form.cleaned_data["username"])))
    return shown(request, "shop/add_person.html", {"form": form})


@sensitive_post_parameters("password", "pin", "now")
@require_http_methods(["GET", "POST"])
@owners_page
def one_person(request: PageRequest, username: str) -> HttpResponse:
    """One person: role, password, PIN and badge, and whether this one works here. The field ``act`` says what to do."""
    owner = request.user
    found = services.colleague(person=owner, username=username)
    act = request.POST.get("act", "")
    said: dict[str, Any] = {"person": owner, "username": username}
    role, password, pin, code, badge, back = (
        form_class(request.POST if act == name else None, person=owner, auto_id=f"id_{name}_%s", **initial)
        for name, form_class, initial in (
            ("role", RoleForm, {"initial": {"role": found.role}}),
            ("password", PasswordForm, {}),
            ("pin", PinForm, {}),
            ("code", ProvenForm, {}),
            ("badge", ProvenForm, {}),
            ("return", ProvenForm, {}),
        )
    )
    context: dict[str, Any] = {"one": found, "role": role, "password": password, "pin": pin, "code": code}
    context |= {"new_badge": badge, "back": back}
    plain = PageForm({}, person=owner)
    acts: dict[str, tuple[PageForm, Callable[[], object]]] = {
        "role": (role, lambda: services.person_role(**said, role=role.cleaned_data["role"])),
        "password": (password, lambda: services.person_password(**said, password=password.cleaned_data["password"])),
        "pin": (pin, lambda: pin_set(**said, pin=pin.cleaned_data["pin"])),
        "leave": (plain, lambda: services.person_active(**said, active=False)),
        "return": (back, lambda: services.person_active(**said, active=True)),
        "sessions": (plain, lambda: services.sessions_end(**said)),
        "code": (code, lambda: code_turn_off(**said)),
        "tokens": (plain, lambda: services.tokens_end(**said)),
        "badge": (badge, lambda: context.update(badge=badge_make(**said))),
    }
    if found == owner and act in ("password", "pin", "code"):
        plain.is_valid()
        plain.add_error(None, "Your own password, PIN and codes are changed under Me, where the old one is asked for.")
    elif act in acts and _proven(request, acts[act][0]) and _done(*acts[act]):
        if act == "sessions" and found == owner:
            owner.refresh_from_db()
            update_session_auth_hash(request, owner)
        if act != "badge":  # its code is shown this once
            return go(request, request.path)
        found.refresh_from_db()
    context["tokens"], context["now"] = list(found.tokens.order_by("ends_at")), timezone.now()
    context["refused"] = plain.non_field_errors() if plain.is_bound else []
    return shown(request, "shop/person.html", context)


@sensitive_post_parameters("password", "password_now", "pin", "now")
@require_http_methods(["GET", "POST"])
@page
def me(request: PageRequest) -> HttpResponse:
    """The own password and PIN. Whoever changes them says the present one first."""
    person, act = request.user, request.POST.get("act", "")
    password = OwnPasswordForm(request.POST if act == "password" else None, person=person, auto_id="id_password_%s")
    pin = OwnPinForm(request.POST if act == "pin" else None, person=person, auto_id="id_pin_%s")
    said: dict[str, Any] = {"person": person, "username": person.username}
    if act == "password" and password.is_valid() and known(request, password) and _own_password_set(request, password):
        return go(request, f"{request.path}?done=password")
    if _proven(request, pin) and _done(pin, lambda: pin_set(**said, pin=pin.cleaned_data["pin"])):
        person.refresh_from_db(fields=["pin"])
        pin_changed(request, person)
        return go(request, f"{request.path}?done=pin")
    done = _DONE.get(request.GET.get("done", ""))
    return shown(request, "shop/me.html", {"password": password, "pin": pin, "done": done})


@sensitive_post_parameters("password", "password_now")
@require_http_methods(["GET", "POST"])
@page
def own_password(request: PageRequest) -> HttpResponse:
    """For whoever came by a password that somebody else chose: another one, before anything else is shown."""
    if not password_owed(request):
        return redirect("me")
    form = OwnPasswordForm(request.POST or None, person=request.user)
    form.fields["password_now"].widget.attrs["autofocus"] = True
    to = way_back((request.POST or request.GET).get("next", ""))
    if request.method == "POST" and form.is_valid() and known(request, form) and _own_password_set(request, form):
        return redirect(inside(request, to))
    return shown(request, "shop/own_password.html", {"form": form, "next": to, "locked": True})


def _own_password_set(request: PageRequest, form: OwnPasswordForm) -> bool:
    """Whether the password typed is the own one from now on; this window stays signed in."""
    person, password = request.user, form.cleaned_data["password"]
    done = _done(form, lambda: services.person_password(person=person, username=person.username, password=password))
    if done:
        person.refresh_from_db()
        update_session_auth_hash(request, person)
    return done


def known(request: PageRequest, form: PageForm) -> bool:
    """Whether the password in the field ``password_now`` is the present one; if not, the form says so."""
    why = "This is not your password. Capitals count; try again."
    try:
        if password_known(request, form.cleaned_data["password_now"]):
            return True
    except Refusal as refusal:
        why = refusal.detail
    form.add_error("password_now", why)
    return False


def _proven(request: PageRequest, form: PageForm) -> bool:
    """Whether the form came and holds, and where it asks for the own password or PIN that is it. Either counts as at
    sign-in when it is wrong; no password is as short as a PIN.
    """
    if not form.is_valid() or "now" not in form.fields:
        return form.is_valid()
    person, now = form.person, form.cleaned_data["now"]
    try:
        if person.pin and PIN.fullmatch(now):
            pin_check(person=person, pin=now)
        elif not password_known(request, now):
            raise Refusal("This is neither your password nor your PIN. Try again.")
    except Refusal as refusal:
        form.add_error("now", refusal.detail)
        return False
    return True


@require_http_methods(["GET", "POST"])
@owners_page
def terminal_list(request: PageRequest) -> HttpResponse:
    """The terminals; a POST enrols this browser as a new one."""
    owner = request.user
    form = TerminalForm(request.POST or None, person=owner)
    token: list[str] = []
    if request.method == "POST" and _done(
        form, lambda: token.append(terminal_enrol(person=owner, code=form.cleaned_data["code"]))
    ):
        response = redirect("terminals")
        cookie_set(response, token[0])
        return response
    return shown(request, "shop/terminals.html", {"form": form, "terminals": terminals(owner.shop_id)})


@require_http_methods(["GET", "POST"])
@owners_page
def one_terminal(request: PageRequest, code: str) -> HttpResponse:
    """Another name for a terminal."""
    owner = request.user
    form = TerminalForm(request.POST or None, person=owner, initial={"code": code})
    if request.method == "POST" and _done(
        form, lambda: terminal_name(person=owner, code=code, new=form.cleaned_data["code"])
    ):
        return go(request, resolve_url("terminals"))
    return shown(request, "shop/terminal.html", {"form": form, "code": code})


@require_POST
@page
def end_terminal(request: PageRequest, code: str) -> HttpResponse:
    with transaction.atomic():
        terminal_end(person=request.user, code=code)
    return go(request, resolve_url("terminals"))


@require_http_methods(["GET", "POST"])
@owners_page
def settings(request: PageRequest) -> HttpResponse:
    form = SettingsForm(request.POST or None, person=request.user)
    if request.method == "POST" and _done(form, lambda: settings_change(person=request.user, **form.values())):
        return go(request, f"{request.path}?done")
    plain = [field for field in form if field.name not in form.UNCERTAINTIES]
    figures = [form[name] for name in form.UNCERTAINTIES]
    done = "done" in request.GET and request.method == "GET"
    return shown(request, "shop/settings.html", {"form": form, "plain": plain, "figures": figures, "done": done})


@require_GET
@owners_page
def changes(request: PageRequest) -> HttpResponse:
    """What was changed of people, terminals and settings; with ``sign_ins``, who came and went."""
    sign_ins = "sign_ins" in request.GET
    rows = Paginator(audit(request.user.shop_id, sign_ins=sign_ins), 100).get_page(request.GET.get("page"))
    return shown(request, "shop/changes.html", {"lines": rows, "sign_ins": sign_ins})
