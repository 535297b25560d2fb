"""A batch at the counter: the plates that one person scans in one after the other, and what stays between them.

A batch is known by a time-ordered key in its address, so two tabs scan two batches, and nothing of it is stored.
"""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from urllib.parse import urlencode

from django.shortcuts import resolve_url

from plates.catalogue.models import Kind
from plates.stock.models import Condition
from shop.people.badges import is_badge
from shop.rows import id_of, uuid7

#: What is said once and holds for every plate after it.
STAYS = ("gauge", "agreed_by", "box", "owner", "bin", "order", "transfer")


@dataclass(frozen=True)
class Batch:
    """``gauge``, ``agreed_by``, ``box``, ``owner``, the chosen ``bin``, the number of the ``order`` or the key of the
    ``transfer`` that they came with stay as they were said; cone, warp and hot spot are of one plate and do not.
    """

    kind: Kind
    key: uuid.UUID
    condition: str = Condition.NEW
    gauge: str = ""
    agreed_by: str = ""
    box: str = ""
    owner: str = ""
    bin: str = ""
    order: str = ""
    transfer: str = ""

    @classmethod
    def of(cls, kind: Kind, sent: Mapping[str, str]) -> "Batch":
        """The batch of a form or an address; a new one where none is named. What else stays is read either way."""
        key = batch_key(sent.get("batch", "")) or uuid7()
        said = {name: sent.get(name, "").strip()[:200] for name in STAYS}
        kept = {name: "" if is_badge(text) else text for name, text in said.items()}  # its field says why
        kept["transfer"] = str(id_of(kept["transfer"]) or "")
        return cls(kind, key, sent.get("condition", "") or Condition.NEW, **kept)

    @property
    def kept(self) -> dict[str, str]:
        """What every form and address of the batch carries."""
        fields = {"batch": str(self.key), "condition": self.condition}
        fields |= {name: getattr(self, name) for name in STAYS}
        return {name: value for name, value in fields.items() if value}

    def of_kind(self, kind: Kind) -> "Batch":
        """A new batch of another kind; what stays does, but for the bin."""
        return Batch.of(kind, {**self.kept, "batch": "", "bin": ""})

    def without_order(self) -> "Batch":
        return replace(self, order="")

    @property
    def stays(self) -> str:
        """All that stays, to see whether a form changed any of it."""
        return "\n".join(getattr(self, name) for name in STAYS)

    def address(self, **more: str) -> str:
        return f"{resolve_url('scan-in', self.kind.code)}?{urlencode({**self.kept, **more})}"

    @property
    def began(self) -> datetime:
        """When it began: it stands in its key."""
        return _began(self.key)


def batch_key(text: str) -> uuid.UUID | None:
    """The key named in an address, or None when it is not one of a batch."""
    try:
        key = uuid.UUID(text)
        _began(key)
    except (ValueError, OverflowError):
        return None
    return key if key.version == 7 else None


def _began(key: uuid.UUID) -> datetime:
    return datetime.fromtimestamp((key.int >> 80) / 1000, UTC)
