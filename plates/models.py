"""All tables of the shop floor, gathered from their rooms for Django."""

from plates.bench.models import FinalCheck, Job, Match, Missed
from plates.buying.claim_models import Claim
from plates.buying.models import BuyRule, Order, OrderLine, OrderSet
from plates.catalogue.models import Fit, Kind, ScanCode, Supplier
from plates.catalogue.spec_models import Slot, SlotFit, Spec
from plates.measuring.models import Gauge, GaugeCheck, GaugeStudy
from plates.stock.count_models import BinCount
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Bin, HandOut, Lot, Plate

__all__ = [
    "Bin", "BinCount", "BuyRule", "Claim", "FinalCheck", "Fit", "Gauge", "GaugeCheck", "GaugeStudy", "HandOut", "Job",
    "Kind", "LedgerLine", "Lot", "Match", "Missed", "Order", "OrderLine", "OrderSet", "Plate", "ScanCode", "Slot",
    "SlotFit", "Spec", "Supplier",
]  # fmt: skip
