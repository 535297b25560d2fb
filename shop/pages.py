"""Home, sign-in and sign-out, change of person, and the echo of what was typed in both units."""

from typing import Any
from urllib.parse import urlsplit

from django import forms
from django.contrib.auth import logout
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.templatetags.static import static
from django.urls import Resolver404, resolve
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_POST

from plates.bench.proof.residuals import sentences
from plates.bench.selectors import matches
from plates.lengths import LengthError
from shop.forms import understood
from shop.web import PageRequest, page, shown


class SignInForm(AuthenticationForm):
    error_messages = {
        "invalid_login": "This name and password do not go together. Capitals count; check both and try again.",
        "inactive": "This person no longer works here. Ask the owner.",
    }
    use_required_attribute = False

    def __init__(self, request: Any = None, *args: Any, **kwargs: Any) -> None:
        super().__init__(request, *args, **kwargs)
        self.fields["username"].label = "Name"
        self.fields["username"].widget.attrs["autofocus"] = True
        for name in ("username", "password"):
            self.fields[name].error_messages["required"] = "Fill this in."


class SignIn(LoginView):
    template_name = "shop/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def form_invalid(self, form: forms.Form) -> HttpResponse:
        for name in ("username", "password"):
            form.fields[name].widget.attrs.pop("autofocus", None)
        form.fields["password" if form.data.get("username") else "username"].widget.attrs["autofocus"] = True
        return super().form_invalid(form)  # type: ignore[arg-type]


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    return redirect("sign-in")


@require_POST
def change_person(request: HttpRequest) -> HttpResponse:
    """Sign out, and let the next person sign in to the same page."""
    logout(request)
    came_from = urlsplit(request.POST.get("next", "")).path
    try:
        resolve(came_from)
    except Resolver404:
        came_from = resolve_url("home")
    return redirect(f"{resolve_url('sign-in')}?{urlencode({'next': came_from})}")


@require_GET
def favicon(request: HttpRequest) -> HttpResponse:
    """For browsers that ask at the old address."""
    return redirect(static("shop/favicon.svg"), permanent=True)


@require_GET
@page
def home(request: PageRequest) -> HttpResponse:
    rows = matches(request.user.shop_id).prefetch_related("final_checks").order_by("-number")
    busy = list(rows.filter(state__in=["open", "held", "taken"])[:12])
    context = {
        "matches": busy,
        "closed": rows.filter(state="closed")[:5],
        "drifting": sentences(request.user.shop_id, request.user.shop.unit_first),
    }
    return shown(request, "shop/home.html", context)


@require_GET
@page
def echo(request: PageRequest) -> HttpResponse:
    """A fragment: the figures of one field in both units, before they count."""
    text = str(next(iter(request.GET.values()), ""))
    try:
        return shown(request, "shop/echo.html", {"lengths": understood(text, request.user.shop.unit_first)})
    except LengthError as error:
        return shown(request, "shop/echo.html", {"error": str(error)})
