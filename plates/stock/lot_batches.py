"""A lot at the counter while it is being read: how many plates were delivered, and which of them were measured.

Like a batch it is known by its address alone, so nothing of it is booked or kept before all of it is.
"""

import re
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from urllib.parse import urlencode

from django.shortcuts import resolve_url

from plates.lengths import LengthError, mean_nm
from plates.stock.batches import Batch, batch_key
from plates.stock.findings import Reading
from plates.stock.forms import reading_typed
from plates.stock.lots import LOT_RANGE_NM, LOT_READ
from shop.forms import readings_said
from shop.rows import uuid7

#: So many plates are one lot at the counter: what is read of them has to stand in an address, where each takes six
#: characters, and there is room for so many.
LEAST, MOST, LONGEST = 2, 300, 2_000
#: Between the plates read.
_APART = "~"


@dataclass(frozen=True)
class LotBatch:
    """``count``: 0 while nobody has said it; ``typed``: what was typed of each plate read, a bare figure in the sense
    of ``unit_first``, which goes along: the shop's may change before all of them are read; ``sure``: an implausible
    one was confirmed; ``zero_nm``: what the gauge shows too much.

    ``key`` stays the same from the first page of the lot on, so that going back to it books nothing a second time.
    """

    batch: Batch
    key: uuid.UUID
    count: int
    typed: tuple[str, ...]
    sure: bool
    unit_first: str
    zero_nm: int

    @classmethod
    def of(cls, batch: Batch, sent: Mapping[str, str], *, unit_first: str, zero_nm: int) -> "LotBatch":
        """The lot of a form or an address; what of it cannot be read begins anew. Where it names no unit,
        ``unit_first`` is that of its figures.
        """
        count = sent.get("count", "")
        typed = tuple(part for part in sent.get("read", "")[:LONGEST].split(_APART) if part)
        lot = cls(
            batch=batch,
            key=batch_key(sent.get("lot", "")) or uuid7(),
            count=int(count) if re.fullmatch("[0-9]{1,3}", count) and LEAST <= int(count) <= MOST else 0,
            typed=typed,
            sure=sent.get("sure") == "on",
            unit_first=sent["unit"] if sent.get("unit") in ("in", "mm") and typed else unit_first,
            zero_nm=zero_nm,
        )
        try:
            fits = len(lot.measured_nm) <= lot.count
        except LengthError:
            fits = False
        return lot if fits else replace(lot, typed=())

    @cached_property
    def readings(self) -> list[Reading]:
        """As the gauge showed them, one a plate. Raises LengthError."""
        return [reading_typed(readings_said(text, self.unit_first)) for text in self.typed]

    @cached_property
    def measured_nm(self) -> list[int]:
        return [reading.thickness_nm - self.zero_nm for reading in self.readings]

    @property
    def mean_nm(self) -> int:
        return mean_nm(self.measured_nm)

    @property
    def range_nm(self) -> int:
        return max(self.measured_nm) - min(self.measured_nm) if self.typed else 0

    @property
    def uneven(self) -> bool:
        return self.range_nm > LOT_RANGE_NM

    @property
    def wanted(self) -> int:
        """How many have to be read."""
        return self.count if self.uneven else min(LOT_READ, self.count)

    @property
    def enough(self) -> bool:
        return bool(self.count) and len(self.typed) >= self.wanted

    @property
    def unread(self) -> int:
        return self.count - len(self.typed)

    @property
    def kept(self) -> dict[str, str]:
        """What every form and address of the lot carries."""
        fields = {
            "lot": str(self.key),
            "count": str(self.count or ""),
            "read": _APART.join(self.typed),
            "unit": self.unit_first if self.typed else "",
            "sure": "on" if self.sure else "",
        }
        return {**self.batch.kept, **{name: value for name, value in fields.items() if value}}

    @property
    def form_key(self) -> str:
        """The key that it is booked with, once: it begins with its batch."""
        return f"{self.batch.key}.{self.key}"

    def with_one(self, typed: str, *, sure: bool) -> "LotBatch | None":
        """The lot with one more plate read; None where its address would get too long."""
        more = replace(self, typed=(*self.typed, " ".join(typed.split())), sure=self.sure or sure)
        return more if len(more.kept["read"]) <= LONGEST else None

    def without_last(self) -> "LotBatch":
        return replace(self, typed=self.typed[:-1])

    def address(self) -> str:
        return f"{resolve_url('scan-lot', self.batch.kind.code)}?{urlencode(self.kept)}"
