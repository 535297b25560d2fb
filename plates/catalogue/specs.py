"""The writes of a pack spec: its slots, its window, the limits of its stack."""

from collections.abc import Sequence
from dataclasses import astuple, dataclass, field
from datetime import datetime
from typing import NotRequired, TypedDict, Unpack

from django.db import transaction
from django.db.models.functions import Now

from plates.catalogue.changes import changes
from plates.catalogue.hydraulics import Hydraulics, hydraulics_json
from plates.catalogue.models import BadFigures, Fit
from plates.catalogue.selectors import specs_all
from plates.catalogue.services import limits_check
from plates.catalogue.spec_models import LIFTABLE, RevisedSince, Slot, SlotFit, Spec
from plates.catalogue.windows import Window
from plates.lengths import both
from shop.errors import NotFound, Refusal
from shop.people.models import Person


class NothingChanged(Refusal):
    code, title = "nothing_changed", "Nothing was changed"


@dataclass(frozen=True)
class SlotData:
    """One slot as it is to be: ``fits`` are further proven fits of the same side and teeth."""

    name: str
    role: str
    fit: Fit
    count: int
    lined_faces: int = 0
    swap: bool = False
    extra: int = 0
    nominal_nm: int | None = None
    reuse_minimum_nm: int | None = None
    cone_limit_nm: int | None = None
    thinnest_nm: int | None = None
    thickest_nm: int | None = None
    material: str = ""
    facing: str = ""
    place: str = ""
    fits: list[Fit] = field(default_factory=list)


def _slot_limits_check(row: int, slot: SlotData) -> None:
    limits_check(
        f"/slots/{row}/",
        reuse_minimum=slot.reuse_minimum_nm,
        cone_limit=slot.cone_limit_nm,
        thinnest=slot.thinnest_nm,
        thickest=slot.thickest_nm,
    )
    if slot.thinnest_nm and slot.thickest_nm and slot.thinnest_nm > slot.thickest_nm:
        raise BadFigures(
            f"The thinnest plate of slot {slot.name!r}, {both(slot.thinnest_nm)}, is over the thickest, "
            f"{both(slot.thickest_nm)}.",
            [(f"/slots/{row}/thinnest", "is not over thickest")],
        )
    if slot.reuse_minimum_nm and slot.nominal_nm and slot.reuse_minimum_nm > slot.nominal_nm:
        raise BadFigures(
            f"The reuse minimum {both(slot.reuse_minimum_nm)} of slot {slot.name!r} is over its book size "
            f"{both(slot.nominal_nm)}.",
            [(f"/slots/{row}/reuse_minimum", "is not over nominal")],
        )


def slots_check(slots: Sequence[SlotData]) -> None:
    """Raises BadFigures when two slots share a name, a further fit cannot go on the same splines, or a hard rule of the
    trade is broken: wave plates stay, and the number of frictions with them.
    """
    names: set[str] = set()
    for row, slot in enumerate(slots):
        if slot.name in names:
            raise BadFigures(
                f"Two slots are called {slot.name!r}. Give each its own name.", [(f"/slots/{row}/name", "stands twice")]
            )
        names.add(slot.name)
        if slot.role == "wave" and (slot.swap or slot.extra):
            raise BadFigures(
                "A wave plate is never left out nor exchanged to set a clearance.",
                [(f"/slots/{row}/swap", "is false for a wave plate"), (f"/slots/{row}/extra", "is 0 for a wave plate")],
            )
        if slot.role == "friction" and slot.extra:
            raise BadFigures("The number of frictions never changes.", [(f"/slots/{row}/extra", "is 0 for frictions")])
        _slot_limits_check(row, slot)
        for column, fit in enumerate(slot.fits):
            if (fit.tooth_side, fit.teeth) != (slot.fit.tooth_side, slot.fit.teeth):
                raise BadFigures(
                    f"{fit.code} has other teeth than {slot.fit.code}: it cannot be proven for slot {slot.name!r}.",
                    [(f"/slots/{row}/fits/{column}", "has the same tooth side and tooth count as the slot's fit")],
                )


