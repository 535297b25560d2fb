"""What came in with one batch at the counter, counted: what lies where, what lies in no bin."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from plates.stock.models import Bin, Plate, State


@dataclass
class Pile:
    """Plates of one kind and condition that lie together, and how thick they are."""

    kind: str
    condition: str
    place: str
    apart: str
    low_nm: int
    high_nm: int
    count: int = 0


def lies_in(state: str, home: Bin | None) -> str:
    """Where to lay a plate that comes in, in a word or two, once it has this state and bin."""
    if state == State.QUARANTINED:
        return "quarantine"
    return home.code if home else "no bin"


def apart_with(plate: Plate) -> str:
    """With what a plate is kept apart within its place, or nothing."""
    owner = f"plates of {plate.owner}" if plate.owner else ""
    return ", ".join(part for part in (f"box {plate.box}" if plate.box else "", owner) if part)


def tally(scanned: Sequence[Plate]) -> list[Pile]:
    """The piles of a batch, by place, thinnest first."""
    piles: dict[tuple[str, ...], Pile] = {}
    for plate in scanned:
        key = (lies_in(plate.state, plate.bin), apart_with(plate), plate.kind.code, plate.condition)
        thick_nm = plate.thickness_nm
        pile = piles.setdefault(key, Pile(key[2], key[3], key[0], key[1], thick_nm, thick_nm))
        pile.low_nm, pile.high_nm = min(pile.low_nm, thick_nm), max(pile.high_nm, thick_nm)
        pile.count += 1
    return sorted(piles.values(), key=lambda pile: (pile.low_nm, pile.place, pile.apart, pile.condition))


def unsorted(scanned: Sequence[Plate]) -> dict[str, Any] | None:
    """The plates of a batch that lie in no bin: how many, from and to."""
    loose = [plate.thickness_nm for plate in scanned if plate.bin is None and plate.state != State.QUARANTINED]
    return {"count": len(loose), "low_nm": min(loose), "high_nm": max(loose)} if loose else None
