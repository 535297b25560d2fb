"""A shop for faults: bins, and a pack of two steels that most of its plates bring into the window."""

from typing import Any

from plates.catalogue.windows import Window
from plates.lengths import length_parse
from shop.people.models import Person
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory, pack
from tests.faults.model import BINS
from tests.shelves import nm

#: Reads 16 thou and wants 5 to 15: two of .077 in place of the two of .075 give 12.
ASK = {
    "spec": "PACK", "readings": ["0.0160 in"] * 3, "method": "indicator", "installed": {"steels": ["0.0750 in"] * 2},
    "accept_marginal": True,
}  # fmt: skip
CLOSES, MISSES = ({"readings": [f"{text} in"] * 3, "method": "indicator"} for text in ("0.0110", "0.0165"))


def shop_new() -> Person:
    """The owner of a fresh shop with one kind of steel, STEEL, and nothing on its shelf."""
    owner = PersonFactory.create()
    steels = FitFactory.create(shop=owner.shop)
    frictions = FitFactory.create(shop=owner.shop, tooth_side="external")
    low, high, target = (length_parse(text) for text in ("0.0050 in", "0.0150 in", "0.0100 in"))
    pack(owner, steels, frictions, count=2, window=Window("manual", low, high, target, "Bench book, page 4"))
    KindFactory.create(fit=steels, code="STEEL")
    for code, (from_nm, to_nm) in BINS.items():
        BinFactory.create(fit=steels, code=code, from_nm=from_nm, to_nm=to_nm)
    return owner


def scan(thickness_nm: int) -> dict[str, Any]:
    return {"kind": "STEEL", "readings": [nm(thickness_nm)], "confirm": True}
