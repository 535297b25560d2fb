"""Making kinds, one or many: judged one by one, written in a few statements. What a kind costs may be set anew."""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import pairwise
from typing import NamedTuple

from plates.catalogue.models import BadFigures, Fit, Kind, PriceBreak, ScanCode, Supplier
from plates.catalogue.services import faces_check, limits_check
from plates.lengths import both
from plates.scan_codes import scan_parse
from shop.errors import CodeTaken, Refusal, refusal_of
from shop.people.models import Person
from shop.rows import plans_renew, rows_write


class Break(NamedTuple):
    """From so many plates on, ordered at once, each of them costs this."""

    from_count: int
    unit_cost: Decimal


@dataclass(frozen=True)
class KindData:
    """A kind as it is told. ``lined_faces``: None for what its role has; ``supplier``: by name, made when new."""

    code: str
    fit: Fit
    role: str
    nominal_nm: int
    lined_faces: int | None = None
    tolerance_nm: int | None = None
    reuse_minimum_nm: int | None = None
    set_of: str = ""
    mark: str = ""
    material: str = ""
    facing: str = ""
    groove: str = ""
    made_coned_nm: int | None = None
    taper_limit_nm: int | None = None
    cone_limit_nm: int | None = None
    warp_limit_nm: int | None = None
    scan_codes: Sequence[str] = ()
    supplier: str = ""
    unit_cost: Decimal | None = None
    price_breaks: Sequence[Break] = ()
    pack_size: int = 1
    lead_days: int | None = None


@dataclass
class KindsMade:
    """``made`` and ``refused`` go by the place of the kind among those told."""

    made: dict[int, Kind] = field(default_factory=dict)
    refused: dict[int, Refusal] = field(default_factory=dict)


def kind_make(*, person: Person, kind: KindData) -> Kind:
    """A new kind with its scan codes. Raises CodeTaken, BadFigures."""
    done = kinds_make(person=person, kinds=[kind])
    for refusal in done.refused.values():
        raise refusal
    return done.made[0]


def kinds_make(*, person: Person, kinds: Sequence[KindData]) -> KindsMade:
    """Many kinds; those that are not refused are written, in the transaction of the caller, who may take them back.

    A scan code belongs to the first that names it. Raises Forbidden, Busy.
    """
    person.require("catalogue")
    done = KindsMade()
    taken = _taken(person.shop_id, {code for kind in kinds for code in kind.scan_codes})
    faces: dict[int, int] = {}
    for place, kind in enumerate(kinds):
        try:
            faces[place] = _checked(kind, taken)
        except Refusal as refusal:
            done.refused[place] = refusal
        else:
            taken.update(kind.scan_codes)
    suppliers = _suppliers(person.shop_id, (kinds[place].supplier for place in faces))
    rows = {place: _row(person, kinds[place], lined, suppliers) for place, lined in faces.items()}

    def write(places: Sequence[int]) -> None:
        Kind.objects.bulk_create([rows[place] for place in places])
        plans_renew(len(places))
        ScanCode.objects.bulk_create(
            ScanCode(shop_id=person.shop_id, code=code, kind=rows[place])
            for place in places
            for code in dict.fromkeys(kinds[place].scan_codes)
        )
        PriceBreak.objects.bulk_create(
            _break(rows[place], one) for place in places for one in kinds[place].price_breaks
        )

    refused = rows_write(list(rows), write)
    done.refused |= refused
    done.made = {place: row for place, row in rows.items() if place not in refused}
    return done


def kind_price(*, person: Person, kind: Kind, unit_cost: Decimal | None, price_breaks: Sequence[Break] = ()) -> None:
    """What a plate of this kind costs from now on; orders made before keep their prices. Raises BadFigures."""
    person.require("catalogue")
    _prices_check(unit_cost, price_breaks)
    row = Kind.objects.select_for_update().get(shop_id=person.shop_id, pk=kind.pk)
    row.unit_cost = unit_cost
    row.save(update_fields=["unit_cost"])
    PriceBreak.objects.filter(shop_id=person.shop_id, kind=row).delete()
    PriceBreak.objects.bulk_create(_break(row, one) for one in price_breaks)


def _break(kind: Kind, one: Break) -> PriceBreak:
    return PriceBreak(shop_id=kind.shop_id, kind=kind, from_count=one.from_count, unit_cost=one.unit_cost)


def _prices_check(unit_cost: Decimal | None, price_breaks: Sequence[Break]) -> None:
    """Raises BadFigures where a price does not fall with the count, or one plate has none."""
    if not price_breaks:
        return
    if unit_cost is None:
        raise BadFigures(
            "Prices for more plates are given, and none for one. Give the cost of a single plate, too.",
            [("/unit_cost", "goes with price_breaks")],
        )
    steps = [Break(1, unit_cost), *sorted(price_breaks)]
    for before, after in pairwise(steps):
        if after.from_count <= before.from_count or after.unit_cost >= before.unit_cost:
            raise BadFigures(
                f"{after.unit_cost} from {after.from_count} on does not go behind {before.unit_cost} from "
                f"{before.from_count} on: each price holds from more plates on than the one before, and is lower.",
                [("/price_breaks", "fall with the count")],
            )


def _taken(shop_id: uuid.UUID, codes: set[str]) -> set[str]:
    if not codes:
        return set()
    return set(ScanCode.objects.filter(shop_id=shop_id, code__in=codes).values_list("code", flat=True))


def _checked(kind: KindData, taken: set[str]) -> int:
    """The lined faces of a kind that can be made. Raises CodeTaken, BadFigures."""
    faces = faces_check(role=kind.role, lined_faces=kind.lined_faces)
    limits_check("/", taper_limit=kind.taper_limit_nm, cone_limit=kind.cone_limit_nm, warp_limit=kind.warp_limit_nm)
    _prices_check(kind.unit_cost, kind.price_breaks)
    if kind.reuse_minimum_nm is not None and kind.reuse_minimum_nm > kind.nominal_nm:
        raise BadFigures(
            f"The reuse minimum {both(kind.reuse_minimum_nm)} is over the nominal {both(kind.nominal_nm)}.",
            [("/reuse_minimum", "is not over nominal")],
        )
    for text in kind.scan_codes:
        label = scan_parse(text)
        if label:
            raise CodeTaken(
                f"{text} is the label of {label.sort} {label.code} here. Scan the barcode that the maker put on.",
                [("/scan_codes", "holds a label of this shop")],
            )
    if not taken.isdisjoint(kind.scan_codes):
        raise refusal_of("scancode_code")
    return faces


def _suppliers(shop_id: uuid.UUID, names: Iterable[str]) -> dict[str, Supplier]:
    """The suppliers of these names, made when new: in the order of their names, so that two who make the same ones do
    not wait for each other.
    """
    wanted = {name for name in names if name}
    there = Supplier.objects.filter(shop_id=shop_id, name__in=wanted)
    if not wanted:
        return {}
    if missing := wanted - set(there.values_list("name", flat=True)):
        new = [Supplier(shop_id=shop_id, name=name) for name in sorted(missing)]
        Supplier.objects.bulk_create(new, ignore_conflicts=True)
    return {supplier.name: supplier for supplier in there.all()}


def _row(person: Person, kind: KindData, lined_faces: int, suppliers: dict[str, Supplier]) -> Kind:
    said = {**vars(kind), "lined_faces": lined_faces, "supplier": suppliers.get(kind.supplier)}
    del said["scan_codes"], said["price_breaks"]
    return Kind(shop_id=person.shop_id, **said)
