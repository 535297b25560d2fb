"""A set, and how much of it lies on the shelf: as "5 of 6"."""

import uuid
from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Count, Q
from django.db.models.functions import Now

from plates.catalogue.models import Kind
from plates.catalogue.sets import SetCount, pieces_of, set_count
from plates.stock.models import LYING, Plate, State


@dataclass(frozen=True)
class Piece:
    """How many of one kind of a set lie in the shop, held ones included."""

    kind: Kind
    lying: int
    held: int


@dataclass(frozen=True)
class SetLying:
    code: str
    pieces: list[Piece]

    @property
    def count(self) -> SetCount:
        return set_count((piece.kind, piece.lying) for piece in self.pieces)

    @property
    def supplier(self) -> str:
        """Whom all of its kinds are bought of; blank where that is not one."""
        names = {str(piece.kind.supplier or "") for piece in self.pieces}
        return names.pop() if len(names) == 1 else ""


def sets_lying(shop_id: uuid.UUID, codes: Collection[str]) -> dict[str, SetLying]:
    """These sets by their code, those that some kind is of; two queries for any number."""
    found = pieces_of(shop_id, codes)
    kinds = [kind for some in found.values() for kind in some]
    rows = Plate.objects.filter(shop_id=shop_id, kind__in=kinds, state__in=LYING, owner="").values("kind").order_by()
    held = Count("pk", filter=Q(state=State.HELD, held_until__gt=Now()))
    lying = {row["kind"]: (row["lying"], row["held"]) for row in rows.annotate(lying=Count("pk"), held=held)}
    return {
        code: SetLying(code, [Piece(kind, *lying.get(kind.pk, (0, 0))) for kind in some])
        for code, some in found.items()
    }


def set_lying(shop_id: uuid.UUID, code: str) -> SetLying | None:
    """None where no kind is of this set."""
    return sets_lying(shop_id, [code]).get(code)
