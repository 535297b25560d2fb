"""From a stack and its readings to a match: clearance, u, verdict, options, cautions. Nothing is saved here."""

import math
import uuid
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from plates.bench.cautions import of_gauge, of_plates, of_reading, of_spec, of_stack
from plates.bench.lying import lying_on
from plates.bench.models import Match
from plates.bench.options import numbered, searched, shortfall_of
from plates.bench.pose import Asked, Posed, pose, reading_parts_of
from plates.bench.question import (
    Question,
    WaveUnknown,
    may_adjust,
    wave_shift_nm,
    with_book_uncertainty,
    with_limits,
)
from plates.bench.repeatability import method_u_nm
from plates.bench.room import stays_nm, stays_of_gauge, with_stays
from plates.bench.short.holds import holds_that_close
from plates.bench.short.telephone import lines_of
from plates.bench.why_not import why_not
from plates.catalogue.selectors import stack_fetch
from plates.catalogue.spec_models import Spec
from plates.lengths import both, half_even, mean_nm
from plates.measuring.figures import figures_of
from plates.measuring.gauges import gauge_notes, shared_errors
from plates.measuring.uncertainty import Figures, agree, combined_u_nm, reading_parts
from shop.errors import Malformed, Refusal
from shop.people.models import Shop


class SuspectReading(Refusal):
    code, title = "suspect_reading", "These readings contradict each other"


def read_pack(*, spec: Spec, question: Question, measured: Mapping[str, float] | None = None) -> tuple[int, int]:
    """(as read, clearance in the window's convention), in nm. ``measured``: what the shop has found for u of its
    methods. Of an empty drum it is what is left for the plates to be chosen. Raises SuspectReading, WaveUnknown,
    BadRoom.
    """
    _points_check(spec, question.readings_nm, question.method, measured, question.figures, "/readings")
    as_read_nm = mean_nm(question.readings_nm)
    if second := question.second:
        method = second.method or question.method
        _points_check(spec, second.readings_nm, method, measured, question.figures, "/second/readings")
        methods = [question.method, method]
        as_read_nm = _averaged(as_read_nm, mean_nm(second.readings_nm), methods, measured, question.figures)
    differs = spec.reads_wave and question.wave_state and question.wave_state != spec.reads_wave
    free_nm = question.wave_free_nm or spec.wave_free_nm
    if differs and (free_nm is None or spec.wave_flat_nm is None or free_nm <= spec.wave_flat_nm):
        raise WaveUnknown(
            f"The window is written for the wave plate {spec.reads_wave}, the reading was taken with it "
            f"{question.wave_state}, and the wave's free height and flat thickness are not known. Read it "
            f"{spec.reads_wave}, or give the figures with the spec.",
            [("/wave_state", f"read it {spec.reads_wave}")],
        )
    taken_up_nm = stays_nm(question)
    if taken_up_nm >= as_read_nm:
        raise Malformed(
            f"What stays measures {both(taken_up_nm)} together, and the room {both(as_read_nm)}: nothing is left to be "
            "filled. Check the reading, and count the plates that stay.",
            [("/readings", "is no more than what stays")],
        )
    clearance_nm = as_read_nm - taken_up_nm + wave_shift_nm(spec, list(spec.slots.all()), question)
    if clearance_nm <= 0:
        raise Malformed(
            f"Translated to the wave plate {spec.reads_wave}, the clearance would be {both(clearance_nm)}: below zero. "
            "Check the reading and the wave's figures.",
            [("/readings", "does not go with this wave plate")],
        )
    return as_read_nm, clearance_nm


