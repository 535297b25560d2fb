"""Thirty jobs of the past months: asked, taken, built, measured again; some short of a plate, some still open."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from functools import partial
from random import Random
from typing import Any

from plates.bench.ask import match_ask
from plates.bench.final import match_final
from plates.bench.models import Match, MatchState
from plates.bench.question import Entry, PackReading, Question
from plates.bench.take import match_hold, match_take
from plates.catalogue.spec_models import Spec
from plates.lengths import INCH, MM, inch, length_parse, mm
from shop.demo import gauges
from shop.demo.catalogue import Catalogue
from shop.demo.crew import Crew, committed


def jobs(
    crew: Crew, stock: Catalogue, now: datetime, rows: list[dict[str, Any]]
) -> Iterator[tuple[datetime, Callable[[], object]]]:
    for number, row in enumerate(rows):
        at = now - timedelta(minutes=round(row["days_ago"] * 24 * 60))
        rng = Random(f"job {number}")  # noqa: S311 - the same shop every time
        yield at, partial(_job, crew, stock.specs[row["spec"]], row, rng, at)


def question_of(row: dict[str, Any]) -> Question:
    """The question of a row: readings and installed plates as texts with their units."""
    return Question(
        method=row["method"],
        texts=row["readings"],
        readings_nm=[length_parse(text) for text in row["readings"]],
        installed={
            slot: [Entry(length_parse(text), gauge=gauges.BENCH) for text in lengths]
            for slot, lengths in row["installed"].items()
        },
        wave_state=row.get("wave_state", ""),
        gauge=gauges.BY_METHOD[row["method"]],
    )


def _job(crew: Crew, spec: Spec, row: dict[str, Any], rng: Random, at: datetime) -> None:
    """From the question as far as the row says: open, held, taken, or built and measured (the usual end)."""
    match = match_ask(
        person=crew.bench, spec=spec, question=question_of(row), run=committed, job=row["job"], counted=True, at=at
    )
    end = row.get("then", "closed")
    if end == "open":
        return
    if end == "held":
        match_hold(
            person=crew.bench, match_id=match.pk, option=_chosen(match), run=committed, at=at + timedelta(minutes=2)
        )
        return
    for residual in row.get("finals", [None]):
        at += timedelta(minutes=6)
        match = _taken(crew, match, at)
        if end == "taken":
            return
        at += timedelta(minutes=95)
        match = _measured(crew, match, row["method"], residual, rng, at)
    assert match.state == MatchState.CLOSED, f"{row['job']} did not come out as told"


def _chosen(match: Match) -> int:
    """The option a rebuilder would take: the first, which is a sure one wherever there is one, unless it changes
    nothing."""
    shown = [option for option in match.options if not option.get("past")]
    assert shown, f"the demo shelf answers nothing for match {match.number}"
    return int(shown[0]["number"])


def _taken(crew: Crew, match: Match, at: datetime) -> Match:
    """Take what is to change; a pack that is in its window as it stands needs nothing, and is measured at once."""
    number = _chosen(match)
    option = next(option for option in match.options if option["number"] == number)
    if not option["changes"]:
        return match
    return match_take(person=crew.bench, match_id=match.pk, option=number, run=committed, at=at)


def _measured(crew: Crew, match: Match, method: str, residual: str | None, rng: Random, at: datetime) -> Match:
    """The final check: off the prediction by the residual told, else by one drawn from the prediction's own u."""
    number = match.option_taken or _chosen(match)
    option = next(option for option in match.options if option["number"] == number)
    drawn = max(-1.2, min(1.2, rng.gauss(0, 0.7))) * option["u_nm"]
    # A gauge reads in the convention of the question: a wave translation is taken back out.
    as_read_nm = option["predicted_nm"] - (match.clearance_nm - match.as_read_nm)
    middle_nm = as_read_nm + (length_parse(residual) if residual else round(drawn))
    texts = [_shown(middle_nm, match.spec.unit, step) for step in (0, rng.choice((-1, 1)), 0)]
    readings_nm = [length_parse(text) for text in texts]
    reading = PackReading(method, texts, readings_nm, gauges.BY_METHOD[method])
    return match_final(person=crew.bench, match_id=match.pk, reading=reading, run=committed, at=at)


def _shown(length_nm: int, unit: str, steps: int) -> str:
    """As a gauge of 0.0005 in or 0.01 mm shows it, so many steps beside."""
    step_nm = INCH // 2000 if unit == "in" else MM // 100
    nm = (round(length_nm / step_nm) + steps) * step_nm
    return f"{inch(nm)} in" if unit == "in" else f"{mm(nm)} mm"