@dataclass(frozen=True)
class Convention:
    """How the manual reads the pack that its window is for; blank where it does not say."""

    wave: str = ""
    method: str = ""
    soak: str = ""
    load: str = ""


AS_READ = Convention()


@dataclass(frozen=True)
class StackLimits:
    """What the whole stack keeps to: how much its steels may differ, how high its plates may stand (all but the snap
    rings), and which rules of :data:`~plates.catalogue.spec_models.LIFTABLE` the owner may lift.
    """

    spread_nm: int | None = None
    splines_nm: int | None = None
    liftable: Sequence[str] = ()


NO_LIMITS = StackLimits()


def _stack_limits_check(slots: Sequence[SlotData], limits: StackLimits) -> None:
    for slot in slots:
        many = slot.count > 1 or slot.extra
        if limits.splines_nm is not None and slot.role == "snap_ring" and (slot.swap or slot.extra) and many:
            raise BadFigures(
                f"With splines so limited a slot of rings that change holds one ring, and {slot.name!r} does not.",
                [("/splines", "goes with slots of one snap ring each")],
            )
    if unknown := [rule for rule in limits.liftable if rule not in LIFTABLE]:
        raise BadFigures(
            f"Nobody may lift {unknown[0]!r}; what a spec may mark as liftable is {', '.join(LIFTABLE)}.",
            [("/liftable", f"is of {', '.join(LIFTABLE)}")],
        )


class Figures(TypedDict):
    """All of a pack spec but its code, as it is to be. ``wave_nm`` is (free height, flat thickness)."""

    title: str
    measures: str
    window: Window
    slots: Sequence[SlotData]
    limit_low_nm: NotRequired[int | None]
    limit_high_nm: NotRequired[int | None]
    wave_nm: NotRequired[tuple[int, int] | None]
    reads: NotRequired[Convention]
    limits: NotRequired[StackLimits]
    hydraulics: NotRequired[Hydraulics | None]
    adjustable: NotRequired[bool]
    set_only: NotRequired[bool]


def spec_make(*, person: Person, code: str, **figures: Unpack[Figures]) -> Spec:
    """A new pack spec. Raises CodeTaken, BadFigures, WindowRefused."""
    person.require("catalogue")
    return _write(Spec(shop_id=person.shop_id, code=code), **figures)


def spec_revise(
    *,
    person: Person,
    code: str,
    revision: int,
    reason: str,
    at: datetime | None = None,
    **figures: Unpack[Figures],
) -> Spec:
    """A pack spec as it is to be from now on, in place of ``revision``, which stays for what was asked and built by it.

    Raises NotFound, RevisedSince where that is no longer the current one, NothingChanged, BadFigures, WindowRefused.
    """
    person.require("catalogue")
    with transaction.atomic():
        was = _lock(person, code, revision)
        if later := was.replaced_by:
            raise RevisedSince(
                f"{code} was revised meanwhile: revision {later.revision}, by {later.revised_by}, because: "
                f"“{later.reason}”. Nothing was changed. Look at it as it stands now, and revise that.",
                [("/revision", "names the current one")],
            )
        now = Spec(
            shop_id=person.shop_id,
            code=code,
            revision=was.revision + 1,
            revised_by=person,
            revised_at=at or Now(),
            reason=reason,
        )
        # Before the new row is there: two that nothing replaces cannot share a code.
        Spec.objects.filter(shop_id=was.shop_id, pk=was.pk).update(replaced_by=now)
        made = specs_all(person.shop_id).get(pk=_write(now, **figures).pk)
        if not changes(was, made):
            raise NothingChanged(
                f"That is {code} as it stands: nothing was changed. Change what is to be otherwise, or leave it."
            )
    return made


