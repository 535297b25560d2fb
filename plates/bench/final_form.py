"""What a rebuilder types when the pack is assembled: its final check."""

from django.http import QueryDict

from plates.bench.models import Match
from plates.bench.question import PackReading
from plates.bench.typed import ReadingList
from plates.catalogue.spec_models import WAVE_STATES
from plates.lengths import THICKEST_NM
from plates.measuring.uncertainty import READING_U_NM
from shop.forms import MOST_READINGS, line_typed


class FinalForm:
    """The final check: readings one after another, then the method; a blank Enter ends it."""

    def __init__(self, match: Match, unit_first: str, data: QueryDict | None = None) -> None:
        self.readings = ReadingList("reading", "Readings of the assembled pack", MOST_READINGS, unit_first)
        self.readings.longest_nm = THICKEST_NM if match.spec.measures == "gap" else None
        self.method, self.done = match.method, False
        self.gauge, self.soaked = match.question["gauge"], False
        self.has_wave = any(slot.role == "wave" for slot in match.spec.slots.all())
        self.wave_state = match.question["wave_state"] or match.spec.reads_wave
        if data is None:
            return
        state = data.get("wave_state", "")
        self.wave_state = state if state in dict(WAVE_STATES) else self.wave_state
        self.method = data.get("method", "") if data.get("method") in READING_U_NM else match.method
        self.gauge, self.soaked = line_typed(data, "gauge"), "soaked" in data
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
        wave_state = (self.wave_state or None) if self.has_wave else None
        return PackReading(self.method, texts, readings_nm, self.gauge, self.soaked, wave_state)
