"""Counting a bin: every plate in it is read, blind, and what the ledger says otherwise is booked after a second look.
A count that nobody will finish is dropped: stock stays as it is.

What somebody took, held or laid in while the count went on is left out: it is neither missing nor too many.
"""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Q
from django.db.models.functions import Now

from plates.catalogue.models import Kind
from plates.catalogue.selectors import tolerance_of
from plates.measuring.gauges import gauge_notes
from plates.stock.compare import Recorded, pairs_of
from plates.stock.count_models import BinCount
from plates.stock.findings import Reading
from plates.stock.holds import holds_run_out
from plates.stock.models import LYING, Bin, Plate, Reason, State
from plates.stock.plausible import fits_kind
from shop.errors import NotFound, WrongState
from shop.people.models import Person


@dataclass(frozen=True)
class Counted:
    """A count set against the ledger. Rows are those of ``readings_nm``; the zero error of the gauge is taken off."""

    readings_nm: list[int]
    agreed: list[Plate]
    doubtful: list[tuple[int, Plate]]
    over: list[int]
    missing: list[Plate]
    left_out: list[Plate]
    #: Kinds of the fit and role of the bin, by nominal.
    kinds: list[Kind]

    @property
    def clean(self) -> bool:
        return not (self.doubtful or self.over or self.missing)


def count_begin(*, person: Person, found: Bin, gauge: str = "", made_key: str | None = None) -> BinCount:
    """Begin to count this bin, as it is in the ledger now. Raises GaugeWithdrawn."""
    person.require("stock")
    gauge_notes(person.shop_id, gauge, act="plate")
    holds_run_out(shop_id=person.shop_id)
    lying = Plate.objects.filter(shop_id=person.shop_id, bin=found, state__in=LYING)
    seen = {str(pk): revision for pk, revision in lying.values_list("pk", "revision")}
    return BinCount.objects.create(
        shop_id=person.shop_id, bin=found, person=person, gauge=gauge, seen=seen, made_key=made_key
    )


def count_lock(*, person: Person, count_id: uuid.UUID, all_read: bool) -> BinCount:
    """The count, locked, while plates are being read or (``all_read``) once they are. Raises NotFound, WrongState."""
    person.require("stock")
    count = _unfinished(person, count_id)
    if (count.all_read_at is not None) != all_read:
        raise WrongState("Say first that all are read." if all_read else "All are read. Only a second look is missing.")
    return count


def _lock(person: Person, count_id: uuid.UUID) -> BinCount | None:
    rows = BinCount.objects.select_for_update(of=("self",)).select_related("bin__fit")
    return rows.filter(shop_id=person.shop_id, pk=count_id).first()


def _unfinished(person: Person, count_id: uuid.UUID) -> BinCount:
    count = _lock(person, count_id)
    if count is None:
        raise NotFound(f"Nothing here has the id {count_id}.")
    for done, said in ((count.booked_at, "booked"), (count.dropped_at, "dropped")):
        if done is not None:
            raise WrongState(f"This count is {said} already. Look at its page, or count the bin again.")
    return count


def may_drop(person: Person, count: BinCount) -> bool:
    """Whoever began a count may drop it, with the right to stock or since without, and whoever has that right."""
    return count.person_id == person.pk or person.may("stock")


def count_drop(*, person: Person, count_id: uuid.UUID) -> BinCount:
    """An unfinished count is given up. Nothing in stock changes, what was read stays on record. Raises NotFound,
    WrongState, Forbidden.
    """
    count = _unfinished(person, count_id)
    if not may_drop(person, count):
        person.require("stock")
    count.dropped_at, count.dropped_by = Now(), person
    count.save(update_fields=["dropped_at", "dropped_by"])
    return count


def count_read(*, person: Person, count_id: uuid.UUID, reading: Reading) -> BinCount:
    """One more plate of the bin was read. Raises GaugeWithdrawn, and BadFigures for no more than the gauge's zero
    error: at the end only the last reading can be taken back.
    """
    count = count_lock(person=person, count_id=count_id, all_read=False)
    reading.less(gauge_notes(count.shop_id, count.gauge, act="plate").zero_nm)
    count.readings.append({"typed": reading.kept, "points_nm": reading.points_nm})
    count.save(update_fields=["readings"])
    return count


