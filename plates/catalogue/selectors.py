"""Reads of the catalogue room."""

import re
import uuid
from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from plates.catalogue.models import Fit, Kind, Role, ScanCode
from plates.catalogue.spec_models import Slot, SlotFit, Spec
from plates.catalogue.windows import counted_frictions
from plates.lengths import INCH, LONGEST_NM, NM_PER
from plates.scan_codes import scan_parse
from shop.compiled import compiled, first

#: Where a kind names no tolerance, a reading may be off by half the way to the next size, but never by more.
WIDEST_TOLERANCE_NM = INCH // 100


def fits(shop_id: uuid.UUID) -> QuerySet[Fit]:
    return Fit.objects.filter(shop_id=shop_id)


#: So many fits with the same teeth are looked at; a shop may have thousands.
MOST_OF_THE_SAME_TEETH = 8
#: By hand, since numbers are none of the values that `compiled` puts in.
_SAME_TEETH = """
SELECT * FROM plates_fit WHERE shop_id = %s AND tooth_side = %s AND teeth = %s
 ORDER BY abs(outer_nm - %s), code LIMIT %s
"""


def fits_of_the_same_teeth(shop_id: uuid.UUID, like: Iterable[Fit]) -> list[Fit]:
    """Fits with the tooth side and teeth of one of these, these included; of each those nearest in outer diameter, and
    no more than :data:`MOST_OF_THE_SAME_TEETH`. What has no teeth is like nothing.
    """
    found: dict[uuid.UUID, Fit] = {}
    for side, teeth, outer_nm in sorted({(fit.tooth_side, fit.teeth, fit.outer_nm) for fit in like if fit.teeth}):
        values = [shop_id, side, teeth, outer_nm, MOST_OF_THE_SAME_TEETH]
        found |= {fit.pk: fit for fit in Fit.objects.raw(_SAME_TEETH, values)}
    return sorted(found.values(), key=lambda fit: fit.code)


def kinds(shop_id: uuid.UUID) -> QuerySet[Kind]:
    rows = Kind.objects.filter(shop_id=shop_id).select_related("fit", "supplier")
    return rows.prefetch_related("scan_codes", "price_breaks")


def specs(shop_id: uuid.UUID) -> QuerySet[Spec]:
    """The pack specs as they stand: of each code the current revision."""
    return specs_all(shop_id).filter(replaced_by=None)


def specs_all(shop_id: uuid.UUID) -> QuerySet[Spec]:
    """All revisions of all pack specs, with who made them and what replaced them."""
    rows = Spec.objects.filter(shop_id=shop_id).select_related("revised_by", "replaced_by__revised_by")
    return rows.prefetch_related(*STACK)


#: What reading a stack needs of its spec, to be fetched at once.
STACK = ("slots__fit", "slots__further_fits__fit")


def spec_by_code(shop_id: uuid.UUID, code: str) -> Spec | None:
    """The pack spec of this code as it stands: whoever looks one up by its code looks here."""
    return first(_specs_coded(shop_id, code))


@compiled
def _specs_coded(shop_id: uuid.UUID, code: str) -> QuerySet[Spec]:
    return Spec.objects.filter(shop_id=shop_id, code=code, replaced_by=None)


def stack_fetch(spec: Spec) -> None:
    """Fetch what :data:`STACK` names for one spec, unless it is there: as its prefetch would, in two statements."""
    if "slots" in (kept := vars(spec).setdefault("_prefetched_objects_cache", {})):
        return
    further = defaultdict(list)
    for one in _further_fits_of(spec.shop_id, spec.pk):
        further[one.slot_id].append(one)
    slots = _slots_of(spec.shop_id, spec.pk)
    for slot in slots:
        slot.spec = spec
        vars(slot)["_prefetched_objects_cache"] = {"further_fits": _fetched(slot.further_fits, further[slot.pk])}
    kept["slots"] = _fetched(spec.slots, slots)


@compiled
def _slots_of(shop_id: uuid.UUID, spec: uuid.UUID) -> QuerySet[Slot]:
    return Slot.objects.filter(shop_id=shop_id, spec=spec).select_related("fit")


@compiled
def _further_fits_of(shop_id: uuid.UUID, spec: uuid.UUID) -> QuerySet[SlotFit]:
    return SlotFit.objects.filter(shop_id=shop_id, slot__spec=spec).select_related("fit")


def _fetched(manager: Any, rows: list[Any]) -> QuerySet[Any]:
    """The query of a link, as one that was asked already."""
    query = manager.get_queryset()
    query._result_cache, query._prefetch_done = rows, True
    return query


def kind_by_code(*, shop_id: uuid.UUID, kind: str = "", scan_code: str = "") -> Kind | None:
    """The kind that a code or a scan means: a label of ours, a maker's barcode, or the kind's own code as text."""
    label = scan_parse(scan_code)
    if label:
        kind = label.code if label.sort == "kind" else ""
    if kind or label:
        return first(_kinds_coded(shop_id, kind))
    found = ScanCode.objects.filter(shop_id=shop_id, code=scan_code).select_related("kind__fit").first()
    return found.kind if found else first(_kinds_coded(shop_id, scan_code))


@compiled
def _kinds_coded(shop_id: uuid.UUID, code: str) -> QuerySet[Kind]:
    return Kind.objects.filter(shop_id=shop_id, code=code).select_related("fit")


def kinds_of(shop_id: uuid.UUID, fits: set[uuid.UUID], roles: set[str]) -> QuerySet[Kind]:
    """The catalogued kinds of these fits and roles, by nominal."""
    rows = Kind.objects.filter(shop_id=shop_id, fit_id__in=fits, role__in=roles).select_related("fit")
    return rows.order_by("nominal_nm", "code")


