"""What of a shop goes by what was typed, sort by sort: one bounded query a sort, whatever the shop holds."""

import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Count, F, Max, Min, Q, QuerySet
from django.db.models.functions import Now
from django.shortcuts import resolve_url
from django.utils.http import urlencode

from plates.bench.selectors import jobs, matches
from plates.catalogue.models import Fit, Kind, Role, ScanCode
from plates.catalogue.selectors import fits, kinds_found, roles_meant, specs_found
from plates.catalogue.spec_models import Spec
from plates.finding.sets import sets_lying
from plates.finding.typed import NEAR_NM, Sought
from plates.stock.models import LYING, Bin, Plate, State
from plates.stock.selectors import bins_with_contents, plates
from shop.people.models import Person

#: So many hits of one sort are shown; more are told of.
MOST = 20
#: What is looked through, in the words of the counter.
SORTS = (
    "a plate's id and mark",
    "bin",
    "job",
    "match number",
    "kind and its maker's barcode",
    "set",
    "fit",
    "pack spec",
    "person",
)


@dataclass(frozen=True)
class Hit:
    """One thing found. ``exact``: its code is what was typed, but for capitals."""

    name: str
    to: str
    exact: bool
    said: str = ""
    thickness_nm: int | None = None


@dataclass(frozen=True)
class Group:
    """The hits of one sort, and whether there are more."""

    title: str
    hits: list[Hit]
    more: bool


@dataclass(frozen=True)
class Size:
    """Plates of about one size in one bin: how many lie there, how many of them are held, from and to."""

    bin: str
    role: str
    fit: str
    lying: int
    held: int
    thinnest_nm: int
    thickest_nm: int


@dataclass(frozen=True)
class Found:
    groups: list[Group] = field(default_factory=list)
    sizes: list[Size] = field(default_factory=list)
    more_sizes: bool = False

    @property
    def straight(self) -> str:
        """Where to go at once: to the only thing of exactly this code, else to the only one found; blank for many."""
        hits = [hit for group in self.groups for hit in group.hits]
        exact = [hit for hit in hits if hit.exact] or hits
        return exact[0].to if len(exact) == 1 and not self.sizes else ""


def found(person: Person, asked: Sought) -> Found:
    """Everything that goes by what was typed; by a size alone only plates."""
    sizes = _sizes(person.shop_id, asked)
    groups = [] if asked.size_only else [look(person.shop_id, asked) for look in _LOOKS]
    return Found([group for group in groups if group.hits], sizes[:MOST], len(sizes) > MOST)


def _group(title: str, rows: QuerySet[Any], hit: Callable[[Any], Hit]) -> Group:
    some = list(rows[: MOST + 1])
    return Group(title, [hit(row) for row in some[:MOST]], len(some) > MOST)


def _is(asked: Sought, code: str) -> bool:
    return code.lower() == asked.text.lower()


def _plates(shop_id: uuid.UUID, asked: Sought) -> Group:
    marked = Q(mark__istartswith=asked.text) & ~Q(mark="")
    rows = plates(shop_id).filter(Q(pk=asked.key) if asked.key else marked)
    return _group(
        "Plates",
        rows.order_by("-id"),
        lambda plate: Hit(
            plate.mark or plate.kind.code,
            resolve_url("plate", plate.pk),
            plate.pk == asked.key or _is(asked, plate.mark),
            ", ".join([plate.kind.code, State(plate.state_now).label, *([f"bin {plate.bin}"] if plate.bin else [])]),
            plate.thickness_nm,
        ),
    )


def _bins(shop_id: uuid.UUID, asked: Sought) -> Group:
    rows = bins_with_contents(shop_id).filter(Q(code__istartswith=asked.text) | Q(role__in=roles_meant(asked.text)))
    return _group(
        "Bins",
        rows.order_by("code"),
        lambda one: Hit(one.code, resolve_url("bin", one.code), _is(asked, one.code), _contents(one)),
    )


def _contents(one: Any) -> str:
    promised = f", {one.held} promised" if one.held else ""
    return f"{_role(one)}, {one.lying} here{promised}"


def _jobs(shop_id: uuid.UUID, asked: Sought) -> Group:
    rows = jobs(shop_id).filter(code__istartswith=asked.text).order_by("-number")
    return _group("Jobs", rows, lambda one: Hit(one.code, resolve_url("job", one.code), _is(asked, one.code)))


