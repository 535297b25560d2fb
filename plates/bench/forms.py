"""What a rebuilder types to close a pack. Everything typed stays in the form, so two tabs never mix.

Enter adds what stands in the field with the focus; Enter on a blank field, or after three readings in one go, goes on
to the next one; after the last one the shelf is asked. That works on the server alone, with or without scripts.
"""

import re
from dataclasses import dataclass, replace

from django.http import QueryDict

from plates.bench.models import Match
from plates.bench.overrides import Override
from plates.bench.question import Entry, Loose, Question, SecondReading, bench_strays
from plates.bench.typed import ReadingList, one_said
from plates.catalogue.models import Role
from plates.catalogue.spec_models import LIFTABLE, WAVE_STATES, Slot, Spec
from plates.lengths import THICKEST_NM, LengthError, exact_text
from plates.measuring.uncertainty import METHODS, READING_U_NM
from plates.scan_codes import scan_parse
from shop.api import CODE
from shop.forms import BADGE, MOST_READINGS, Said, line_typed, readings_said
from shop.people.badges import is_badge

HOW = [("change", "may be exchanged"), ("out", "measured without it"), ("leave", "stays as it is")]
#: Of an empty drum, which has no gap for a feeler and no pack for air to lift.
HOW_EMPTY = [("out", "to be chosen"), ("change", "stays: it is here")]
METHODS_EMPTY = [(value, label) for value, label in METHODS if value in ("depth", "indicator")]
#: So many readings of a pack typed in one go are all there will be: the focus goes on by itself.
ALL_AT_ONCE = 3


@dataclass
class SlotPart:
    """One slot: how it was measured, of all ``ways``, what lies in it, what lies beside it on the bench. ``book_nm``:
    what each of its plates counts as unless it is read; None: they have to be read.
    """

    slot: Slot
    plates: ReadingList
    book_nm: int | None
    ways: list[tuple[str, str]]
    how: str
    bench: str = ""
    source: str = ""
    error: str = ""


@dataclass
class Lift:
    """One rule that may be lifted for this pack. Without a reason it stays in force."""

    rule: str
    words: str
    reason: str = ""