def _points_check(
    spec: Spec,
    readings_nm: Sequence[int],
    method: str,
    measured: Mapping[str, float] | None,
    figures: Figures,
    pointer: str,
) -> None:
    """Points of one reading may spread; two alone must also agree as two readings of one pack."""
    spread_nm = max(readings_nm) - min(readings_nm)
    allowed_nm = max((spec.high_nm - spec.low_nm) // 4, figures.spread_nm)
    if spread_nm > allowed_nm:
        raise SuspectReading(
            f"The readings spread over {both(spread_nm)}, more than {both(allowed_nm)}. The stack may sit tilted: "
            "reseat it, read again, and give the new readings.",
            [(pointer, "reseat the stack and read again")],
        )
    if len(readings_nm) == 2:
        _averaged(readings_nm[0], readings_nm[1], [method, method], measured, figures, pointer)


def _averaged(
    one_nm: int,
    other_nm: int,
    methods: Sequence[str],
    measured: Mapping[str, float] | None,
    figures: Figures,
    pointer: str = "/second/readings",
) -> int:
    """The mean of two readings of one pack. Raises SuspectReading where they differ by more than 2·√(u₁² + u₂²)."""
    parts = [reading_parts(method=method, readings=2, measured=measured, figures=figures) for method in methods]
    us_nm = [combined_u_nm(some) for some in parts]
    if not agree(one_nm, other_nm, *us_nm):
        most_nm = half_even(2 * math.hypot(*us_nm))
        raise SuspectReading(
            f"{both(one_nm)} and {both(other_nm)} differ by {both(abs(one_nm - other_nm))}, more than the "
            f"{both(most_nm)} by which two such readings may (2·√2·u): they are not averaged. Reseat the pack and read "
            "it again.",
            [(pointer, "reseat the stack and read again")],
        )
    return mean_nm([one_nm, other_nm])


def band_of(match: Match) -> str:
    """``window``; ``allowed`` within the outer limits, where a pack may run but is not built to; else ``beyond``."""
    if match.low_nm <= match.clearance_nm <= match.high_nm:
        return "window"
    if match.clearance_nm < match.low_nm:
        allowed = match.limit_low_nm is not None and match.clearance_nm >= match.limit_low_nm
    else:
        allowed = match.limit_high_nm is not None and match.clearance_nm <= match.limit_high_nm
    return "allowed" if allowed else "beyond"


def verdict_of(spec: Spec | Match, clearance_nm: int) -> str:
    if clearance_nm > spec.high_nm:
        return "high"
    return "low" if clearance_nm < spec.low_nm else "in_window"


class Found(NamedTuple):
    """Options without numbers yet, the shortfall where there is none, and what was kept away from them."""

    options: list[dict[str, Any]]
    shortfall: dict[str, Any] | None
    kept_away: list[dict[str, Any]]


def asked_of(match: Match, held_by: uuid.UUID | None) -> Asked:
    """The question of the match, to be posed with what lies on the bench of its job."""
    lying = lying_on(shop_id=match.shop_id, job=match.job.code if match.job else "", asking=match)
    return Asked(match.spec, Question.from_json(match.question), match.clearance_nm, held_by, lying)


def search_again(
    match: Match, sure: float, measured: Mapping[str, float] | None = None, let_in: Collection[uuid.UUID] = ()
) -> Found:
    """The match's question put to the shelf and the bench of its job as they are, what it holds itself included, and
    what the matches ``let_in`` hold. Takes its time: never under a lock.
    """
    stack_fetch(match.spec)
    held_by = None if match._state.adding else match.pk
    asked = asked_of(match, held_by)
    question = asked.question
    measured = method_u_nm(match.shop_id, question.figures) if measured is None else measured

    free = list(let_in)

    def put(let_in: Collection[uuid.UUID] = ()) -> Posed:
        return pose(replace(asked, let_in=[*free, *let_in]), sure=sure, measured=measured)

    posed = put()
    options, shortfall = searched(posed)
    kept_away = why_not(
        spec=match.spec, question=question, posed=posed, options=options, unit=match.unit, held_by=held_by
    )
    if not shortfall or not may_adjust(match.spec, question):
        return Found(options, None, kept_away)
    told = shortfall_of(posed, shortfall)
    told["say"] = lines_of(told["would_close"], match.spec, match.shop.unit_first)
    told["holds"] = holds_that_close(shop_id=match.shop_id, slots=posed.slots, held_by=held_by, put=put)
    return Found(options, told, kept_away)


def match_read(match: Match, question: Question, shop: Shop, let_in: Collection[uuid.UUID] = ()) -> None:
    """Everything that follows from a stack and its readings, by the figures of the shop as they are now, into the
    match; nothing is saved. ``let_in``: matches whose holds count as let go.
    """
    spec, sure = match.spec, shop.sure_level
    question = replace(question, figures=figures_of(shop))
    stack_fetch(spec)
    slots = list(spec.slots.all())
    notes = [gauge_notes(spec.shop_id, question.gauge, act=question.method)]
    if second := question.second:
        notes.append(gauge_notes(spec.shop_id, second.gauge, act=second.method or question.method))
    question = with_limits(slots, with_book_uncertainty(spec, slots, with_stays(spec, slots, question)))
    measured = method_u_nm(spec.shop_id, question.figures)
    as_read_nm, clearance_nm = read_pack(spec=spec, question=question, measured=measured)
    match.method, match.readings, match.question = question.method, question.texts, question.to_json()
    match.as_read_nm, match.clearance_nm = as_read_nm, clearance_nm
    shared = shared_errors(spec.shop_id, stays_of_gauge(question))
    shared |= {note.code: note.shared_u_nm for note in notes if note.shared_u_nm is not None}
    match.u_nm = combined_u_nm(reading_parts_of(spec, question, measured, shared))
    match.verdict = verdict_of(spec, clearance_nm)
    options, match.shortfall, match.kept_away = search_again(match, sure, measured, let_in)
    match.options = [*match.options, *numbered(options, match.next_option)]
    match.next_option += len(options)
    match.cautions = [
        *of_spec(match=match, question=question, band=band_of(match)),
        *of_stack(spec=spec, slots=slots, question=question),
        *of_reading(clearance_nm=clearance_nm, as_read_nm=as_read_nm, spec=spec, slots=slots, question=question),
        *of_plates(slots=slots, question=question, options=options, unit=match.unit),
        *of_gauge(spec=spec, question=question, measured=measured, shared=shared, sure=sure),
        *{warning["text"]: warning for note in notes for warning in note.warnings}.values(),
    ]


def match_refresh(match: Match, found: Found) -> None:
    """Fresh options into the match; the old ones are past, and their numbers with them. Nothing is saved."""
    fresh, match.shortfall, match.kept_away = found
    match.options = [{**option, "past": True} for option in match.options] + numbered(fresh, match.next_option)
    match.next_option += len(fresh)