def _matches(shop_id: uuid.UUID, asked: Sought) -> Group:
    rows = matches(shop_id).filter(number=asked.number) if asked.number is not None else matches(shop_id).none()
    rows = rows.select_related(None).select_related("spec", "job")  # the rest of a match is long
    return _group(
        "Matches",
        rows.only("number", "state", "held_until", "spec__code", "job__code"),
        lambda one: Hit(
            f"Match {one.number}",
            resolve_url("match", one.number),
            True,
            ", ".join([one.spec.code, *([f"job {one.job}"] if one.job else []), one.state_now]),
        ),
    )


def _kinds(shop_id: uuid.UUID, asked: Sought) -> Group:
    scanned = ScanCode.objects.filter(shop_id=shop_id, code=asked.text).values("kind")
    worded = kinds_found(shop_id, asked.text).values("pk")
    rows = Kind.objects.filter(Q(pk__in=scanned) | Q(pk__in=worded), shop_id=shop_id).select_related("fit")
    rows = rows.annotate(by_scan=Q(pk__in=scanned)).order_by("-by_scan", "code")
    return _group(
        "Kinds",
        rows,
        lambda one: Hit(
            one.code,
            resolve_url("kind", one.code),
            one.by_scan or _is(asked, one.code),
            _role(one),
            one.nominal_nm,
        ),
    )


def _sets(shop_id: uuid.UUID, asked: Sought) -> Group:
    rows = Kind.objects.filter(shop_id=shop_id, set_of__istartswith=asked.text).exclude(set_of="")
    codes = list(rows.order_by("set_of").values_list("set_of", flat=True).distinct()[: MOST + 1])
    lying = sets_lying(shop_id, codes[:MOST])
    hits = [Hit(code, _to_set(code), _is(asked, code), f"{one.count} here") for code, one in lying.items()]
    return Group("Sets", hits, len(codes) > MOST)


def _to_set(code: str) -> str:
    return f"{resolve_url('set')}?{urlencode({'code': code})}"


def _fits(shop_id: uuid.UUID, asked: Sought) -> Group:
    rows = fits(shop_id).filter(code__istartswith=asked.text).order_by("code")
    return _group("Fits", rows, lambda one: Hit(one.code, _to_fit(one), _is(asked, one.code), _teeth(one)))


def _to_fit(one: Fit) -> str:
    return f"{resolve_url('kinds')}?find={one.code}"


def _teeth(one: Fit) -> str:
    return f"{one.teeth} {one.get_tooth_side_display()}" if one.teeth else one.get_tooth_side_display()


def _specs(shop_id: uuid.UUID, asked: Sought) -> Group:
    rows = Spec.objects.filter(shop_id=shop_id, pk__in=specs_found(shop_id, asked.text).values("pk")).order_by("code")
    return _group(
        "Pack specs", rows, lambda one: Hit(one.code, resolve_url("spec", one.code), _is(asked, one.code), one.title)
    )


def _people(shop_id: uuid.UUID, asked: Sought) -> Group:
    rows = Person.objects.filter(shop_id=shop_id, username__istartswith=asked.text).order_by("username")
    return _group(
        "People",
        rows,
        lambda one: Hit(
            one.username, resolve_url("person", one.username), _is(asked, one.username), one.get_role_display()
        ),
    )


_LOOKS = (_plates, _bins, _jobs, _matches, _kinds, _sets, _fits, _specs, _people)


def _role(one: Bin | Kind) -> str:
    return f"{Role(one.role).label}, fit {one.fit.code}"


def _sizes(shop_id: uuid.UUID, asked: Sought) -> list[Size]:
    """Bins with plates of about the size typed, and how many; up to one more than :data:`MOST`, the fullest first."""
    if asked.size is None:
        return []
    near = (asked.size.nm - NEAR_NM, asked.size.nm + NEAR_NM)
    return by_bin(Plate.objects.filter(shop_id=shop_id, thickness_nm__range=near))[: MOST + 1]


def by_bin(rows: QuerySet[Plate]) -> list[Size]:
    """Where those of these plates lie that lie in the shop, the fullest bin first; one query when it is read."""
    held = Q(state=State.HELD, held_until__gt=Now())
    groups = (
        rows.filter(state__in=LYING)
        .values("role", where=F("bin__code"), splines=F("fit__code"))
        .annotate(
            lying=Count("pk"),
            held=Count("pk", filter=held),
            thinnest=Min("thickness_nm"),
            thickest=Max("thickness_nm"),
        )
        .order_by("-lying", "where", "splines", "role")[: MOST + 1]
    )
    return [
        Size(
            row["where"] or "",
            Role(row["role"]).label,
            row["splines"],
            row["lying"],
            row["held"],
            row["thinnest"],
            row["thickest"],
        )
        for row in groups
    ]
