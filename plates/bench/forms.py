"""What a rebuilder types to close a pack. Everything typed stays in the form, so two tabs never mix.

Enter adds what stands in the field with the focus; Enter on a blank field goes on to the next one; after the last one
the shelf is asked. That works on the server alone, with or without scripts.
"""

import re
from dataclasses import dataclass, field

from django.http import QueryDict

from plates.bench.models import Match
from plates.bench.question import Entry, Loose, PackReading, Question, SecondReading
from plates.catalogue.models import WAVE_STATES, Slot, Spec
from plates.lengths import NM_PER, LengthError, inch, mm
from plates.measuring.uncertainty import READING_U_NM
from shop.api import CODE
from shop.forms import MOST_READINGS, Said, readings_said

HOW = [("change", "may be exchanged"), ("out", "measured without it"), ("leave", "stays as it is")]


@dataclass
class ReadingList:
    """A field to which Enter adds one reading after the other."""

    name: str
    label: str
    most: int
    unit_first: str
    kept: list[Said] = field(default_factory=list)
    must_go: set[int] = field(default_factory=set)
    #: Of each kept one its cone as typed, and which have hot spots.
    cones: list[str] = field(default_factory=list)
    spots: set[int] = field(default_factory=set)
    typed: str = ""
    error: str = ""
    touched: bool = False

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
        self.cones += [""] * len(added)
        self.typed = ""

    def _parse(self, text: str) -> list[Said]:
        return readings_said(text, self.unit_first)

    def _marked(self, data: QueryDict, mark: str) -> set[int]:
        return {int(row) for row in data.getlist(f"{self.name}-{mark}") if row.isascii() and row.isdigit()}

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


def one_said(text: str, unit_first: str) -> int:
    """One typed length in nanometres. Raises :class:`LengthError`."""
    said = readings_said(text, unit_first)
    if len(said) != 1:
        raise LengthError("One figure, please.")
    return said[0].nm


@dataclass
class SlotPart:
    """One slot that may change: how it was measured, what lies in it, what lies beside it on the bench."""

    slot: Slot
    plates: ReadingList
    how: str = "change"
    bench: str = ""
    source: str = ""
    error: str = ""


