"""Sets: kinds that are sold together, as a set of selective rings, one of each kind to a set."""

import uuid
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from plates.catalogue.models import Kind


@dataclass(frozen=True)
class SetCount:
    """How many sets of ``of`` pieces are whole, and what there is of the one after them: ``there``, and the kinds that
    are ``missing`` of it.
    """

    whole: int
    there: int
    of: int
    missing: tuple[Kind, ...]

    def __str__(self) -> str:
        begun = f"{self.there} of {self.of}"
        if not self.whole:
            return begun
        return f"{self.whole} whole, and {begun}" if self.there else f"{self.whole} whole"


def set_count(pieces: Iterable[tuple[Kind, int]]) -> SetCount:
    """The sets that so many pieces of each kind make."""
    counted = list(pieces)
    whole = min((count for _, count in counted), default=0)
    missing = tuple(kind for kind, count in counted if count == whole)
    return SetCount(whole, len(counted) - len(missing), len(counted), missing)


def pieces_of(shop_id: uuid.UUID, codes: Collection[str]) -> dict[str, list[Kind]]:
    """The kinds that each of these sets is made of, the thinnest first; a code that names no set is not there."""
    found: dict[str, list[Kind]] = {}
    rows = Kind.objects.filter(shop_id=shop_id, set_of__in=[code for code in codes if code]).select_related("fit")
    for kind in rows.prefetch_related("price_breaks").order_by("set_of", "nominal_nm", "code"):
        found.setdefault(kind.set_of, []).append(kind)
    return found
