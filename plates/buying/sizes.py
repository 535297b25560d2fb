"""The sizes of the shelf as the buyer sees them: what lies there, what went, what was missed, and what to buy."""

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable
from functools import cache

from django.db.models import F, Sum

from plates.buying.demand import Counted, lying, misses, used
from plates.buying.missed import Rows, shared, wanted
from plates.buying.models import DUE, BuyRule, OrderLine
from plates.buying.one_size import Row, Size
from plates.buying.reckoning import row_reckon
from plates.buying.selectors import rules
from plates.catalogue.models import Kind, Role
from plates.stock.shelf import Bought
from plates.stock.sizes import SizeRow
from shop.people.models import Shop


def sizes(shop: Shop, *, fits: Collection[str] = (), role: str = "") -> list[Size]:
    """Every size of the shop, or of some fits (by code) and one role: catalogued, or with something in it. By fit, role
    and thickness. As many queries for a large shop as for a small one.
    """
    missed = misses(shop.pk, fits)
    # A miss is shared over what is catalogued in all of its fits, so these are looked at beside those asked for.
    looked_at = {*fits, *(span["fit"] for miss in missed for span in miss.ranges)} if fits else ()
    of_fits = {"fit__code__in": looked_at} if fits else {}
    kinds = (
        Kind.objects.filter(shop_id=shop.pk, **of_fits)
        .select_related("fit", "supplier")
        .prefetch_related("price_breaks")
        .order_by("code")
    )
    nominals: dict[Row, list[int]] = defaultdict(list)
    for kind in kinds:
        nominals[kind.fit.code, kind.role].append(kind.nominal_nm)

    @cache
    def row(fit: str, role: str) -> SizeRow:
        return SizeRow.of(nominals.get((fit, role)) or [0], shop.unit_first)

    found: dict[tuple[str, str, int], Size] = {}

    def at(fit: str, role: str, number: int) -> Size:
        if (fit, role, number) not in found:
            of = row(fit, role)
            found[fit, role, number] = Size(
                fit, role, number, of.from_nm(number), of.from_nm(number + 1), of.centre_nm(number)
            )
        return found[fit, role, number]

    def size_of(one: Counted) -> Size:
        return at(one.fit, one.role, row(one.fit, one.role).number(one.thickness_nm))

    def asked(fit: str, of_role: str) -> bool:
        return (not fits or fit in fits) and role in ("", of_role)

    owed = on_order(shop.pk)
    for kind in kinds:
        if asked(kind.fit.code, kind.role):
            size = at(kind.fit.code, kind.role, row(kind.fit.code, kind.role).number(kind.nominal_nm))
            size.kinds.append(kind)
            size.on_order += owed.get(kind.pk, 0)
    for one in lying(shop.pk, fits, role):
        size = size_of(one)
        size.on_shelf += one.plates
        size.held += one.held
    for one in used(shop.pk, fits, role):
        size_of(one).taken += one.plates
    for miss in missed:
        shares = shared(miss.ranges, nominals, row)
        for (of_fit, of_role, number), share in shares.items():
            if asked(of_fit, of_role):
                at(of_fit, of_role, number).missed += share
        if miss.waiting and (need := wanted(miss.ranges, nominals, row)):
            (of_fit, of_role, number), count = need
            if asked(of_fit, of_role):
                at(of_fit, of_role, number).waiting += count
    for size in found.values():
        size.taken = max(0, size.taken)
    _bought_by(found.values(), rules(shop.pk, fits), row)
    return sorted(found.values(), key=lambda size: (size.fit, list(Role.values).index(size.role), size.number))


def bought(shop: Shop, fits: Collection[str]) -> dict[tuple[str, str, int], Bought]:
    """What the shelf shows of the sizes of these fits, by fit, role and centre; as many queries for many as for few."""
    return {
        (one.fit, one.role, one.centre_nm): Bought(one.on_order, one.low, one.buy_below)
        for one in sizes(shop, fits=fits)
    }


def on_order(shop_id: uuid.UUID) -> dict[uuid.UUID, int]:
    """Kind → plates that sent orders still owe; one query."""
    lines = OrderLine.objects.filter(shop_id=shop_id, order__state__in=DUE, quantity__gt=F("received"))
    return dict(lines.values_list("kind").annotate(owed=Sum(F("quantity") - F("received"))).order_by())


def _bought_by(found: Iterable[Size], set_by: Iterable[BuyRule], row: Rows) -> None:
    """Give every size its rule, and reckon row by row what is bought."""
    of: dict[tuple[str, str, int | None], BuyRule] = {}
    for rule in set_by:
        key = rule.fit.code, rule.role
        of.setdefault((*key, None if rule.nominal_nm is None else row(*key).number(rule.nominal_nm)), rule)
    rows: dict[Row, list[Size]] = defaultdict(list)
    for size in found:
        size.rule = of.get((size.fit, size.role, size.number)) or of.get((size.fit, size.role, None))
        rows[size.fit, size.role].append(size)
    for some in rows.values():
        row_reckon(some)