class PackForm:
    """*Close a pack*. ``data`` is what was posted; without it the form is fresh, or filled from an earlier match."""

    def __init__(self, spec: Spec, unit_first: str, data: QueryDict | None = None, again: Match | None = None) -> None:
        self.spec, self.unit_first = spec, unit_first
        self.readings = ReadingList("reading", "Readings of the pack", MOST_READINGS, unit_first)
        swaps = [] if not spec.adjustable or spec.set_only else [slot for slot in spec.slots.all() if slot.swap]
        self.parts = [
            SlotPart(slot, ReadingList(f"slot{slot.position}", slot.name, max(slot.count, 1), unit_first))
            for slot in swaps
        ]
        self.has_wave = any(slot.role == "wave" for slot in spec.slots.all())
        self.method, self.wave_state, self.job = "feeler", spec.reads_wave, ""
        self.wave_free, self.wave_free_error, self.job_error = "", "", ""
        self.soaked = self.used_frictions = False
        self.gauge = self.plates_gauge = self.load = self.second = self.second_person = self.second_error = ""
        self.focus = "reading"
        self.asking = False
        if data is not None:
            self._read(data)
        elif again is not None:
            self._fill(again)

    @property
    def lists(self) -> list[ReadingList]:
        return [self.readings, *(part.plates for part in self.parts if part.how == "change")]

    def _read(self, data: QueryDict) -> None:
        self.method = data.get("method", "") if data.get("method") in READING_U_NM else "feeler"
        state = data.get("wave_state", "")
        self.wave_state = state if state in dict(WAVE_STATES) else ""
        self.wave_free = data.get("wave_free", "").strip()[:60]
        self.job = data.get("job", "").strip()[:80]
        self.soaked, self.used_frictions = "soaked" in data, "used_frictions" in data
        for name in ("gauge", "plates_gauge", "load", "second", "second_person"):
            setattr(self, name, data.get(name, "").strip()[:100])
        self.readings.read(data)
        for part in self.parts:
            name = part.plates.name
            part.how = data.get(f"{name}-how", "") if data.get(f"{name}-how") in dict(HOW) else "change"
            part.plates.read(data)
            part.bench = data.get(f"{name}-bench", "").strip()[:200]
            part.source = data.get(f"{name}-source", "").strip()[:200]
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
            self.focus = last.name
            if last.full and not last.error:
                self.focus = order[order.index(last.name) + 1]
        elif data.get("go") == "next":
            here = order.index(self.focus)
            self.asking = self.focus == "job"
            self.focus = order[min(here + 1, len(order) - 1)]
        if self.focus != "reading" and not self.readings.kept:
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
                if not plates.kept and part.slot.nominal_nm is None and count:
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
                readings_said(part.bench, self.unit_first)
            except LengthError as error:
                part.error = str(error)
                bad.append(f"{plates.name}-bench")
        if self.job and not re.match(CODE, self.job):
            self.job_error = "A job is 1 to 40 of letters, digits, . _ and -."
            bad.append("job")
        if self.wave_free:
            try:
                one_said(self.wave_free, self.unit_first)
            except LengthError as error:
                self.wave_free_error = str(error)
                bad.append("wave_free")
        try:
            readings_said(self.second, self.unit_first)
        except LengthError as error:
            self.second_error = str(error)
            bad.append("second")
        if bad:
            self.focus = bad[0]
        return not bad

    def question(self) -> Question:
        """What is asked; only of a form that is ``asking``."""
        changing = [part for part in self.parts if part.how == "change"]
        return Question(
            method=self.method,
            texts=[said.text for said in self.readings.kept],
            readings_nm=[said.nm for said in self.readings.kept],
            installed={part.slot.name: _entries(part, self.plates_gauge) for part in changing},
            bench={part.slot.name: rows for part in self.parts if (rows := self._bench(part))},
            left_out=[part.slot.name for part in self.parts if part.how == "out"],
            used_ok=True if self.used_frictions else None,
            wave_state=self.wave_state,
            wave_free_nm=one_said(self.wave_free, self.unit_first) if self.wave_free else None,
            gauge=self.gauge,
            soaked=self.soaked,
            load=self.load,
            second=self._second(),
        )

    def _second(self) -> SecondReading | None:
        said = readings_said(self.second, self.unit_first)
        if not said:
            return None
        return SecondReading([one.text for one in said], [one.nm for one in said], self.second_person)

    def _bench(self, part: SlotPart) -> list[Loose]:
        if part.how == "leave":
            return []
        said = readings_said(part.bench, self.unit_first)
        return [Loose(one.nm, 1, part.source or "the bench", self.plates_gauge) for one in said]

    def _fill(self, match: Match) -> None:
        """The question of an earlier match, to be put right and asked again."""
        question = Question.from_json(match.question)
        self.method, self.job = question.method, match.job.code if match.job else ""
        self.wave_state = question.wave_state or self.spec.reads_wave
        self.wave_free = exact_text(question.wave_free_nm) if question.wave_free_nm else ""
        self.soaked, self.used_frictions = question.soaked, bool(question.used_ok)
        self.gauge, self.load = question.gauge, question.load
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
    assert part.slot.nominal_nm is not None
    return [Entry(part.slot.nominal_nm, at_book=True)] * part.slot.count


def exact_text(length_nm: int) -> str:
    """A length that reads back to the same nanometre: inch where four places hold it, else millimetres."""
    if length_nm % (NM_PER["in"] // 10_000) == 0:
        return f"{inch(length_nm)} in"
    if length_nm % (NM_PER["mm"] // 1_000) == 0:
        return f"{mm(length_nm)} mm"
    whole, rest = divmod(length_nm, NM_PER["mm"])
    return f"{whole}.{rest:06d} mm"


class FinalForm:
    """The final check: readings one after another, then the method; a blank Enter ends it."""

    def __init__(self, match: Match, unit_first: str, data: QueryDict | None = None) -> None:
        self.readings = ReadingList("reading", "Readings of the assembled pack", MOST_READINGS, unit_first)
        self.method, self.done = match.method, False
        self.gauge, self.soaked = match.question["gauge"], False
        if data is None:
            return
        self.method = data.get("method", "") if data.get("method") in READING_U_NM else match.method
        self.gauge, self.soaked = data.get("gauge", "").strip()[:200], "soaked" in data
        self.readings.read(data)
        finished = data.get("go") == "done" or not self.readings.touched
        if finished and not self.readings.error:
            self.done = bool(self.readings.kept)
            if not self.done:
                self.readings.error = "Nothing was read yet. Type a reading and press Enter."

    def figures(self) -> PackReading:
        """The reading as the service takes it."""
        kept = self.readings.kept
        texts, readings_nm = [said.text for said in kept], [said.nm for said in kept]
        return PackReading(self.method, texts, readings_nm, self.gauge, self.soaked)
