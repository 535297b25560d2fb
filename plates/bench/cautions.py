"""What a rebuilder should hear before trusting a number. Each caution is a code and a sentence."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

from plates.bench.models import Match
from plates.bench.pose import reading_parts_of
from plates.bench.question import Question, set_stays
from plates.bench.room import wave_counted
from plates.bench.stack_limits import standing
from plates.catalogue.models import Role
from plates.catalogue.spec_models import Slot, Spec
from plates.lengths import INCH, both, half_even
from plates.matching.probability import conformance
from plates.measuring.uncertainty import READING_U_NM, Part, combined_u_nm

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
    missing_nm = _left_out_nm(slots, question)
    if missing_nm is None:
        return None
    expected_nm = spec.target_nm + (missing_nm if spec.measures == "gap" else -missing_nm)
    off_nm = abs(clearance_nm - expected_nm)
    known = {slot.nominal_nm for slot in slots if slot.nominal_nm}
    known |= {entry.thickness_nm for entries in question.installed.values() for entry in entries}
    near = min(known, key=lambda thickness_nm: (abs(off_nm - thickness_nm), thickness_nm), default=None)
    if near is None or abs(off_nm - near) > PLATE_NEAR_NM:
        return None
    loose = (clearance_nm > expected_nm) == (spec.measures == "gap")
    if question.room:
        why = "does this unit hold one more than the spec counts" if loose else "is one still in the drum"
        text = (
            f"At book sizes this pack would miss its target by {both(off_nm)}, near the thickness of a plate of it, "
            f"{both(near)}. Count the plates first: {why}?"
        )
    else:
        text = (
            f"The difference from the target, {both(off_nm)}, is near the thickness of a plate of this pack, "
            f"{both(near)}. Count the plates first: is there one too {'few' if loose else 'many'}?"
        )
    return caution("count_first", text)


def _left_out_nm(slots: Sequence[Slot], question: Question) -> int | None:
    """What is missing at book size because it was left out to measure; None where there is no book size."""
    total_nm = 0
    for slot in slots:
        if slot.name in question.left_out:
            if slot.nominal_nm is None:
                return None
            total_nm += slot.count * slot.nominal_nm
    return total_nm


def of_reading(
    *, clearance_nm: int, as_read_nm: int, spec: Spec, slots: Sequence[Slot], question: Question
) -> list[dict[str, str]]:
    """Cautions about the number itself."""
    found = []
    if first := count_first(clearance_nm=clearance_nm, spec=spec, slots=slots, question=question):
        found.append(first)
    missing_nm = _left_out_nm(slots, question) if question.room else 0
    far_nm = 0 if missing_nm is None else clearance_nm - missing_nm
    if far_nm > 4 * spec.high_nm or (question.method == "feeler" and as_read_nm < FEELER_LEAST_NM):
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
    if question.room:
        found.append(_of_room(clearance_nm, as_read_nm, spec, slots, question))
    return [*found, *_of_convention(spec, question), *_of_wave(spec, slots, question)]


def _of_room(
    clearance_nm: int, as_read_nm: int, spec: Spec, slots: Sequence[Slot], question: Question
) -> dict[str, str]:
    stays = sum(len(entries) for entries in question.installed.values())
    chosen = sum(slot.count for slot in slots if slot.name in question.left_out)
    text = (
        f"Worked out from the room of the empty drum: {both(as_read_nm)}, less {both(as_read_nm - clearance_nm)} of "
        f"{stays} plates that stay, leaves {both(clearance_nm)} for {chosen} to be chosen and the clearance. Read the "
        "assembled pack as its manual says before you trust it."
    )
    if any(slot.role == Role.WAVE for slot in slots):
        text += f" The wave plate is counted {wave_counted(spec, question)}."
    return caution("room", text)


def _of_convention(spec: Spec, question: Question) -> list[dict[str, str]]:
    """A reading taken otherwise than the window was written for, where no arithmetic brings it back."""
    found = []
    # An empty drum is not what the window was written for, nor can it be loaded: the assembled pack is read for that.
    if spec.reads_method and question.method != spec.reads_method and not question.room:
        text = (
            f"The window was written for a reading by {spec.reads_method}, this one was taken by {question.method}: "
            "methods differ by more than arithmetic can take out. Read it as the manual does."
        )
        found.append(caution("method_differs", text))
    if question.soaked and spec.reads_soak != "soaked":
        dry = "The window is for dry frictions. " if spec.reads_soak == "dry" else ""
        text = f"{dry}Read with soaked frictions: swell is part of the number and is not taken out by arithmetic."
        found.append(caution("soaked", text))
    if spec.reads_soak == "soaked" and not question.soaked:
        text = "The window is for soaked frictions, and these were read dry: soaked they swell and take up clearance."
        found.append(caution("not_soaked", text))
    if spec.reads_load and not question.room and question.load.strip().lower() != spec.reads_load.strip().lower():
        said = f"it was read under {question.load}" if question.load else "nothing was said of it"
        text = f"The manual reads this pack under a load of {spec.reads_load}, and {said}. Load it as the manual says."
        found.append(caution("load_differs", text))
    if question.load and not spec.reads_load:
        text = f"Read under {question.load}; the spec prescribes no load. Does the manual read this pack under one?"
        found.append(caution("load_unknown", text))
    return found


def of_plates(
    *, slots: Sequence[Slot], question: Question, options: Sequence[dict[str, Any]], unit: str
) -> list[dict[str, str]]:
    """What the plates in the pack tell: limits that they break, and cones that the reading may have squeezed flat."""
    swap = {slot.name: slot.swap for slot in slots}
    found = []
    for name, entries in question.installed.items():
        for entry in entries:
            if entry.why:
                way_out = "It must go." if swap[name] else "The spec exchanges no plate of this slot: look at it again."
                why = " and ".join(entry.why)
                found.append(caution("must_go", f"{name}, {both(entry.thickness_nm, unit)}: {why}. {way_out}"))
    coned = [entry for entries in question.installed.values() for entry in entries if entry.cone_nm]
    if coned:
        text = f"{len(coned)} coned plate{'s' if len(coned) > 1 else ''} in the pack: "
        if question.room:
            text += "counted as thick as it was read, it takes up more unless it is squeezed flat."
        else:
            text += "squeezed flat when it was read, or not? Nobody can tell from the number."
        first = next((option for option in options if option["up_to_nm"] != option["predicted_nm"]), None)
        if first:
            text += (
                f" The first option that takes it out gives {both(first['predicted_nm'], unit)} if it was, and up to "
                f"{both(first['up_to_nm'], unit)} if not."
            )
        found.append(caution("coned", f"{text} Fit flat plates and read again."))
    return found


def _of_wave(spec: Spec, slots: Sequence[Slot], question: Question) -> list[dict[str, str]]:
    if not question.wave_state and not any(slot.role == "wave" for slot in slots):
        return []
    if question.room and spec.reads_wave:
        return []  # counted as the window is read
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


def of_gauge(
    *, spec: Spec, question: Question, measured: Mapping[str, float], shared: Mapping[str, float], sure: float
) -> list[dict[str, str]]:
    """Whether even the middle of the window could be sure when read like this, and which method could."""
    middle = half_even(Fraction(spec.low_nm + spec.high_nm, 2))
    as_read = reading_parts_of(spec, question, measured, shared)

    def could(parts: Iterable[Part]) -> bool:
        return conformance(middle, combined_u_nm(parts), spec.low_nm, spec.high_nm) >= sure

    if could(as_read):
        return []
    others = [replace(question, method=method, readings_nm=[0] * 3, gauge="") for method in READING_U_NM]
    parts = {other.method: reading_parts_of(spec, other, measured, shared) for other in others}
    better = [method for method in sorted(parts, key=lambda m: combined_u_nm(parts[m])) if could(parts[method])]
    way_out = (
        f"Three readings by {' or '.join(better)} could."
        if better
        else "No way of reading could be sure in so narrow a window: measure the assembled pack with care."
    )
    text = (
        f"The window is only {both(spec.high_nm - spec.low_nm)} wide: read like this, not even its middle would "
        f"be sure. {way_out}"
    )
    return [caution("gauge_too_coarse", text)]


def of_spec(*, match: Match, question: Question, band: str) -> list[dict[str, str]]:
    """What the spec itself forbids, and where the number stands beyond its window."""
    if band == "window":
        return []
    spec, found = match.spec, []
    if band == "allowed":
        text = "Out of the window, within the outer limits of the manual: allowed in a pack that runs, not to build to."
        found.append(caution("allowed_band", text))
    if not spec.adjustable:
        text = (
            "This pack has no adjustment. Stop and look: it is assembled wrongly or a part is worn. "
            "Do not make up for it with other plates."
        )
        found.append(caution("no_adjustment", text))
    elif set_stays(spec, question):
        found.append(caution("set_only", "The plates of this pack stay together: replace them as a set."))
    return found


def of_stack(*, spec: Spec, slots: Sequence[Slot], question: Question) -> list[dict[str, str]]:
    """Where the stack as it is breaks its own limits, or nobody knows whether it does."""
    found = []
    steels = [
        entry.thickness_nm
        for slot in slots
        if slot.role == Role.STEEL
        for entry in question.installed.get(slot.name, [])
    ]
    if spec.spread_nm is not None and steels and max(steels) - min(steels) > spec.spread_nm:
        text = (
            f"The steels of this pack differ by {both(max(steels) - min(steels))}, where {both(spec.spread_nm)} is "
            "allowed: as it is it cannot stay."
        )
        found.append(caution("uneven", text))
    if spec.splines_nm is not None and (standing_nm := standing(slots, question)) is None:
        text = (
            f"The plates may stand {both(spec.splines_nm)} high, so that the last one stays on its splines. Not every "
            "plate's thickness is known here: look at the last one yourself."
        )
        found.append(caution("splines_unknown", text))
    elif spec.splines_nm is not None and standing_nm is not None and standing_nm > spec.splines_nm:
        text = (
            f"The plates stand {both(standing_nm)} high, where {both(spec.splines_nm)} keeps the last one on its "
            "splines: look at it before anything else."
        )
        found.append(caution("beyond_splines", text))
    return found


#: What is said of a pack that is being built, and taken back once it is so no more.
OF_BUILT = ("pulled_out_of_window", "pulled_marginal")


def built_again(match: Match) -> None:
    """The cautions of a taken match after its prediction changed: what was said of the earlier one is taken back."""
    built = match.built
    assert built is not None
    match.cautions = [one for one in match.cautions if one["code"] not in OF_BUILT]
    told = f"With the plates as they were read {both(built['predicted_nm'])} is predicted"
    if not match.low_nm <= built["predicted_nm"] <= match.high_nm:
        text = (
            f"{told}, outside the window {both(match.low_nm)} to {both(match.high_nm)}. Do not build it so: have the "
            "pack asked again with what is really there."
        )
        match.cautions.append(caution("pulled_out_of_window", text))
    elif built["confidence"] == "marginal":
        text = f"{told}: only {built['probability']:.0%} likely in the window. Measure with care, or ask again."
        match.cautions.append(caution("pulled_marginal", text))


def raised(cautions: Sequence[dict[str, Any]], code: str) -> bool:
    """Whether this caution was raised."""
    return any(item["code"] == code for item in cautions)
