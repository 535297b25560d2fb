"""All tables of the shop floor, gathered from their rooms for Django."""

from plates.bench.models import Job, Match
from plates.catalogue.models import Fit, Kind, ScanCode, Slot, SlotFit, Spec, Supplier
from plates.stock.models import Bin, HandOut, LedgerLine, Lot, Plate

__all__ = [
    "Bin", "Fit", "HandOut", "Job", "Kind", "LedgerLine", "Lot", "Match", "Plate", "ScanCode", "Slot", "SlotFit",
    "Spec", "Supplier",
]  # fmt: skip
