"""How sizes are bought, set at the desk; and the arithmetic of one size."""

import uuid
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import resolve_url
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from plates.buying import selectors
from plates.buying.one_size import Size
from plates.buying.rule_forms import RuleForm, RuleOfForm, figures_shown
from plates.buying.rules import rule_drop, rule_set
from plates.buying.sizes import sizes
from plates.catalogue.models import Role
from shop.errors import Refusal
from shop.once import Answer
from shop.web import PageRequest, act, forbidden, key_new, page, shown


@require_GET
@page
def rules(request: PageRequest) -> HttpResponse:
    """All rules, and the way to a further one."""
    return _listed(request, RuleOfForm(person=request.user))


def _listed(request: PageRequest, form: RuleOfForm) -> HttpResponse:
    rows = Paginator(selectors.rules(request.user.shop_id), 50).get_page(request.GET.get("page"))
    context = {"rules": [(one, key_new()) for one in rows], "rows": rows, "form": form}
    return shown(request, "plates/buy_rules.html", context | {"forbidden": forbidden(request.user, "buying")})


@require_http_methods(["GET", "POST"])
@page
def rule(request: PageRequest) -> HttpResponse:
    """The rule of a row or of one size, to be set; of one size also why so many are bought of it."""
    whose = RuleOfForm(request.POST or request.GET, person=request.user)
    if not whose.is_valid():
        return _listed(request, whose)
    fit, role, nominal_nm = (whose.cleaned_data[name] for name in ("fit", "role", "nominal_nm"))
    of = {"fit": fit, "role": role}
    own = {one.nominal_nm: one for one in selectors.rules(request.user.shop_id, [fit.code]).filter(role=role)}
    standing = own.get(nominal_nm) or own.get(None)
    initial: dict[str, Any] = {"initial": figures_shown(standing)} if standing else {}
    form = RuleForm(request.POST or None, person=request.user, **initial)
    if request.method == "POST" and form.is_valid():
        given = {**of, "nominal_nm": nominal_nm, **form.figures()}
        try:
            return act(
                request, lambda once: once.run(lambda: rule_set(person=once.person, **given), lambda _: _to_list())
            )
        except Refusal as refusal:
            form.add_error(None, refusal.detail)
    context = {
        **of,
        "role_name": Role(role).label,
        "nominal_nm": nominal_nm,
        "size": _size(request, fit.code, role, nominal_nm) if nominal_nm is not None else None,
        "whose": whose,
        "form": form,
        "key": key_new(),
        "own": own.get(nominal_nm),
        "drop_key": key_new(),
        "forbidden": forbidden(request.user, "buying"),
    }
    return shown(request, "plates/buy_rule.html", context)


def _size(request: PageRequest, fit: str, role: str, centre_nm: int) -> Size:
    return next(one for one in sizes(request.user.shop, fits=[fit], role=role) if one.centre_nm == centre_nm)


def _to_list() -> Answer:
    return Answer(303, {"to": resolve_url("buy-rules")})


@require_POST
@page
def drop(request: PageRequest, pk: uuid.UUID) -> HttpResponse:
    return act(request, lambda once: once.run(lambda: rule_drop(person=once.person, rule_id=pk), lambda _: _to_list()))
