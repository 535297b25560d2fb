"""Writes of the catalogue room."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from plates.catalogue.hydraulics import Hydraulics, hydraulics_json
from plates.catalogue.models import BadFigures, Fit, Kind, ScanCode, Slot, SlotFit, Spec, Supplier
from plates.catalogue.windows import Window
from plates.lengths import both
from shop.people.models import Person


def fit_make(
    *,
    person: Person,
    code: str,
    tooth_side: str,
    teeth: int,
    outer_nm: int,
    inner_nm: int,
    tooth_form: str = "",
    index: str = "",
    oil_holes: str = "",
) -> Fit:
    """A new fit. Raises CodeTaken, BadFigures."""
    person.require("catalogue")
    if (teeth == 0) != (tooth_side == "none"):
        raise BadFigures(
            "A fit has 0 teeth exactly when its tooth side is none.", [("/teeth", "does not go with tooth_side")]
        )
    if inner_nm >= outer_nm:
        raise BadFigures(
            f"The inner diameter {both(inner_nm)} is not below the outer one {both(outer_nm)}.",
            [("/inner", "is below outer")],
        )
    return Fit.objects.create(
        shop_id=person.shop_id,
        code=code,
        tooth_side=tooth_side,
        teeth=teeth,
        outer_nm=outer_nm,
        inner_nm=inner_nm,
        tooth_form=tooth_form,
        index=index,
        oil_holes=oil_holes,
    )


def faces_check(*, role: str, lined_faces: int | None, pointer: str = "/lined_faces") -> int:
    """Lined faces of a plate of this role: a friction has 1 or 2 (2 unless said), anything else none."""
    if role == "friction":
        faces = 2 if lined_faces is None else lined_faces
        if faces not in (1, 2):
            raise BadFigures("A friction is lined on 1 or 2 faces.", [(pointer, "is 1 or 2")])
        return faces
    if lined_faces:
        raise BadFigures("Only a friction is lined.", [(pointer, "is 0 for this role")])
    return 0


def limits_check(at: str, **limits_nm: int | None) -> None:
    """Raises BadFigures when a limit is given that is not above zero; ``at``: the pointer that leads to its name."""
    for name, limit_nm in limits_nm.items():
        if limit_nm is not None and limit_nm <= 0:
            raise BadFigures("A limit is above zero, or left out.", [(f"{at}{name}", "is above zero")])


def kind_make(
    *,
    person: Person,
    code: str,
    fit: Fit,
    role: str,
    nominal_nm: int,
    lined_faces: int | None = None,
    tolerance_nm: int | None = None,
    reuse_minimum_nm: int | None = None,
    set_of: str = "",
    mark: str = "",
    material: str = "",
    facing: str = "",
    groove: str = "",
    made_coned_nm: int | None = None,
    taper_limit_nm: int | None = None,
    cone_limit_nm: int | None = None,
    warp_limit_nm: int | None = None,
    scan_codes: Sequence[str] = (),
    supplier: str = "",
    unit_cost: Decimal | None = None,
    pack_size: int = 1,
    lead_days: int | None = None,
) -> Kind:
    """A new kind with its scan codes; its supplier is made when new. Raises CodeTaken, BadFigures."""
    person.require("catalogue")
    faces = faces_check(role=role, lined_faces=lined_faces)
    limits_check("/", taper_limit=taper_limit_nm, cone_limit=cone_limit_nm, warp_limit=warp_limit_nm)
    if reuse_minimum_nm is not None and reuse_minimum_nm > nominal_nm:
        raise BadFigures(
            f"The reuse minimum {both(reuse_minimum_nm)} is over the nominal {both(nominal_nm)}.",
            [("/reuse_minimum", "is not over nominal")],
        )
    shop_id = person.shop_id
    kind = Kind.objects.create(
        shop_id=shop_id,
        code=code,
        fit=fit,
        role=role,
        lined_faces=faces,
        nominal_nm=nominal_nm,
        tolerance_nm=tolerance_nm,
        reuse_minimum_nm=reuse_minimum_nm,
        set_of=set_of,
        mark=mark,
        material=material,
        facing=facing,
        groove=groove,
        made_coned_nm=made_coned_nm,
        taper_limit_nm=taper_limit_nm,
        cone_limit_nm=cone_limit_nm,
        warp_limit_nm=warp_limit_nm,
        supplier=Supplier.objects.get_or_create(shop_id=shop_id, name=supplier)[0] if supplier else None,
        unit_cost=unit_cost,
        pack_size=pack_size,
        lead_days=lead_days,
    )
    ScanCode.objects.bulk_create(
        [ScanCode(shop_id=shop_id, code=text, kind=kind) for text in dict.fromkeys(scan_codes)]
    )
    return kind


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
    material: str = ""
    facing: str = ""
    place: str = ""
    fits: list[Fit] = field(default_factory=list)


def _slot_limits_check(row: int, slot: SlotData) -> None:
    limits_check(f"/slots/{row}/", reuse_minimum=slot.reuse_minimum_nm, cone_limit=slot.cone_limit_nm)
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


def spec_make(
    *,
    person: Person,
    code: str,
    title: str,
    measures: str,
    window: Window,
    slots: Sequence[SlotData],
    limit_low_nm: int | None = None,
    limit_high_nm: int | None = None,
    wave_nm: tuple[int, int] | None = None,
    reads: Convention = AS_READ,
    hydraulics: Hydraulics | None = None,
    adjustable: bool = True,
    set_only: bool = False,
) -> Spec:
    """A new pack spec. ``wave_nm`` is (free height, flat thickness). Raises CodeTaken, BadFigures, WindowRefused."""
    person.require("catalogue")
    slots_check(slots)
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
    shop_id = person.shop_id
    spec = Spec.objects.create(
        shop_id=shop_id,
        code=code,
        title=title,
        measures=measures,
        source=window.source,
        low_nm=window.low_nm,
        high_nm=window.high_nm,
        target_nm=window.target_nm,
        reference=window.reference,
        unit=window.unit,
        limit_low_nm=limit_low_nm,
        limit_high_nm=limit_high_nm,
        wave_free_nm=free_nm,
        wave_flat_nm=flat_nm,
        reads_wave=reads.wave,
        reads_method=reads.method,
        reads_soak=reads.soak,
        reads_load=reads.load,
        hydraulics=hydraulics_json(hydraulics) if hydraulics else None,
        adjustable=adjustable,
        set_only=set_only,
    )
    rows = [
        Slot(
            shop_id=shop_id,
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
            place=slot.place,
        )
        for position, slot in enumerate(slots, start=1)
    ]
    Slot.objects.bulk_create(rows)
    SlotFit.objects.bulk_create(
        SlotFit(shop_id=shop_id, slot=row, fit=fit)
        for row, slot in zip(rows, slots, strict=True)
        for fit in {fit.pk: fit for fit in slot.fits}.values()
        if fit.pk != slot.fit.pk
    )
    return spec


def faces_of(slots: Sequence[SlotData]) -> int:
    """Lined faces of the whole stack."""
    return sum(slot.count * slot.lined_faces for slot in slots)