class PackForm:
    """*Close a pack*. ``data`` is what was posted; without it the form is fresh, or filled from an earlier match, but
    for what was lifted there: that is signed anew. ``may_lift``: the person may lift what the spec marks as liftable.
    """

    thickest_nm = THICKEST_NM

    def __init__(
        self,
        spec: Spec,
        unit_first: str,
        data: QueryDict | None = None,
        again: Match | None = None,
        may_lift: bool = False,
    ) -> None:
        self.spec, self.unit_first = spec, unit_first
        self.lifts = [Lift(rule, LIFTABLE[rule]) for rule in spec.liftable]
        self.readings = ReadingList("reading", "Readings of the pack", MOST_READINGS, unit_first)
        slots, earlier = list(spec.slots.all()), Question.from_json(again.question) if again is not None else None
        stays = spec.set_only and not (may_lift and "set_only" in spec.liftable)
        swaps = [] if not spec.adjustable or stays else [slot for slot in slots if slot.swap]
        self.has_wave = any(slot.role == Role.WAVE for slot in slots)
        self.may_be_empty = bool(swaps) and spec.measures == "gap"
        self.room = self.may_be_empty and ("room" in data if data is not None else bool(earlier and earlier.room))
        self.readings.longest_nm = THICKEST_NM if spec.measures == "gap" and not self.room else None
        self.wave_state = earlier.wave_state or spec.reads_wave if earlier else spec.reads_wave
        if data is not None:
            state = data.get("wave_state", "")
            self.wave_state = state if state in dict(WAVE_STATES) else ""
        self.parts = [self._part(slot) for slot in (slots if self.room else swaps) if self._asked(slot)]
        self.method, self.job = "depth" if self.room else "feeler", ""
        self.wave_free, self.wave_free_error, self.job_error = "", "", ""
        self.soaked = self.used_frictions = self.set_only = self.open_boxes = False
        self.gauge = self.plates_gauge = self.load = self.second = self.second_error = ""
        self.second_person = self.second_method = self.second_gauge = ""
        self.focus = "reading"
        self.asking = False
        if data is not None:
            self._read(data)
        elif again is not None and earlier is not None and earlier.room == self.room:
            self._fill(again)

    @property
    def wave_counted(self) -> str:
        """As what the wave plate takes its part of the room."""
        return self.spec.reads_wave or self.wave_state

    @property
    def methods(self) -> list[tuple[str, str]]:
        return METHODS_EMPTY if self.room else METHODS

    def _asked(self, slot: Slot) -> bool:
        """Whether its plates are asked for: of a wave plate only where it is counted flat; else its free height is."""
        return not self.room or (slot.count > 0 and (slot.role != Role.WAVE or self.wave_counted == "flat"))

    def _part(self, slot: Slot) -> SlotPart:
        plates = ReadingList(f"slot{slot.position}", slot.name, max(slot.count, 1), self.unit_first, THICKEST_NM)
        book_nm = self.spec.wave_flat_nm if slot.role == Role.WAVE else slot.nominal_nm
        if not self.room:
            return SlotPart(slot, plates, book_nm, HOW, "change")
        ways = HOW_EMPTY if slot.swap else HOW_EMPTY[1:]
        return SlotPart(slot, plates, book_nm, ways, ways[0][0])

    @property
    def lists(self) -> list[ReadingList]:
        return [self.readings, *(part.plates for part in self.parts if part.how == "change")]

    def _read(self, data: QueryDict) -> None:
        turned = self.room != (data.get("was") == "room")
        method = data.get("method", "")
        if method in dict(self.methods) and not turned:
            self.method = method
        self.wave_free = data.get("wave_free", "").strip()[:60]
        ticket = scan_parse(data.get("job", ""))
        self.job = ticket.code if ticket and ticket.sort == "job" else data.get("job", "").strip()[:80]
        self.soaked, self.used_frictions = "soaked" in data, "used_frictions" in data
        self.set_only, self.open_boxes = "set_only" in data, "open_boxes" in data
        for lift in self.lifts:
            lift.reason = line_typed(data, f"lift-{lift.rule}", 300)
        for name in ("gauge", "plates_gauge", "load", "second", "second_person", "second_gauge"):
            setattr(self, name, line_typed(data, name, 100))
        again = data.get("second_method", "")
        self.second_method = again if again in READING_U_NM else ""
        self.readings.read(data)
        for part in self.parts:
            name = part.plates.name
            how = data.get(f"{name}-how", "")
            if how in dict(part.ways) and not turned:
                part.how = how
            part.plates.read(data)
            part.bench = data.get(f"{name}-bench", "").strip()[:200]
            part.source = line_typed(data, f"{name}-source")
        if not turned:
            self._advance(data)

    def _advance(self, data: QueryDict) -> None:
        """Where the focus goes, and whether the shelf is to be asked now."""
        order = [*(entry.name for entry in self.lists), "job"]
        touched = [entry for entry in self.lists if entry.touched]
        at = data.get("at", "")
        self.focus = at if at in order else "reading"
        if data.get("go") == "ask":
            self.asking = True
        elif touched:
            last = touched[-1]
            all_read = last is self.readings and last.at_once >= ALL_AT_ONCE
            self.focus = last.name
            if (last.full or all_read) and not last.error:
                self.focus = order[order.index(last.name) + 1]
        elif data.get("go") == "next":
            here = order.index(self.focus)
            self.asking = self.focus == "job"
            self.focus = order[min(here + 1, len(order) - 1)]
        if self.focus != "reading" and not self.readings.kept and "go" in data:
            self.focus, self.asking = "reading", False
            self.readings.error = self.readings.error or "Nothing was read yet. Type a reading and press Enter."
        if self.asking and not self._complete():
            self.asking = False

    def _complete(self) -> bool:
        """Whether everything goes together; else the errors stand beside their fields, and the first has the focus."""
        bad: list[str] = [entry.name for entry in self.lists if entry.error]
        if not self.readings.kept and not self.readings.error:
            self.readings.error = "Nothing was read yet. Type a reading and press Enter."
            bad.insert(0, "reading")
        for part in self.parts:
            count, plates = part.slot.count, part.plates
            if part.how == "change" and not plates.error:
                if not plates.kept and part.book_nm is None and count:
                    plates.error = f"{part.slot.name} has no book size: read its {count}."
                elif plates.kept and len(plates.kept) != count:
                    plates.error = f"{part.slot.name} counts {count}, and {len(plates.kept)} are read. "
                    plates.error += "Read the rest, or cross them all out to take the book size."
                try:
                    plates.cones_nm()
                except LengthError as error:
                    plates.error = f"Cone: {error}"
                if plates.error:
                    bad.append(plates.name)
            try:
                readings_said(part.bench, self.unit_first, THICKEST_NM)
            except LengthError as error:
                part.error = str(error)
                bad.append(f"{plates.name}-bench")
        if is_badge(self.job):
            self.job, self.job_error = "", BADGE
        elif self.job and not re.match(CODE, self.job):
            self.job_error = "A job is 1 to 40 of letters, digits, . _ and -."
        if self.job_error:
            bad.append("job")
        if self.wave_free:
            try:
                one_said(self.wave_free, self.unit_first, THICKEST_NM)
            except LengthError as error:
                self.wave_free_error = str(error)
                bad.append("wave_free")
        try:
            readings_said(self.second, self.unit_first, self.readings.longest_nm)
        except LengthError as error:
            self.second_error = str(error)
            bad.append("second")
        if not bad:
            lifted = [one.rule for one in self.overrides()]
            strays = bench_strays(self.spec, replace(self.question(), lifted=lifted))
            for part in self.parts:
                if why := strays.get(part.slot.name):
                    part.error = why
                    bad.append(f"{part.plates.name}-bench")
        if bad:
            self.focus = bad[0]
        return not bad

    def question(self) -> Question:
        """What is asked; only of a form whose figures can all be read."""
        changing = [part for part in self.parts if part.how == "change"]
        return Question(
            method=self.method,
            texts=[said.text for said in self.readings.kept],
            readings_nm=[said.nm for said in self.readings.kept],
            installed={
                part.slot.name: _entries(part, self.plates_gauge)
                for part in changing
                if part.plates.kept or not self.room  # in an empty drum what is not read stands at book size
            },
            room=self.room,
            bench={part.slot.name: rows for part in self.parts if (rows := self._bench(part))},
            left_out=[part.slot.name for part in self.parts if part.how == "out"],
            used_ok=True if self.used_frictions else None,
            wave_state=self.wave_state,
            wave_free_nm=one_said(self.wave_free, self.unit_first, THICKEST_NM) if self.wave_free else None,
            gauge=self.gauge,
            soaked=self.soaked,
            load=self.load,
            second=self._second(),
            set_only=self.set_only,
            open_boxes=self.open_boxes,
        )

    def overrides(self) -> list[Override]:
        """The rules that are lifted: those with a reason."""
        return [Override(lift.rule, lift.reason) for lift in self.lifts if lift.reason]

    def _second(self) -> SecondReading | None:
        said = readings_said(self.second, self.unit_first, self.readings.longest_nm)
        if not said:
            return None
        texts, readings_nm = [one.text for one in said], [one.nm for one in said]
        return SecondReading(texts, readings_nm, self.second_person, self.second_method, self.second_gauge)

    def _bench(self, part: SlotPart) -> list[Loose]:
        said = readings_said(part.bench, self.unit_first, THICKEST_NM)
        return [Loose(one.nm, 1, part.source or "the bench", self.plates_gauge) for one in said]

    def _fill(self, match: Match) -> None:
        """The question of an earlier match, to be put right and asked again."""
        question = Question.from_json(match.question)
        self.method, self.job = question.method, match.job.code if match.job else ""
        self.wave_free = exact_text(question.wave_free_nm) if question.wave_free_nm else ""
        self.soaked, self.used_frictions = question.soaked, bool(question.used_ok)
        self.set_only, self.open_boxes = question.set_only, question.open_boxes
        self.gauge, self.load = question.gauge, question.load
        if second := question.second:
            self.second = " ".join(exact_text(length_nm) for length_nm in second.readings_nm)
            self.second_person = second.person
            self.second_method, self.second_gauge = second.method, second.gauge
        self.plates_gauge = next((plate.gauge for plate in question.plates()), "")
        pairs = zip(question.texts, question.readings_nm, strict=True)
        self.readings.kept = [Said(text, nm) for text, nm in pairs]
        self.readings.cones = [""] * len(self.readings.kept)
        for part in self.parts:
            name = part.slot.name
            entries = question.installed.get(name)
            part.how = "out" if name in question.left_out else "change" if entries is not None else "leave"
            read = [entry for entry in entries or [] if not entry.at_book]
            part.plates.kept = [Said(exact_text(entry.thickness_nm), entry.thickness_nm) for entry in read]
            part.plates.must_go = {row for row, entry in enumerate(read) if entry.must_go and not entry.why}
            part.plates.cones = [exact_text(entry.cone_nm) if entry.cone_nm else "" for entry in read]
            part.plates.spots = {row for row, entry in enumerate(read) if entry.hot_spot}
            loose = question.bench.get(name, [])
            part.bench = " ".join(exact_text(one.thickness_nm) for one in loose for _ in range(one.count))
            part.source = loose[0].source if loose else ""


def _entries(part: SlotPart, gauge: str) -> list[Entry]:
    if part.plates.kept or not part.slot.count:
        rows = zip(part.plates.rows, part.plates.cones_nm(), strict=True)
        return [
            Entry(said.nm, must_go=gone, cone_nm=cone_nm, hot_spot=spot, gauge=gauge)
            for (_, said, gone, _, spot), cone_nm in rows
        ]
    assert part.book_nm is not None
    return [Entry(part.book_nm, at_book=True)] * part.slot.count
