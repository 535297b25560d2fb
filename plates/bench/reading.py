"""From a stack and its readings to a match: clearance, u, verdict, options, cautions. Nothing is saved here."""

from typing import Any

from django.db.models import prefetch_related_objects

from plates.bench.cautions import of_gauge, of_reading, of_spec
from plates.bench.models import Match
from plates.bench.options import numbered, searched, shortfall_of
from plates.bench.pose import pose
from plates.bench.question import Question, wave_shift_nm, with_book_uncertainty
from plates.catalogue.models import Spec
from plates.catalogue.selectors import STACK
from plates.lengths import INCH, both, mean_nm
from plates.measuring.uncertainty import reading_u_nm
from shop.errors import Malformed, Refusal

#: Readings of one pack may spread over this much, or a quarter of the window's width, whichever is more.
SPREAD_NM = INCH * 3 // 1000


class SuspectReading(Refusal):
    code, title = "suspect_reading", "These readings contradict each other"


class WaveUnknown(Refusal):
    code, title = "wave_unknown", "The wave plate's figures are missing"


def read_pack(*, spec: Spec, question: Question) -> tuple[int, int]:
    """(as read, clearance in the window's convention), in nm. Raises SuspectReading, WaveUnknown."""
    spread_nm = max(question.readings_nm) - min(question.readings_nm)
    allowed_nm = max((spec.high_nm - spec.low_nm) // 4, SPREAD_NM)
    if spread_nm > allowed_nm:
        raise SuspectReading(
            f"The readings spread over {both(spread_nm)}, more than {both(allowed_nm)}. The stack may sit tilted: "
            "reseat it, read again, and give the new readings.",
            [("/readings", "reseat the stack and read again")],
        )
    differs = spec.reads_wave and question.wave_state and question.wave_state != spec.reads_wave
    free_nm = question.wave_free_nm or spec.wave_free_nm
    if differs and (free_nm is None or spec.wave_flat_nm is None or free_nm <= spec.wave_flat_nm):
        raise WaveUnknown(
            f"The window is written for the wave plate {spec.reads_wave}, the reading was taken with it "
            f"{question.wave_state}, and the wave's free height and flat thickness are not known. Read it "
            f"{spec.reads_wave}, or give the figures with the spec.",
            [("/wave_state", f"read it {spec.reads_wave}")],
        )
    as_read_nm = mean_nm(question.readings_nm)
    clearance_nm = as_read_nm + wave_shift_nm(spec, list(spec.slots.all()), question)
    if clearance_nm <= 0:
        raise Malformed(
            f"Translated to the wave plate {spec.reads_wave}, the clearance would be {both(clearance_nm)}: below zero. "
            "Check the reading and the wave's figures.",
            [("/readings", "does not go with this wave plate")],
        )
    return as_read_nm, clearance_nm


def verdict_of(spec: Spec | Match, clearance_nm: int) -> str:
    if clearance_nm > spec.high_nm:
        return "high"
    return "low" if clearance_nm < spec.low_nm else "in_window"


#: Options without numbers yet, and the shortfall where there is none.
Found = tuple[list[dict[str, Any]], dict[str, Any] | None]


def search_again(match: Match, sure: float) -> Found:
    """The match's question put to the shelf as it is, what it holds itself included. Takes its time: never under a
    lock.
    """
    prefetch_related_objects([match.spec], *STACK)
    question = Question.from_json(match.question)
    posed = pose(
        spec=match.spec,
        question=question,
        clearance_nm=match.clearance_nm,
        sure=sure,
        held_by=None if match._state.adding else match.pk,
    )
    options, shortfall = searched(posed)
    if not match.spec.adjustable or match.spec.set_only:
        shortfall = None
    return options, shortfall_of(posed, shortfall) if shortfall else None


def match_read(match: Match, question: Question, sure: float) -> None:
    """Everything that follows from a stack and its readings, into the match; nothing is saved."""
    spec = match.spec
    prefetch_related_objects([spec], *STACK)
    question = with_book_uncertainty(spec, list(spec.slots.all()), question)
    as_read_nm, clearance_nm = read_pack(spec=spec, question=question)
    slots = list(spec.slots.all())
    translated = clearance_nm != as_read_nm
    match.method, match.readings, match.question = question.method, question.texts, question.to_json()
    match.as_read_nm, match.clearance_nm = as_read_nm, clearance_nm
    match.u_nm = reading_u_nm(method=question.method, readings=len(question.readings_nm), translated=translated)
    match.verdict = verdict_of(spec, clearance_nm)
    options, match.shortfall = search_again(match, sure)
    match.options = [*match.options, *numbered(options, match.next_option)]
    match.next_option += len(options)
    match.cautions = [
        *of_spec(spec=spec, in_window=match.verdict == "in_window"),
        *of_reading(clearance_nm=clearance_nm, as_read_nm=as_read_nm, spec=spec, slots=slots, question=question),
        *of_gauge(spec=spec, question=question, translated=translated, sure=sure),
    ]


def match_refresh(match: Match, found: Found) -> None:
    """Fresh options into the match; the old ones are past, and their numbers with them. Nothing is saved."""
    fresh, match.shortfall = found
    match.options = [{**option, "past": True} for option in match.options] + numbered(fresh, match.next_option)
    match.next_option += len(fresh)
