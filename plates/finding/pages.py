"""*Find* at the counter, and the pages that it leads to. Everything is read only: anybody of the shop may."""

import uuid
from collections.abc import Callable
from typing import Any

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_GET

from plates.bench.selectors import jobs
from plates.bench.shown import USUAL_CAUTIONS
from plates.catalogue.selectors import kinds
from plates.finding.doings import LINES, PACKS, lines_of, packs_of
from plates.finding.hits import MOST, SORTS, Found, by_bin, found
from plates.finding.job_file import job_file
from plates.finding.sets import set_lying
from plates.finding.typed import NEAR_NM, Sought, sought
from plates.stock.models import Plate
from plates.stock.selectors import bins
from shop.people.models import Person
from shop.rows import id_of
from shop.web import PageRequest, key_new, page, shown


@require_GET
@page
def find(request: PageRequest) -> HttpResponse:
    """One thing: straight to its page. Several: a list by sort. None: what was tried, and how to go on."""
    asked = sought(request.GET.get("q", ""), request.user.shop.unit_first)
    if asked.label:
        return redirect(asked.label.sort, asked.label.code) if _there(request.user, asked) else _shown(request, asked)
    result = found(request.user, asked) if asked.text else Found()
    if result.straight:
        return redirect(result.straight)
    return _shown(request, asked, result)


def _there(person: Person, asked: Sought) -> bool:
    """Whether this shop has what the label names."""
    assert asked.label is not None
    sort, code = asked.label
    if sort == "order":  # what orders there are is known further up; their own page says when there is none
        return code.isdecimal()
    if sort == "transfer":  # sent from here, or by another shop: its address knows the way of both
        return id_of(code) is not None
    rows: dict[str, Callable[[uuid.UUID], QuerySet[Any]]] = {"bin": bins, "kind": kinds, "job": jobs}
    return rows[sort](person.shop_id).filter(code=code).exists()


def _shown(request: PageRequest, asked: Sought, result: Found | None = None) -> HttpResponse:
    context = {"asked": asked, "found": result or Found(), "sorts": SORTS, "near_nm": NEAR_NM, "most": MOST}
    context["badge"] = "badge" in request.GET
    return shown(request, "plates/found.html", context)


@require_GET
@page
def kind(request: PageRequest, code: str) -> HttpResponse:
    """A kind, and where plates of it lie."""
    one = kinds(request.user.shop_id).filter(code=code).first()
    if one is None:
        raise Http404(f"No kind has the code {code!r}.")
    lying = by_bin(Plate.objects.filter(shop_id=request.user.shop_id, fit=one.fit_id, role=one.role, kind=one))
    of_set = set_lying(request.user.shop_id, one.set_of)
    context = {"kind": one, "sizes": lying[:MOST], "more": len(lying) > MOST, "set": of_set}
    return shown(request, "plates/kind.html", context)


@require_GET
@page
def one_set(request: PageRequest) -> HttpResponse:
    """A set, and how much of it lies here. What a set is called may hold any letter, so it is no part of the path."""
    code = request.GET.get("code", "")
    found = set_lying(request.user.shop_id, code)
    if found is None:
        raise Http404(f"No kind is of a set {code!r}.")
    return shown(request, "plates/set.html", {"set": found, "key": key_new()})


@require_GET
@page
def job(request: PageRequest, code: str) -> HttpResponse:
    """The file of a job, to read and to print."""
    one = jobs(request.user.shop_id).filter(code=code).first()
    if one is None:
        raise Http404(f"No job has the code {code!r}.")
    return shown(request, "plates/job.html", {"job": one, "packs": job_file(one), "usual": USUAL_CAUTIONS})


@require_GET
@page
def person(request: PageRequest, username: str) -> HttpResponse:
    """What somebody did of late."""
    one = Person.objects.filter(shop_id=request.user.shop_id, username=username).first()
    if one is None:
        raise Http404(f"Nobody here has the name {username!r}.")
    lines = Paginator(lines_of(one), 50).get_page(request.GET.get("page"))
    context = {"person": one, "lines": lines, "packs": packs_of(one)[:MOST]}
    context |= {"of_lines": LINES, "of_packs": PACKS}
    return shown(request, "plates/person.html", context)
