"""What a rebuilder should hear before trusting a number. Each caution is a code and a sentence."""

from collections.abc import Sequence
from typing import Any

from plates.bench.question import Question
from plates.catalogue.models import Slot, Spec
from plates.lengths import INCH, both
from plates.matching.probability import conformance
from plates.measuring.uncertainty import READING_U_NM, reading_u_nm

#: A difference from the target this near to a plate of the pack asks for a count first.
PLATE_NEAR_NM = INCH // 100
#: Less than this is not read with a feeler.
FEELER_LEAST_NM = INCH * 15 // 10_000


def caution(code: str, text: str) -> dict[str, str]:
    return {"code": code, "text": text}


def count_first(*, clearance_nm: int, spec: Spec, slots: Sequence[Slot], question: Question) -> dict[str, str] | None:
    """One plate too few or too many makes a difference of its own thickness."""
    if spec.low_nm <= clearance_nm <= spec.high_nm:
        return None
    room_nm = 0  # what is missing because it was left out to measure
    for slot in slots:
        if slot.name in question.left_out:
            if slot.nominal_nm is None:
                return None
            room_nm += slot.count * slot.nominal_nm
    expected_nm = spec.target_nm + (room_nm if spec.measures == "gap" else -room_nm)
    off_nm = abs(clearance_nm - expected_nm)
    known = {slot.nominal_nm for slot in slots if slot.nominal_nm}
    known |= {entry.thickness_nm for entries in question.installed.values() for entry in entries}
    near = min(known, key=lambda thickness_nm: (abs(off_nm - thickness_nm), thickness_nm), default=None)
    if near is None or abs(off_nm - near) > PLATE_NEAR_NM:
        return None
    loose = (clearance_nm > expected_nm) == (spec.measures == "gap")
    text = (
        f"The difference from the target, {both(off_nm)}, is near the thickness of a plate of this pack, {both(near)}. "
        f"Count the plates first: is there one too {'few' if loose else 'many'}?"
    )
    return caution("count_first", text)


def of_reading(
    *, clearance_nm: int, as_read_nm: int, spec: Spec, slots: Sequence[Slot], question: Question
) -> list[dict[str, str]]:
    """Cautions about the number itself."""
    found = []
    if first := count_first(clearance_nm=clearance_nm, spec=spec, slots=slots, question=question):
        found.append(first)
    if clearance_nm > 4 * spec.high_nm or (question.method == "feeler" and as_read_nm < FEELER_LEAST_NM):
        found.append(
            caution(
                "far_out",
                f"{both(as_read_nm)} is far out. Check the unit, the stack and the gauge before you trust it.",
            )
        )
    if len(question.readings_nm) == 1:
        found.append(
            caution("single_reading", "One reading only, so tilt is not seen. Read at three points around the pack.")
        )
    if question.soaked:
        found.append(
            caution(
                "soaked", "Read with soaked frictions: swell is part of the number and is not taken out by arithmetic."
            )
        )
    return found + _of_wave(spec, slots, question)


def _of_wave(spec: Spec, slots: Sequence[Slot], question: Question) -> list[dict[str, str]]:
    if not question.wave_state and not any(slot.role == "wave" for slot in slots):
        return []
    if not spec.reads_wave:
        text = (
            "The spec does not say whether its window is read with the wave plate free or flat: nothing was translated."
        )
        return [caution("wave_untranslated", text)]
    if not question.wave_state:
        text = (
            f"Taken as read with the wave plate {spec.reads_wave}, as the window of this spec is. Say so if it was not."
        )
        return [caution("wave_assumed", text)]
    if question.wave_state != spec.reads_wave:
        text = f"Read with the wave plate {question.wave_state}, translated to {spec.reads_wave} as the window is."
        return [caution("wave_translated", text)]
    return []


def of_gauge(*, spec: Spec, question: Question, translated: bool, sure: float) -> list[dict[str, str]]:
    """Whether even the middle of the window could be sure with this method, and which method could."""
    middle = (spec.low_nm + spec.high_nm) / 2

    def could(method: str, readings: int) -> bool:
        u_nm = reading_u_nm(method=method, readings=readings, translated=translated)
        return conformance(middle, u_nm, spec.low_nm, spec.high_nm) >= sure

    readings = len(question.readings_nm)
    if could(question.method, readings):
        return []
    better = [m for m in sorted(READING_U_NM, key=lambda m: READING_U_NM[m]) if could(m, 3)]
    way_out = (
        f"Three readings by {' or '.join(better)} could."
        if better
        else "No method of the shop could: mind the comeback."
    )
    text = (
        f"The window is only {both(spec.high_nm - spec.low_nm)} wide: read like this, not even its middle would "
        f"be sure. {way_out}"
    )
    return [caution("gauge_too_coarse", text)]


def of_spec(*, spec: Spec, in_window: bool) -> list[dict[str, str]]:
    """What the spec itself forbids."""
    if in_window:
        return []
    if not spec.adjustable:
        text = (
            "This pack has no adjustment. Stop and look: it is assembled wrongly or a part is worn. "
            "Do not make up for it with other plates."
        )
        return [caution("no_adjustment", text)]
    if spec.set_only:
        return [caution("set_only", "The plates of this pack stay together: replace them as a set.")]
    return []


def raised(cautions: Sequence[dict[str, Any]], code: str) -> bool:
    """Whether this caution was raised."""
    return any(item["code"] == code for item in cautions)
