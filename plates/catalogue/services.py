"""Writes of the catalogue room: fits, and what kinds and slots share."""

from plates.catalogue.models import BadFigures, Fit
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
