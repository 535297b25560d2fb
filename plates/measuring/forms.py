"""What the counter types about gauges: a new one, a check, why it is withdrawn, a study."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django import forms

from plates.lengths import THICKEST_NM, LengthError, both
from plates.measuring.models import GaugeType
from plates.measuring.services import DEFAULTS, MOST_PEOPLE, MOST_PLATES, MOST_TRIALS
from shop.forms import CodeField, IntegerField, LengthField, PageForm, ReadingsField, reading_said

TYPE_CHOICES = [(kind.value, kind.label) for kind in GaugeType]


def _usual() -> str:
    said = (f"{kind.label} {both(DEFAULTS[kind].limit_nm)}, {DEFAULTS[kind].interval_days} days" for kind in GaugeType)
    return f"Blank for the usual figures: {'; '.join(said)}."


class GaugeForm(PageForm):
    code = CodeField(label="Gauge", help_text="What stands on it, as MIC-1.")
    type = forms.ChoiceField(choices=TYPE_CHOICES, label="Type")
    limit = LengthField(required=False, label="Limit of error", help_text=_usual())
    resolution = LengthField(required=False, label="Resolution", help_text="The smallest step that it shows.")
    interval_days = IntegerField(
        required=False, min_value=0, max_value=36_500, label="Checked every (days)", help_text="0 for never."
    )
    note = forms.CharField(required=False, max_length=200, label="Note")


class CheckForm(PageForm):
    """Standard and readings; what was done with the gauge is asked only when it failed."""

    focus = "standard"
    standard = LengthField(unit_needed=True, help_text="What stands on the block, as 25 mm or 1 in.")
    reading = ReadingsField(
        label="The gauge shows", help_text="Read the block. Several readings: a blank between, as 25.001mm 25.000mm."
    )


class WithdrawForm(PageForm):
    focus = ""
    reason = forms.CharField(max_length=500, label="Why it is withdrawn")


class StudyForm(PageForm):
    """Who reads, how many plates and how often."""

    focus = "people"
    people = forms.CharField(max_length=400, help_text=f"2 to {MOST_PEOPLE} names, a comma between them.")
    plates = IntegerField(
        min_value=2,
        max_value=MOST_PLATES,
        initial=10,
        help_text="Ten that lie over the whole range of what you sort. Number them 1, 2, 3 on the back.",
    )
    trials = IntegerField(
        min_value=2, max_value=MOST_TRIALS, initial=3, help_text="How often each person reads every plate."
    )

    def clean_people(self) -> list[str]:
        names = [name.strip() for name in self.cleaned_data["people"].split(",") if name.strip()]
        if not 2 <= len(names) <= MOST_PEOPLE or len(set(names)) < len(names):
            raise forms.ValidationError(f"Give 2 to {MOST_PEOPLE} different names, a comma between them.")
        if max(map(len, names)) > 60:
            raise forms.ValidationError("A name has at most 60 letters.")
        return names


@dataclass
class Cell:
    """One field of the grid: what was typed, what it was understood as, or what is wrong with it."""

    name: str
    label: str
    typed: str = ""
    nm: int | None = None
    error: str = ""
    focus: bool = False


@dataclass
class StudyGrid:
    """Every reading of a study, as rows of one person and trial each. Enter goes on to the next one that is blank."""

    people: list[str]
    plates: list[str]
    trials: int
    unit_first: str
    rows: list[tuple[str, int, list[Cell]]] = field(default_factory=list)

    @classmethod
    def of(cls, people: list[str], plates: int, trials: int, typed: Mapping[str, Any], unit_first: str) -> "StudyGrid":
        grid = cls(people, [str(n + 1) for n in range(plates)], trials, unit_first)
        for row, person in enumerate(people):
            for trial in range(trials):
                names = {f"r{row}-{trial}-{n}": plate for n, plate in enumerate(grid.plates)}
                cells = [grid._cell(name, person, trial, plate, typed) for name, plate in names.items()]
                grid.rows.append((person, trial + 1, cells))
        if cell := grid.next:
            cell.focus = True
        return grid

    def _cell(self, name: str, person: str, trial: int, plate: str, typed: Mapping[str, Any]) -> Cell:
        cell = Cell(name, f"{person}, trial {trial + 1}, plate {plate}", str(typed.get(name, "")).strip())
        if cell.typed:
            try:
                said = reading_said(cell.typed, self.unit_first, THICKEST_NM)
                cell.typed, cell.nm = said.text, said.nm
            except LengthError as error:
                cell.error = str(error)
        return cell

    @property
    def cells(self) -> Sequence[Cell]:
        return [cell for _, _, cells in self.rows for cell in cells]

    @property
    def next(self) -> Cell | None:
        """The first field that is wrong, else the first that is blank; None when all are read."""
        wrong = (cell for cell in self.cells if cell.error)
        return next(wrong, None) or next((cell for cell in self.cells if cell.nm is None), None)

    @property
    def left(self) -> int:
        return sum(cell.nm is None for cell in self.cells)

    def readings(self) -> list[list[list[tuple[str, int]]]]:
        """[person][trial][plate] of (text, nanometres); only once :attr:`next` is None. A difference becomes its
        result, since the texts of a study are lengths.
        """
        rows = [[(_plain(cell), cell.nm or 0) for cell in cells] for _, _, cells in self.rows]
        return [rows[first : first + self.trials] for first in range(0, len(rows), self.trials)]


def _plain(cell: Cell) -> str:
    nm = cell.nm or 0
    return f"{nm // 1000}.{nm % 1000:03} um" if "-" in cell.typed else cell.typed
