"""How large a label is, and where the labels of a sheet lie. All lengths in nanometres, from the top left corner."""

from collections.abc import Iterator
from dataclasses import dataclass

from plates.lengths import INCH, MM, mm
from shop.errors import Refusal


class SheetRefused(Refusal):
    code, title = "bad_sheet", "These labels do not lie on this sheet"


@dataclass(frozen=True)
class Size:
    wide_nm: int
    tall_nm: int

    def __str__(self) -> str:
        return f"{mm(self.wide_nm, 1)} × {mm(self.tall_nm, 1)} mm"


#: Labels that a label printer prints one by one.
SINGLES = {f"{wide}x{tall}": Size(wide * MM, tall * MM) for wide, tall in ((57, 32), (62, 29), (100, 50))}
#: Below this there is no room for the longest code.
LEAST = Size(40 * MM, 20 * MM)


@dataclass(frozen=True)
class Sheet:
    """A sheet of equal labels: ``left_nm`` and ``top_nm`` to the first one, ``across_nm`` and ``down_nm`` from one to
    the next. Raises SheetRefused for what does not lie on the paper or over another label.
    """

    paper: Size
    label: Size
    left_nm: int
    top_nm: int
    across_nm: int
    down_nm: int

    def __post_init__(self) -> None:
        if self.label.wide_nm < LEAST.wide_nm or self.label.tall_nm < LEAST.tall_nm:
            raise SheetRefused(f"A label is at least {LEAST}, so that the longest code has room.", [("/wide", "")])
        if self.across_nm < self.label.wide_nm:
            raise SheetRefused("From one label to the next is at least the width of a label.", [("/across", "")])
        if self.down_nm < self.label.tall_nm:
            raise SheetRefused("From one row to the next is at least the height of a label.", [("/down", "")])
        if not (self.columns > 0 and self.rows > 0):
            raise SheetRefused(f"No label of {self.label} lies on a sheet of {self.paper}.", [("/left", "")])

    @property
    def columns(self) -> int:
        return (self.paper.wide_nm - self.left_nm - self.label.wide_nm) // self.across_nm + 1

    @property
    def rows(self) -> int:
        return (self.paper.tall_nm - self.top_nm - self.label.tall_nm) // self.down_nm + 1

    @property
    def places(self) -> list[tuple[int, int]]:
        """Where each label begins, row by row: (x, y)."""
        return [
            (self.left_nm + column * self.across_nm, self.top_nm + row * self.down_nm)
            for row in range(self.rows)
            for column in range(self.columns)
        ]


A4, LETTER = Size(210 * MM, 297 * MM), Size(INCH * 17 // 2, INCH * 11)
#: What a sheet is like unless it is said otherwise.
SHEETS = {
    "a4": Sheet(A4, Size(64 * MM, 34 * MM), MM * 13 // 2, MM * 25 // 2, MM * 133 // 2, 34 * MM),
    "letter": Sheet(LETTER, Size(4 * INCH, 2 * INCH), INCH // 5, INCH // 2, INCH * 41 // 10, 2 * INCH),
}


def spread(count: int, sheet: Sheet, skip: int) -> Iterator[list[tuple[int, tuple[int, int]]]]:
    """The pages that so many labels fill, the first ``skip`` places left out: of each page (label, place). Raises
    SheetRefused.
    """
    places = sheet.places
    if not 0 <= skip < len(places):
        raise SheetRefused(f"This sheet has {len(places)} labels; skip fewer.", [("/skip", "")])
    for first in range(-skip, count, len(places)):
        yield [(first + at, place) for at, place in enumerate(places) if 0 <= first + at < count]
