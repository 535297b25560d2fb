"""Writes of the catalogue room."""

from collections.abc import Sequence
from decimal import Decimal

from plates.catalogue.models import BadFigures, Fit, Kind, ScanCode, Supplier
from plates.lengths import both
from plates.scan_codes import scan_parse
from shop.errors import CodeTaken
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
    for text in scan_codes:
        label = scan_parse(text)
        if label:
            raise CodeTaken(
                f"{text} is the label of {label.sort} {label.code} here. Scan the barcode that the maker put on.",
                [("/scan_codes", "holds a label of this shop")],
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
