"""Writes of the measuring room: gauges, their checks, their withdrawal, studies.

``at`` is when it happened; None means now, by the database's clock.
"""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models.functions import Now

from plates.lengths import INCH, both, mean_nm
from plates.measuring.models import BadGauge, Gauge, GaugeCheck, GaugeStudy, GaugeType
from shop.errors import NotFound, Refusal, WrongState
from shop.people.models import Person

#: A check that is off by more than this is a slip of the hand until somebody confirms it: another unit or block.
FAR_OFF_NM = INCH * 20 // 1000
#: What a study takes at most: people, trials and plates.
MOST_PEOPLE, MOST_TRIALS, MOST_PLATES = 6, 6, 20


class FarFromStandard(Refusal):
    code, title = "far_from_standard", "The readings are far from the standard"


class BadStudy(Refusal):
    code, title = "bad_study", "The study is not whole"


@dataclass(frozen=True)
class Defaults:
    """What is taken for a gauge when nobody says otherwise."""

    resolution_nm: int
    limit_nm: int
    interval_days: int


#: The micrometer's limit of error: DIN 863, extract of an old edition, 4 µm up to 50 mm. All else is common practice,
#: no source.
DEFAULTS = {
    GaugeType.MICROMETER: Defaults(INCH // 10_000, 4_000, 90),
    GaugeType.FEELER: Defaults(INCH // 1_000, INCH * 5 // 10_000, 365),
    GaugeType.INDICATOR: Defaults(INCH * 5 // 10_000, INCH * 5 // 10_000, 180),
    GaugeType.DEPTH: Defaults(INCH // 1_000, INCH * 5 // 10_000, 180),
}


def gauge_make(
    *,
    person: Person,
    code: str,
    type: str,
    resolution_nm: int | None = None,
    limit_nm: int | None = None,
    interval_days: int | None = None,
    note: str = "",
) -> Gauge:
    """A new gauge; what is left None is taken from :data:`DEFAULTS`. ``interval_days`` 0: never due.

    Raises CodeTaken, BadGauge.
    """
    person.require("gauges")
    usual = DEFAULTS[GaugeType(type)]
    if interval_days is not None and interval_days < 0:
        raise BadGauge("A check interval is at least a day; 0 for never.", [("/interval_days", "is not below 0")])
    return Gauge.objects.create(
        shop_id=person.shop_id,
        code=code,
        type=type,
        resolution_nm=usual.resolution_nm if resolution_nm is None else resolution_nm,
        limit_nm=usual.limit_nm if limit_nm is None else limit_nm,
        interval_days=(usual.interval_days if interval_days is None else interval_days) or None,
        note=note,
    )


def gauge_lock(*, person: Person, gauge_id: uuid.UUID) -> Gauge:
    """The gauge, locked: its zero in force is the one that a check is held against. Raises NotFound."""
    gauge = Gauge.objects.select_for_update(no_key=True).filter(shop_id=person.shop_id, pk=gauge_id).first()
    if gauge is None:
        raise NotFound(f"Nothing here has the id {gauge_id}.")
    return gauge


def gauge_check(
    *,
    person: Person,
    gauge_id: uuid.UUID,
    standard_nm: int,
    texts: list[str],
    readings_nm: Sequence[int],
    then: str = "",
    confirm: bool = False,
    made_key: str | None = None,
    at: datetime | None = None,
) -> GaugeCheck:
    """A check against a standard: error = mean of the readings - standard; passed when what the zero error in force
    leaves of it is within the limit of error, the limit included.

    ``then`` says what was done with the gauge after it. Nothing; ``zeroed``: it was set to zero again, so that no zero
    error is in force; ``in_force``: the error found is taken off every plate from now on, for micrometers only.
    Raises FarFromStandard unless confirmed, BadGauge.
    """
    person.require("gauges")
    gauge = gauge_lock(person=person, gauge_id=gauge_id)
    error_nm = mean_nm(readings_nm) - standard_nm
    if abs(error_nm) > FAR_OFF_NM and not confirm:
        raise FarFromStandard(
            f"The readings are {both(abs(error_nm))} off the standard {both(standard_nm)}. That is hardly the gauge: "
            "is it another unit, or another block? Read again, or confirm that it is so.",
            [("/readings", f"off the standard by more than {both(FAR_OFF_NM)}"), ("/confirm", "send true if it is so")],
        )
    if then == "in_force" and gauge.type != GaugeType.MICROMETER:
        raise BadGauge(
            "A zero error in force is taken off plates, which micrometers read. A clearance by indicator or depth "
            "gauge is the difference of two readings, so it cancels there; a feeler blade that is off is replaced. Set "
            "the gauge right, or withdraw it.",
            [("/then", "is for micrometers")],
        )
    after = {"": gauge.zero_nm, "zeroed": 0, "in_force": error_nm}
    check = GaugeCheck.objects.create(
        **({} if at is None else {"at": at}),
        shop_id=person.shop_id,
        gauge=gauge,
        person=person,
        standard_nm=standard_nm,
        readings=texts,
        error_nm=error_nm,
        zero_before_nm=gauge.zero_nm,
        zero_after_nm=after[then],
        passed=gauge.passes(error_nm),
        made_key=made_key,
    )
    gauge.zero_nm = check.zero_after_nm
    gauge.save(update_fields=["zero_nm"])
    check.refresh_from_db(fields=["at"])
    return check


def gauge_withdraw(*, person: Person, gauge_id: uuid.UUID, reason: str) -> Gauge:
    """Take a gauge out of use, for a reason: nothing is booked with it any more. Raises WrongState."""
    person.require("gauges")
    gauge = gauge_lock(person=person, gauge_id=gauge_id)
    if gauge.withdrawn_at is not None:
        raise WrongState(f"Gauge {gauge.code} is withdrawn already: {gauge.withdrawn_why}.")
    Gauge.objects.filter(shop_id=gauge.shop_id, pk=gauge.pk).update(withdrawn_at=Now(), withdrawn_why=reason)
    gauge.refresh_from_db()
    return gauge


def gauge_return(*, person: Person, gauge_id: uuid.UUID) -> Gauge:
    """Take a withdrawn gauge back into use; its checks say whether it is to be trusted. Raises WrongState."""
    person.require("gauges")
    gauge = gauge_lock(person=person, gauge_id=gauge_id)
    if gauge.withdrawn_at is None:
        raise WrongState(f"Gauge {gauge.code} is in use.")
    gauge.withdrawn_at, gauge.withdrawn_why = None, ""
    gauge.save(update_fields=["withdrawn_at", "withdrawn_why"])
    return gauge


#: Texts as typed with their lengths, as [person][trial][plate].
StudyReadings = Sequence[Sequence[Sequence[tuple[str, int]]]]


def gauge_study(
    *,
    person: Person,
    gauge: Gauge,
    people: list[str],
    plates: list[str],
    readings: StudyReadings,
    made_key: str | None = None,
    at: datetime | None = None,
) -> GaugeStudy:
    """A crossed study: every person read every plate in every trial. Raises BadStudy where it is not whole."""
    person.require("gauges")
    _study_check(people, plates, readings)
    return GaugeStudy.objects.create(
        **({} if at is None else {"at": at}),
        shop_id=person.shop_id,
        gauge=gauge,
        person=person,
        people=people,
        plates=plates,
        trials=len(readings[0]),
        readings=[[[text for text, _ in trial] for trial in trials] for trials in readings],
        made_key=made_key,
    )


def _study_check(people: list[str], plates: list[str], readings: StudyReadings) -> None:
    for names, what, most in ((people, "people", MOST_PEOPLE), (plates, "plates", MOST_PLATES)):
        if not 2 <= len(names) <= most:
            raise BadStudy(f"A study takes 2 to {most} {what}.", [(f"/{what}", f"name 2 to {most}")])
        if len(set(names)) < len(names):
            raise BadStudy(f"Two {what} of this study have the same name.", [(f"/{what}", "give each its own name")])
    if len(readings) != len(people):
        raise BadStudy(f"{len(people)} people read, so there are {len(people)} lists.", [("/readings", "one a person")])
    count = len(readings[0])
    if not 2 <= count <= MOST_TRIALS:
        raise BadStudy(f"A study takes 2 to {MOST_TRIALS} trials.", [("/readings/0", f"2 to {MOST_TRIALS} trials")])
    for row, trials in enumerate(readings):
        if len(trials) != count:
            said = f"{people[row]} read {len(trials)} trials, not {count}."
            raise BadStudy(said, [(f"/readings/{row}", f"give {count} trials")])
        for column, trial in enumerate(trials):
            if len(trial) != len(plates):
                raise BadStudy(
                    f"{people[row]} read {len(trial)} plates in trial {column + 1}, not {len(plates)}.",
                    [(f"/readings/{row}/{column}", f"give {len(plates)} readings")],
                )