def _lock(person: Person, code: str, revision: int) -> Spec:
    """This revision as it stands; nobody else revises it until the end of the transaction, and who asks by it does not
    wait. Raises NotFound.
    """
    rows = Spec.objects.filter(shop_id=person.shop_id, code=code, revision=revision)
    locked = rows.select_for_update(no_key=True).first()
    if locked is None:
        raise NotFound(f"There is no revision {revision} of a pack spec {code!r} in this shop.")
    # Read again with what replaced it, if it had to be waited for.
    return specs_all(person.shop_id).get(pk=locked.pk)


def _write(
    spec: Spec,
    *,
    title: str,
    measures: str,
    window: Window,
    slots: Sequence[SlotData],
    limit_low_nm: int | None = None,
    limit_high_nm: int | None = None,
    wave_nm: tuple[int, int] | None = None,
    reads: Convention = AS_READ,
    limits: StackLimits = NO_LIMITS,
    hydraulics: Hydraulics | None = None,
    adjustable: bool = True,
    set_only: bool = False,
) -> Spec:
    slots_check(slots)
    _stack_limits_check(slots, limits)
    free_nm, flat_nm = wave_nm or (None, None)
    if free_nm is not None and flat_nm is not None and free_nm <= flat_nm:
        raise BadFigures(
            f"A wave plate's free height {both(free_nm)} is not above its flat thickness {both(flat_nm)}.",
            [("/wave/free", "is above flat")],
        )
    if hydraulics and measures != "gap":
        raise BadFigures(
            "The estimates start from a clearance, and a stack height is none: leave the hydraulics out.",
            [("/hydraulics", "goes with a spec that measures a gap")],
        )
    spec.title, spec.measures = title, measures
    spec.source, spec.reference, spec.unit = window.source, window.reference, window.unit
    spec.low_nm, spec.high_nm, spec.target_nm = window.low_nm, window.high_nm, window.target_nm
    spec.limit_low_nm, spec.limit_high_nm = limit_low_nm, limit_high_nm
    spec.wave_free_nm, spec.wave_flat_nm = free_nm, flat_nm
    spec.reads_wave, spec.reads_method, spec.reads_soak, spec.reads_load = astuple(reads)
    spec.hydraulics = hydraulics_json(hydraulics) if hydraulics else None
    spec.adjustable, spec.set_only = adjustable, set_only
    spec.spread_nm, spec.splines_nm = limits.spread_nm, limits.splines_nm
    spec.liftable = list(dict.fromkeys(limits.liftable))
    spec.save(force_insert=True)
    _slots_write(spec, slots)
    return spec


def _slots_write(spec: Spec, slots: Sequence[SlotData]) -> None:
    rows = [
        Slot(
            shop_id=spec.shop_id,
            spec=spec,
            position=position,
            name=slot.name,
            role=slot.role,
            fit=slot.fit,
            count=slot.count,
            lined_faces=slot.lined_faces,
            material=slot.material,
            facing=slot.facing,
            swap=slot.swap,
            extra=slot.extra,
            nominal_nm=slot.nominal_nm,
            reuse_minimum_nm=slot.reuse_minimum_nm,
            cone_limit_nm=slot.cone_limit_nm,
            thinnest_nm=slot.thinnest_nm,
            thickest_nm=slot.thickest_nm,
            place=slot.place,
        )
        for position, slot in enumerate(slots, start=1)
    ]
    Slot.objects.bulk_create(rows)
    SlotFit.objects.bulk_create(
        SlotFit(shop_id=spec.shop_id, slot=row, fit=fit)
        for row, slot in zip(rows, slots, strict=True)
        for fit in {fit.pk: fit for fit in slot.fits}.values()
        if fit.pk != slot.fit.pk
    )


def faces_of(slots: Sequence[SlotData]) -> int:
    """Lined faces of the whole stack."""
    return sum(slot.count * slot.lined_faces for slot in slots)
