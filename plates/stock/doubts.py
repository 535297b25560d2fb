"""A scan that a person has to decide on: what it may have been meant as, each way to go on a form to press."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.shortcuts import resolve_url

from plates.stock.batches import Batch
from plates.stock.deliveries import NotDue
from plates.stock.plausible import Implausible
from shop.forms import other_unit

#: What is said of one plate beside its reading, and has to be said again when the form is offered in another way.
OF_ONE = ("cone", "warp", "hot_spot", "confirm", "over")


def meant_as(texts: Sequence[str], refusal: Implausible) -> str:
    """The reading in the other unit, where that is plausible; blank where it is not."""
    if not (refusal.more.get("would_be") or {}).get("plausible"):
        return ""
    return " ".join(other_unit(text) for text in texts)


def doubt(batch: Batch, sent: Mapping[str, str], texts: Sequence[str], refusal: Implausible | NotDue) -> dict[str, Any]:
    """``sent``: the form as it was; ``texts``: its reading, point by point with units."""
    said = {name: sent[name] for name in ("reading", "by", *OF_ONE) if sent.get(name)}
    kept = {**said, **batch.kept}
    here = resolve_url("scan-in", batch.kind.code)
    ways: list[dict[str, Any]] = []
    if isinstance(refusal, NotDue):
        if refusal.may_confirm:
            ways.append({"text": "It came too: count it", "to": here, "fields": {**kept, "over": "on"}, "grave": True})
        loose = {**said, **batch.without_order().kept}
        ways.append({"text": "Book it without the order", "to": here, "fields": loose})
        return {"detail": refusal.detail, "ways": ways}
    if meant := meant_as(texts, refusal):
        ways.append({"text": f"It is {meant}", "to": here, "fields": {**kept, "reading": meant}})
    for may_be in refusal.more.get("may_be", []):
        to = resolve_url("scan-in", may_be["kind"])
        ways.append({"text": f"It is a {may_be['kind']}", "to": to, "fields": kept})
    as_it_is = {"text": f"Book {' '.join(texts)} as it is", "to": here, "fields": {**kept, "confirm": "on"}}
    ways.append({**as_it_is, "grave": True})
    return {"detail": refusal.detail, "ways": ways}
