"""The content of a demo shop without what may differ from load to load: ids, and the day of the load."""

from datetime import datetime
from typing import Any

from plates.bench.models import Match
from plates.buying.models import BuyRule, Order
from plates.catalogue.models import Kind
from plates.catalogue.spec_models import Spec
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Bin, Lot, Plate
from shop.people.models import Person, Shop

Rows = list[tuple[Any, ...]]

FINAL = ("method", "readings", "clearance_nm", "predicted_nm", "u_nm", "residual_nm", "in_window")
FORGET = {"plate", "revision", "at", "person", "match", "until"}


def content(shop: Shop, now: datetime) -> dict[str, Rows]:
    """Rows by name, sorted; dates as seconds before ``now``."""

    def ago(at: datetime | None) -> float | None:
        return None if at is None else (now - at).total_seconds()

    def plain(value: Any) -> Any:
        """Options, shortfalls, slips and finals without the ids and dates in them."""
        if isinstance(value, dict):
            return {name: plain(inner) for name, inner in value.items() if name not in FORGET}
        return [plain(inner) for inner in value] if isinstance(value, list) else value

    mine: dict[str, Any] = {"shop": shop}
    plates = Plate.objects.filter(**mine).select_related("kind", "bin", "match", "job", "lot")
    lines = LedgerLine.objects.filter(**mine).select_related("plate__kind", "bin", "match", "job", "person")
    found: dict[str, Rows] = {
        "people": [(p.username, p.role) for p in Person.objects.filter(**mine)],
        "kinds": list(Kind.objects.filter(**mine).values_list("code", "fit__code", "nominal_nm", "scan_codes__code")),
        "specs": list(Spec.objects.filter(**mine).values_list("code", "low_nm", "high_nm", "slots__name")),
        "bins": list(Bin.objects.filter(**mine).values_list("code", "fit__code", "role", "from_nm", "to_nm")),
        "lots": [
            (lot.kind.code, lot.count, lot.measured, lot.mean_nm, lot.spread_nm, ago(lot.received_at))
            for lot in Lot.objects.filter(**mine).select_related("kind")
        ],
        "plates": [
            (
                *(p.kind.code, p.thickness_nm, p.spread_nm, p.u_nm, p.state, p.revision, p.condition, p.source),
                *(p.owner, p.box, p.mark, p.gauge, p.bin and p.bin.code, p.match and p.match.number),
                *(p.job and p.job.code, p.lot and p.lot.mean_nm, ago(p.held_until), ago(p.received_at)),
            )
            for p in plates
        ],
        "orders": [
            (o.number, o.supplier.name, o.state, ago(o.made_at), ago(o.sent_at), o.due and (now.date() - o.due).days)
            for o in Order.objects.filter(**mine).select_related("supplier")
        ],
        "rules": list(BuyRule.objects.filter(**mine).values_list("fit__code", "role", "order_cost", "holding_share")),
        "ledger": [
            (
                *(line.plate.kind.code, line.seq, line.delta, line.balance, line.act, line.state, line.thickness_nm),
                *(line.bin and line.bin.code, line.match and line.match.number, line.job and line.job.code),
                *(line.readings, line.reason, line.person.username, ago(line.at)),
            )
            for line in lines
        ],
        "matches": [
            (
                *(m.number, m.job and (m.job.number, m.job.code, ago(m.job.opened_at)), m.spec.code),
                *(m.state, m.verdict),
                *(m.readings, plain(m.question), plain(m.options), plain(m.shortfall), m.cautions, plain(m.slip)),
                *(list(m.final_checks.values_list(*FINAL)), m.residual_nm, m.option_taken, plain(m.built)),
                *(ago(m.asked_at), ago(m.taken_at), ago(m.closed_at), ago(m.held_until)),
            )
            for m in Match.objects.filter(**mine).select_related("spec", "job")
        ],
    }
    return {name: sorted(rows, key=repr) for name, rows in found.items()}