def siblings(kind: Kind) -> list[Kind]:
    """All kinds of the same fit and role, this one included, by nominal."""
    rows = Kind.objects.filter(shop_id=kind.shop_id, fit_id=kind.fit_id, role=kind.role)
    return list(rows.order_by("nominal_nm", "code"))


def tolerance_of(kind: Kind, row: list[Kind]) -> int:
    """How far a plate of this kind may read from its nominal, in nanometres (``row``: its :func:`siblings`)."""
    if kind.tolerance_nm is not None:
        return kind.tolerance_nm
    return min(WIDEST_TOLERANCE_NM, next_size_nm(kind, row) // 2)


def next_size_nm(kind: Kind, row: list[Kind]) -> int:
    """How far the nearest other catalogued size is, in nanometres; very far where there is none."""
    steps = (abs(other.nominal_nm - kind.nominal_nm) for other in row if other.nominal_nm != kind.nominal_nm)
    return min(steps, default=LONGEST_NM)


def nominal_tolerances(
    shop_id: uuid.UUID, wanted: set[tuple[uuid.UUID, str, int]]
) -> dict[tuple[uuid.UUID, str, int], int]:
    """Tolerance of the catalogued kinds of these (fit, role, nominal), where there are any; the widest counts."""
    fit_ids = {fit_id for fit_id, _, _ in wanted}
    rows = list(Kind.objects.filter(shop_id=shop_id, fit_id__in=fit_ids).order_by("nominal_nm", "code"))
    result: dict[tuple[uuid.UUID, str, int], int] = {}
    for kind in rows:
        key = (kind.fit_id, kind.role, kind.nominal_nm)
        if key in wanted and kind.tolerance_nm is not None:
            result[key] = max(result.get(key, 0), kind.tolerance_nm)
    return result


def spec_faces(slots: list[Slot]) -> int:
    return sum(slot.count * slot.lined_faces for slot in slots)


def spec_counted(spec: Spec) -> int | float:
    """Counted frictions of the stack."""
    return counted_frictions(spec_faces(list(spec.slots.all())))


#: What people of the trade also call things; type-ahead understands these, no label says them.
ALSO_CALLED = {
    "disc": "friction",
    "disk": "friction",
    "fiber": "friction",
    "fibre": "friction",
    "lining": "friction",
    "separator": "steel",
    "reaction": "steel",
    "backing": "pressure",
    "end": "pressure",
    "retaining": "pressure",
    "flange": "pressure",
    "cushion": "wave",
    "circlip": "snap",
}
#: Said of every role, so it tells nothing: a reaction plate, an end plate.
ALSO_SAID = ("plate", "plates")


def _words(text: str) -> list[list[str]]:
    """The words of a search, each with what else it may mean."""
    return [
        [word] + [meant for also, meant in ALSO_CALLED.items() if also in (word, word.rstrip("s"))]
        for word in text.lower().split()[:8]
        if word not in ALSO_SAID
    ]


def roles_meant(text: str) -> list[str]:
    """The roles that the words typed mean, by their own names or by what else the trade calls them."""
    words = _words(text)
    return [
        role
        for role in Role.values
        if words and all(any(len(meant) > 2 and meant.rstrip("s") in role for meant in word) for word in words)
    ]


#: A diameter as typed: with its unit, or bare, when it is inch below this and millimetres from it on.
LEAST_BARE_MM = 25
_FIGURE = re.compile(r"([0-9]{1,4})(?:\.([0-9]{1,4}))?(in|\"|mm)?")


def _measured(word: str) -> Q:
    """Fits with so many teeth, or with an outer or inner diameter that rounds to what was typed: ``36``, ``5.5``."""
    figure = _FIGURE.fullmatch(word)
    if not figure:
        return Q(pk__in=[])
    whole, part, unit = figure.groups(default="")
    in_mm = unit == "mm" or (not unit and int(whole) >= LEAST_BARE_MM)
    step_nm = (NM_PER["mm"] if in_mm else INCH) // 10 ** len(part)
    at_nm = int(whole + part) * step_nm
    near = (at_nm - step_nm // 2, at_nm + step_nm // 2)
    hit = Q(fit__outer_nm__range=near) | Q(fit__inner_nm__range=near)
    return hit if part or unit else hit | Q(fit__teeth=int(whole))


def kinds_found(shop_id: uuid.UUID, text: str) -> QuerySet[Kind]:
    """Kinds of which every word typed is part of code, fit, role, material or facing, or is its teeth or diameter."""
    found = kinds(shop_id)
    for word, *other in _words(text):
        hit = Q()
        for meant in (word, *other):
            for name in ("code", "fit__code", "role", "material", "facing"):
                hit |= Q(**{f"{name}__icontains": meant})
        found = found.filter(hit | _measured(word))
    return found


def specs_found(shop_id: uuid.UUID, text: str) -> QuerySet[Spec]:
    """Pack specs of which every word typed is part of code, title, or of a slot's name, role or fit."""
    found = specs(shop_id)
    for word in _words(text):
        hit = Q()
        for meant in word:
            slots = Slot.objects.filter(shop_id=shop_id, spec=OuterRef("pk")).filter(
                Q(name__icontains=meant) | Q(role__icontains=meant) | Q(fit__code__icontains=meant)
            )
            hit |= Q(code__icontains=meant) | Q(title__icontains=meant) | Q(Exists(slots))
        found = found.filter(hit)
    return found
