"""What a rebuilder types when a unit comes back: the untouched reading, and what was read of its plates."""

from dataclasses import dataclass

from django.http import QueryDict

from plates.bench.final import stack_after
from plates.bench.final_form import FinalForm
from plates.bench.models import Match
from plates.bench.proof.comebacks import WornSlot
from plates.bench.question import PackReading, Question
from plates.catalogue.spec_models import Slot
from plates.lengths import THICKEST_NM, LengthError, exact_text
from shop.forms import readings_said


@dataclass
class WornPart:
    """One slot: how many plates it holds, what they were as far as anybody knows, and what is typed."""

    slot: Slot
    count: int
    known: str
    was: str
    now: str = ""
    error: str = ""

    @property
    def name(self) -> str:
        return f"slot{self.slot.position}"


class ComebackForm(FinalForm):
    """A final check's readings, and beside them the worn thickness of each slot that was read."""

    thickest_nm = THICKEST_NM

    def __init__(self, match: Match, unit_first: str, data: QueryDict | None = None) -> None:
        self.unit_first = unit_first
        self.parts = [part for slot in match.spec.slots.all() if (part := _part(match, slot)).count]
        super().__init__(match, unit_first, data)
        if data is None:
            return
        for part in self.parts:
            part.was = data.get(f"{part.name}-was", "").strip()[:200]
            part.now = data.get(f"{part.name}-now", "").strip()[:200]
            try:
                for typed in (part.was if part.was != part.known else "", part.now):
                    readings_said(typed, unit_first, THICKEST_NM)
            except LengthError as error:
                part.error, self.done = str(error), False

    def worn(self) -> dict[str, WornSlot]:
        """The slots whose plates were read again; only of a form that is ``done``."""
        return {part.slot.name: self._worn(part) for part in self.parts if part.now}

    def _worn(self, part: WornPart) -> WornSlot:
        def lengths(typed: str) -> list[int]:
            return [said.nm for said in readings_said(typed, self.unit_first, THICKEST_NM)]

        as_built = part.was in ("", part.known)
        return WornSlot(lengths(part.now), None if as_built else lengths(part.was))


def _part(match: Match, slot: Slot) -> WornPart:
    assert match.built is not None
    stack = stack_after(Question.from_json(match.question), match.built, PackReading("", [], []))
    entries = stack.installed.get(slot.name)
    if entries is None:
        known = exact_text(slot.nominal_nm) if slot.nominal_nm else ""
        return WornPart(slot, slot.count, known, known)
    texts = [exact_text(entry.thickness_nm) for entry in entries]
    known = texts[0] if len(set(texts)) == 1 else " ".join(texts)
    return WornPart(slot, len(entries), known, known)
