"""The note that goes with plates to another shop of ours: what was sent, and the label to book it by."""

from collections import Counter
from dataclasses import dataclass

from django.http import Http404, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.views.decorators.http import require_GET

from plates.catalogue.models import Kind
from plates.labels.contents import transfer_content
from plates.labels.layout import label_of
from plates.labels.sheets import SINGLES
from plates.labels.svg import label_svg
from plates.stock.ledger_models import Act, LedgerLine
from plates.stock.models import HandOut, Reason
from plates.stock.selectors import hand_outs
from shop.rows import id_of
from shop.web import PageRequest, page, shown


@dataclass(frozen=True)
class Sent:
    """So many plates alike."""

    kind: Kind
    thickness_nm: int
    count: int


@require_GET
@page
def transfer(request: PageRequest, pk: str) -> HttpResponse:
    """The note in the shop that sent them; to any other shop the label means what came: *Scan in* by this transfer."""
    key = id_of(pk)
    if key is None:
        raise Http404("That is not the key of a transfer.")
    made = hand_outs(request.user.shop_id).filter(pk=key).first()
    if made is None:
        return redirect(f"{resolve_url('scan-start')}?transfer={key}")
    if made.reason != Reason.TRANSFER:
        raise Http404("These plates were not sent to another shop.")
    rows = _sent(made)
    count = sum(row.count for row in rows)
    label = label_svg(label_of(transfer_content(made, count), SINGLES["100x50"]))
    context = {"made": made, "rows": rows, "count": count, "label": label}
    return shown(request, "plates/transfer.html", context)


def _sent(made: HandOut) -> list[Sent]:
    """What left, as it was read then."""
    lines = LedgerLine.objects.filter(shop_id=made.shop_id, hand_out=made, act=Act.HANDED_OUT)
    alike = Counter((line.plate.kind, line.thickness_nm) for line in lines.select_related("plate__kind__fit"))
    rows = [Sent(kind, thickness_nm, count) for (kind, thickness_nm), count in alike.items()]
    return sorted(rows, key=lambda row: (row.kind.code, row.thickness_nm))