def count_unread(*, person: Person, count_id: uuid.UUID) -> BinCount:
    """The last reading does not count. Raises WrongState when there is none."""
    count = count_lock(person=person, count_id=count_id, all_read=False)
    if not count.readings:
        raise WrongState("Nothing was read yet.")
    count.readings.pop()
    count.save(update_fields=["readings"])
    return count


def count_all_read(*, person: Person, count_id: uuid.UUID) -> BinCount:
    """That is all. A count that agrees with the ledger is booked at once."""
    count = count_lock(person=person, count_id=count_id, all_read=False)
    count.all_read_at = Now()
    found = counted(count)
    if found.clean:
        count_close(count, found, {})
    count.save()
    return count


def plates_of(count: BinCount) -> Q:
    """What lay in the bin when the count began, and what lies in it now."""
    return Q(shop_id=count.shop_id) & (Q(pk__in=list(count.seen)) | Q(bin=count.bin_id, state__in=LYING))


def readings_of(count: BinCount) -> list[Reading]:
    """As typed, the zero error of the gauge taken off. Raises GaugeWithdrawn."""
    zero_nm = gauge_notes(count.shop_id, count.gauge, act="plate").zero_nm
    return [Reading(one["typed"], one["points_nm"]).less(zero_nm) for one in count.readings]


def counted(count: BinCount, plates: Sequence[Plate] | None = None) -> Counted:
    """The count set against the ledger as it is now, or against these plates, which are locked."""
    if plates is None:
        plates = list(Plate.objects.filter(plates_of(count)).select_related("kind", "match").order_by("pk"))
    kinds = list(
        Kind.objects.filter(shop_id=count.shop_id, fit=count.bin.fit_id, role=count.bin.role).order_by("nominal_nm")
    )
    moved = [count.seen.get(str(plate.pk)) != plate.revision for plate in plates]
    recorded = [
        Recorded(plate.thickness_nm, plate.u_nm, tolerance_of(plate.kind, kinds), away)
        for plate, away in zip(plates, moved, strict=True)
    ]
    readings_nm = [reading.thickness_nm for reading in readings_of(count)]
    pairs = pairs_of(readings_nm, recorded)
    return Counted(
        readings_nm,
        [plates[place] for _, place in pairs.agreed if not moved[place]],
        [(row, plates[place]) for row, place in pairs.doubtful],
        pairs.over,
        [plates[place] for place in pairs.missing],
        [plate for plate, away in zip(plates, moved, strict=True) if away],
        kinds,
    )


def lost_before(count: BinCount, readings_nm: Sequence[int]) -> list[Plate]:
    """Plates of this bin that were lost and agree with one of these readings; one query."""
    lost = Plate.objects.filter(
        shop_id=count.shop_id, bin=count.bin_id, state=State.HANDED_OUT, hand_out__reason=Reason.LOST
    ).select_related("kind", "hand_out")
    return [
        plate
        for plate in lost.order_by("-hand_out__at", "pk")
        if any(is_of(reading_nm, plate) for reading_nm in readings_nm)
    ]


def is_of(reading_nm: int, plate: Plate) -> bool:
    """Whether a reading agrees with what is on record of this plate."""
    return abs(reading_nm - plate.thickness_nm) <= Recorded(plate.thickness_nm, plate.u_nm).within_nm


def count_close(count: BinCount, found: Counted, became: Mapping[str, list[uuid.UUID]]) -> None:
    differ = {plate for plates in became.values() for plate in plates}
    there = [plate.pk for plate in (*found.agreed, *found.missing, *(plate for _, plate in found.doubtful))]
    outcome = {
        **became,
        "agreed": [plate for plate in there if plate not in differ],
        "left_out": [plate.pk for plate in found.left_out],
    }
    count.outcome = {name: [str(plate) for plate in plates] for name, plates in outcome.items()}
    count.booked_at = Now()


def kinds_read(found: Counted, row: int) -> list[Kind]:
    """What a reading without a plate may be: the kinds that it is plausible for, else all."""
    may_be = [kind for kind in found.kinds if fits_kind(kind, found.kinds, found.readings_nm[row])]
    return may_be or found.kinds
