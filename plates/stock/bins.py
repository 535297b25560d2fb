"""Bins: making them, and which one a plate goes into."""

from collections.abc import Sequence

from plates.catalogue.models import BadFigures, Fit, Kind
from plates.lengths import both
from plates.stock.models import Bin, BinOverlap
from shop.errors import Refusal
from shop.people.models import Person


class WrongBin(Refusal):
    code, title = "wrong_bin", "The bin is for other plates"


def bin_make(*, person: Person, code: str, fit: Fit, role: str, from_nm: int, to_nm: int) -> Bin:
    """A new bin for from_nm ≤ thickness < to_nm. Raises CodeTaken, BadFigures, BinOverlap."""
    person.require("stock")
    if from_nm >= to_nm:
        raise BadFigures(
            f"A bin spans from a smaller to a larger thickness; {both(from_nm)} is not below {both(to_nm)}.",
            [("/from", "is below to")],
        )
    overlap = Bin.objects.filter(
        shop_id=person.shop_id, fit=fit, role=role, from_nm__lt=to_nm, to_nm__gt=from_nm
    ).first()
    if overlap:
        raise BinOverlap(
            f"Bin {overlap.code} spans {both(overlap.from_nm)} to {both(overlap.to_nm)} of the same fit and role. "
            "Choose a span beside it.",
            [("/from", f"overlaps bin {overlap.code}"), ("/to", f"overlaps bin {overlap.code}")],
        )
    return Bin.objects.create(shop_id=person.shop_id, code=code, fit=fit, role=role, from_nm=from_nm, to_nm=to_nm)


def bins_of(kind: Kind) -> list[Bin]:
    """All bins for plates of this kind's fit and role."""
    return list(Bin.objects.filter(shop_id=kind.shop_id, fit_id=kind.fit_id, role=kind.role))


def bin_for(
    kind: Kind, thickness_nm: int, chosen: Bin | None = None, bins: Sequence[Bin] | None = None
) -> tuple[Bin | None, list[dict[str, str]]]:
    """The bin that spans this thickness, or the chosen one, with warnings (``bins``: those of the kind, if known).

    Raises :class:`WrongBin`.
    """
    if chosen is not None:
        if (chosen.fit_id, chosen.role) != (kind.fit_id, kind.role):
            raise WrongBin(
                f"Bin {chosen.code} is not for {kind.get_role_display()} of fit {kind.fit.code}.",
                [("/bin", "choose another")],
            )
        if chosen.from_nm <= thickness_nm < chosen.to_nm:
            return chosen, []
        text = f"{both(thickness_nm)} lies outside bin {chosen.code}, {both(chosen.from_nm)} to {both(chosen.to_nm)}."
        return chosen, [{"code": "outside_bin", "text": text}]
    for home in bins_of(kind) if bins is None else bins:
        if home.from_nm <= thickness_nm < home.to_nm:
            return home, []
    text = f"No bin of fit {kind.fit.code} spans {both(thickness_nm)}. Lay it with the unsorted plates, or make a bin."
    return None, [{"code": "no_bin", "text": text}]
