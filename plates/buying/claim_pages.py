"""Claims at the desk: what is to be claimed on whom, as a list, on paper and as a file, and what became of it."""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import resolve_url
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_POST

from plates.buying import selectors
from plates.buying.claim_models import Claim, ClaimState
from plates.buying.claims import WAYS, claims_settle, order_claim
from plates.buying.pages import csv_of, order_or_404
from plates.lengths import length_json
from shop.errors import Malformed
from shop.once import Answer, Once
from shop.rows import id_of
from shop.web import PageRequest, act, forbidden, key_new, page, shown

COLUMNS = ("order", "kind", "role", "why", "thickness_mm", "nominal_mm", "tolerance_mm", "thickness_in", "nominal_in",
           "tolerance_in", "state", "note")  # fmt: skip
#: So many stand on the page at once; the file has all of them.
MOST = 300


def _asked(request: PageRequest) -> tuple[QuerySet[Claim], dict[str, str]]:
    """The claims that an address asks for, and what it asks: state (open unless said), supplier, order."""
    said = {name: request.GET.get(name, "").strip() for name in ("state", "supplier", "order")}
    said["state"] = said["state"] if said["state"] in ClaimState.values else ClaimState.OPEN.value
    rows = selectors.claims(request.user.shop_id).filter(state=said["state"])
    if said["supplier"]:
        rows = rows.filter(plate__order_line__order__supplier__name=said["supplier"])
    if said["order"].isascii() and said["order"].isdigit() and len(said["order"]) < 16:
        rows = rows.filter(plate__order_line__order__number=int(said["order"]))
    return rows, {name: text for name, text in said.items() if text}


@require_GET
@page
def claims(request: PageRequest) -> HttpResponse:
    """The open ones, or those of a state; of one supplier or order where the address says so."""
    rows, said = _asked(request)
    listed = list(rows[: MOST + 1])
    context = {
        "claims": listed[:MOST],
        "more": len(listed) > MOST,
        "said": said,
        "query": urlencode(said),
        "elsewhere": urlencode({name: text for name, text in said.items() if name != "state"}),
        "states": ClaimState.choices,
        "ways": WAYS.get(ClaimState(said["state"]), ()),
        "suppliers": sorted({str(claim.plate.order_line.order.supplier) for claim in listed if claim.plate.order_line}),
        "forbidden": forbidden(request.user, "buying"),
        "key": key_new(),
    }
    return shown(request, "plates/claims.html", context)


@require_GET
@page
def claims_csv(request: PageRequest) -> HttpResponse:
    """The same claims as a file for their supplier."""
    return csv_of("claims.csv", COLUMNS, (_row(claim) for claim in _asked(request)[0]))


def _row(claim: Claim) -> dict[str, Any]:
    kind, line = claim.plate.kind, claim.plate.order_line
    row = {"order": line.order.number if line else "", "kind": kind.code, "role": kind.role, "why": claim.why}
    lengths = {"thickness": claim.thickness_nm, "nominal": kind.nominal_nm, "tolerance": claim.tolerance_nm}
    for name, length_nm in lengths.items():
        said = length_json(length_nm)
        row |= {f"{name}_mm": said["mm"], f"{name}_in": said["in"]}
    return row | {"state": claim.get_state_display(), "note": claim.note}


@require_POST
@page
def settle(request: PageRequest) -> HttpResponse:
    """Say what became of the claims that are ticked."""
    back = f"{resolve_url('claims')}?{urlencode(_asked(request)[1])}"
    return act(request, lambda once: once.run(lambda: _settle(request, once), lambda _: Answer(303, {"to": back})))


def _settle(request: PageRequest, once: Once) -> object:
    named = request.POST.getlist("claim")
    ids = [key for key in map(id_of, named) if key]
    if len(ids) < len(named):
        raise Malformed("That names no claim. Tick some of the list.")
    state = request.POST.get("state", "")
    if not ids or state not in ClaimState.values:
        raise Malformed("Tick the claims that are settled, and say what became of them.")
    note = request.POST.get("note", "").strip()[:500]
    return claims_settle(person=once.person, claim_ids=ids, state=state, note=note, made_key=once.made_key)


@require_POST
@page
def claim_order(request: PageRequest, number: int) -> HttpResponse:
    """Claim what was set aside since it came with this order."""
    found = order_or_404(request, number)
    to = Answer(303, {"to": resolve_url("order", number)})
    return act(request, lambda once: once.run(lambda: order_claim(person=once.person, order_id=found.pk), lambda _: to))
