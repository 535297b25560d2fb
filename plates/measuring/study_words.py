"""A gauge study in plain words: how much of the spread is the gauge, what it can tell apart, what to do.

The bounds of 10 % and 30 % of the spread and of five categories are those of AIAG, *Measurement Systems Analysis*,
4th edition, chapter II, section D.
"""

from plates.lengths import half_even, length_parse, thou
from plates.measuring.models import GaugeStudy
from plates.measuring.studies import Study, analysis_of_variance, average_and_range

GOOD, BAD, ENOUGH = 0.10, 0.30, 5
METHODS = {"average_and_range": average_and_range, "analysis_of_variance": analysis_of_variance}


def study_results(row: GaugeStudy) -> dict[str, Study]:
    """Both analyses of a stored study, in nanometres."""
    readings = [[[float(length_parse(text)) for text in trial] for trial in trials] for trials in row.readings]
    return {name: method(readings) for name, method in METHODS.items()}


def study_words(study: Study) -> list[str]:
    """Sentences: the share of the spread, how many sizes it can tell apart, what to do."""
    if not study.total:
        return ["Every reading is the same: the gauge shows too few places for this. Study a finer gauge."]
    if study.categories is None:
        return ["Every plate reads the same each time: the gauge shows too few places. Study a finer gauge."]
    sizes = f"{study.categories} size{'' if study.categories == 1 else 's'}"
    return [
        f"{study.share:.0%} of the spread is the gauge and the people, the rest is the plates.",
        f"Of plates like these it can tell {sizes} apart; {ENOUGH} are enough to sort by.",
        _advice(study),
    ]


def _advice(study: Study) -> str:
    if study.share < GOOD and (study.categories or 0) >= ENOUGH:
        return "Good for this work. Do the study again in a year."
    if study.share <= BAD and (study.categories or 0) >= ENOUGH:
        said = "It will do. "
    else:
        said = "Not good enough to sort plates by. "
    one, between = (thou(half_even(value), 2) for value in (study.equipment, study.appraiser))
    if study.appraiser > study.equipment:
        way = "people differ more than the gauge: agree on where and how hard to measure, and use the ratchet"
    else:
        way = "the gauge does not repeat: clean its faces, check it, or take a finer one"
    return f"{said}One person repeats within {one} thou, people differ by {between} thou (standard deviations): {way}."
