"""What is typed at the counter one figure after another."""

import re
from dataclasses import dataclass, field

from django.http import QueryDict

from plates.lengths import LengthError
from shop.forms import Said, readings_said


@dataclass
class ReadingList:
    """A field to which Enter adds one reading after the other."""

    name: str
    label: str
    most: int
    unit_first: str
    #: Nothing that is read here is longer.
    longest_nm: int | None = None
    kept: list[Said] = field(default_factory=list)
    must_go: set[int] = field(default_factory=set)
    #: Of each kept one its cone as typed, and which have hot spots.
    cones: list[str] = field(default_factory=list)
    spots: set[int] = field(default_factory=set)
    typed: str = ""
    error: str = ""
    touched: bool = False
    #: How many were typed into the field this time.
    at_once: int = 0

    def read(self, data: QueryDict) -> None:
        """Take over what the form kept, what was newly typed, and what was crossed out."""
        try:
            self.kept = [said for text in data.getlist(f"{self.name}-kept") for said in self._parse(text)][:60]
        except LengthError as error:
            self.error = str(error)
        self.must_go, self.spots = self._marked(data, "go"), self._marked(data, "spot")
        cones = [text.strip()[:60] for text in data.getlist(f"{self.name}-cone")]
        self.cones = (cones + [""] * len(self.kept))[: len(self.kept)]
        cross = re.fullmatch(rf"{re.escape(self.name)}:([0-9]{{1,2}})", data.get("cross", ""))
        if cross and int(cross[1]) < len(self.kept):
            row = int(cross[1])
            del self.kept[row], self.cones[row]
            self.must_go = {go - (go > row) for go in self.must_go if go != row}
            self.spots = {spot - (spot > row) for spot in self.spots if spot != row}
            self.touched = True
        self.typed = data.get(self.name, "").strip()[:200]
        if not self.typed:
            return
        self.touched = True
        try:
            added = self._parse(self.typed)
        except LengthError as error:
            self.error = str(error)
            return
        if len(self.kept) + len(added) > self.most:
            self.error = f"{len(self.kept) + len(added)} are too many: {self.label} takes {self.most}."
            return
        self.kept += added
        self.at_once = len(added)
        self.cones += [""] * len(added)
        self.typed = ""

    def _parse(self, text: str) -> list[Said]:
        return readings_said(text, self.unit_first, self.longest_nm)

    def _marked(self, data: QueryDict, mark: str) -> set[int]:
        return {int(row) for row in data.getlist(f"{self.name}-{mark}") if re.fullmatch("[0-9]{1,2}", row)}

    def cones_nm(self) -> list[int | None]:
        """The cone of each plate, None where none was typed. Raises :class:`LengthError`."""
        return [one_said(text, self.unit_first) if text else None for text in self.cones]

    @property
    def full(self) -> bool:
        return len(self.kept) >= self.most

    @property
    def rows(self) -> list[tuple[int, Said, bool, str, bool]]:
        """Of each kept one: its row, the length, whether it must go, its cone as typed, whether it has hot spots."""
        known = zip(self.kept, self.cones, strict=True)
        return [(n, said, n in self.must_go, cone, n in self.spots) for n, (said, cone) in enumerate(known)]


def one_said(text: str, unit_first: str, longest_nm: int | None = None) -> int:
    """One typed length in nanometres. Raises :class:`LengthError`."""
    said = readings_said(text, unit_first, longest_nm)
    if len(said) != 1:
        raise LengthError("One figure, please.")
    return said[0].nm
