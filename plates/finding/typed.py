"""What was typed or scanned into *Find*, as far as its form tells: a label of ours, a size, a key of a plate."""

import uuid
from dataclasses import dataclass

from plates.lengths import INCH, THICKEST_NM, LengthError, Typed, reading_parse
from plates.scan_codes import ScanCode, scan_parse, scanned
from shop.rows import id_of

#: A plate is of the size that was typed within this, which is half of the last place of most micrometers.
NEAR_NM = INCH // 2000
#: Longer than any code or label.
LONGEST = 100


@dataclass(frozen=True)
class Sought:
    """``text`` as it was typed, without what a scanner puts around it."""

    text: str
    label: ScanCode | None
    size: Typed | None
    key: uuid.UUID | None

    @property
    def damaged(self) -> bool:
        """Whether it begins as our labels do, and is none: half a scan, or a worn label."""
        return self.text.startswith("%") and not self.label

    @property
    def number(self) -> int | None:
        """The number of a match that it may be."""
        return int(self.text) if self.text.isascii() and self.text.isdigit() and len(self.text) < 18 else None

    @property
    def size_only(self) -> bool:
        """A point or a unit says that nothing but a size is meant."""
        return self.size is not None and self.number is None


def sought(text: str, unit_first: str) -> Sought:
    text = scanned(text[:LONGEST])
    return Sought(text, scan_parse(text), _size(text, unit_first), id_of(text))


def _size(text: str, unit_first: str) -> Typed | None:
    try:
        return reading_parse(text, unit_first, THICKEST_NM)
    except LengthError:
        return None
