"""A gauge is found to read wrongly: the plates that were read with it, and new thicknesses for them.

Nothing is overwritten. The old line keeps what was typed; a new one carries the thickness without the error. When it
began nobody knows, so everything read since the gauge was last known to be good counts as read with the error found.
"""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import OuterRef, QuerySet, Subquery
from django.db.models.functions import Now

from plates.lengths import both
from plates.measuring.models import GaugeCheck
from plates.measuring.selectors import wrong_since_good
from plates.stock.bins import bin_for
from plates.stock.holds import holds_run_out
from plates.stock.ledger import Change, ledger_write
from plates.stock.ledger_models import Act, LedgerLine
from plates.stock.models import LYING, Bin, Plate, State
from plates.stock.selectors import ledger, plates
from shop.errors import Malformed, Refusal
from shop.people.models import Person

#: A plate that is no more, or no longer the same, is left as it was.
ENDED = (State.REWORKED, State.SCRAPPED)


class NothingWrong(Refusal):
    code, title = "nothing_wrong", "This check found no error"


class NotAffected(Refusal):
    code, title = "not_affected", "This plate was not read with the error"


@dataclass(frozen=True)
class Corrected:
    """One plate with its thickness before and after, the bin that it lay in, and the check that found the error."""

    plate: Plate
    before_nm: int
    was_in: str | None
    check: GaugeCheck

    @property
    def error_nm(self) -> int:
        return error_of(self.check)


@dataclass(frozen=True)
class Errors:
    """What a gauge read too much, by the time of the reading: since it was last good, up to this failed check."""

    gauge: str
    since: datetime | None
    checks: list[GaugeCheck]

    @classmethod
    def of(cls, check: GaugeCheck) -> "Errors":
        """Raises NothingWrong for a check that passed."""
        if check.passed:
            raise NothingWrong(
                f"Gauge {check.gauge.code} was good at this check: there is nothing to correct.",
                [("/check", "name a check that failed")],
            )
        since, checks = wrong_since_good(check)
        return cls(check.gauge.code, since, checks)

    @property
    def until(self) -> datetime:
        return self.checks[-1].at

    def check_at(self, read_at: datetime) -> GaugeCheck | None:
        """The check that found what was wrong then: the first one after it. None where nothing was."""
        if self.since is not None and read_at <= self.since:
            return None
        return next((check for check in self.checks if read_at <= check.at), None)


def error_of(check: GaugeCheck) -> int:
    """What lengths booked before this check are too much by: the error found less the zero error that was taken off."""
    return check.error_nm - check.zero_before_nm


def error_words(check: GaugeCheck) -> str:
    """``0.0003 in (0.008 mm) high``."""
    error_nm = error_of(check)
    return f"{both(abs(error_nm))} {'high' if error_nm > 0 else 'low'}"


def plates_read_wrongly(shop_id: uuid.UUID, errors: Errors) -> QuerySet[Plate]:
    """The plates that are still there and whose present thickness was read with the error, each with ``read_at``.

    A plate that was read again since, or corrected, is not among them.
    """
    own = LedgerLine.objects.filter(shop_id=shop_id, gauge=errors.gauge)
    within = own.filter(at__lte=errors.until, **({} if errors.since is None else {"at__gt": errors.since}))
    last = own.filter(plate=OuterRef("pk")).order_by("-seq")
    return (
        plates(shop_id)
        .filter(gauge=errors.gauge, pk__in=within.values("plate"))
        .exclude(state__in=ENDED)
        .annotate(read_at=Subquery(last.values("at")[:1]), last_check=Subquery(last.values("findings__check")[:1]))
        .filter(last_check__isnull=True, read_at__lte=errors.until)
        .order_by("id")
    )


def corrected_for(check: GaugeCheck) -> bool:
    """Whether plates were corrected for this check before."""
    if check.corrected_at is not None:
        return True
    return lines_of(check).exists()


def lines_of(check: GaugeCheck) -> QuerySet[LedgerLine]:
    """The ledger lines by which plates were corrected for this check; ``findings`` says from which bin, and by what."""
    lines = ledger(check.shop_id).filter(gauge=check.gauge.code, at__gt=check.at, act=Act.CORRECTED)
    return lines.filter(findings__check=str(check.pk))


def plates_correct(*, person: Person, errors: Errors, plate_ids: Sequence[uuid.UUID] | None = None) -> list[Corrected]:
    """Take the error off these plates, or off all that were read with it; each goes into the bin that spans it now.

    A plate that was corrected for these checks before is passed over. When none is left, the checks are marked as
    done. Raises NotAffected, Malformed for plates that are none of the shop's.
    """
    person.require("stock")
    holds_run_out(shop_id=person.shop_id)
    affected = plates_read_wrongly(person.shop_id, errors)
    wanted = affected if plate_ids is None else affected.filter(pk__in=plate_ids)
    locked = _lock(person, wanted)
    rows = list(wanted.filter(pk__in=locked))  # looked at again: some may have been corrected while we waited
    if plate_ids is not None:
        _others_check(person, errors, plate_ids, {plate.pk for plate in rows})
    done = [one for check in errors.checks for one in _correct(person, errors, check, rows)]
    if not affected.exists():
        checks = GaugeCheck.objects.filter(shop_id=person.shop_id, pk__in=[check.pk for check in errors.checks])
        checks.filter(corrected_at=None).update(corrected_at=Now())
    return done


def _lock(person: Person, wanted: QuerySet[Plate]) -> list[uuid.UUID]:
    """Lock these plates in the order of their ids."""
    own = Plate.objects.select_for_update().filter(shop_id=person.shop_id)
    rows = own.filter(pk__in=wanted.values("pk")).order_by("pk")
    return list(rows.values_list("pk", flat=True))


def _correct(person: Person, errors: Errors, check: GaugeCheck, rows: Sequence[Plate]) -> list[Corrected]:
    """The plates whose readings this check found wrong."""
    error_nm = error_of(check)
    mine = [plate for plate in rows if errors.check_at(plate.read_at) == check]  # type: ignore[attr-defined]
    if not mine:
        return []
    bins = list(Bin.objects.filter(shop_id=person.shop_id, fit__in={plate.fit_id for plate in mine}))
    was_in = {plate.pk: plate.bin.code if plate.bin else None for plate in mine}
    ledger_write(
        person=person,
        act=Act.CORRECTED,
        changes=[_change(plate, check, error_nm, bins) for plate in mine],
        rebin=True,
        gauge=errors.gauge,
        reason=f"gauge {errors.gauge} read {error_words(check)}, check of {check.at:%Y-%m-%d}",
    )
    fresh = plates(person.shop_id).in_bulk([plate.pk for plate in mine])
    return [Corrected(fresh[plate.pk], plate.thickness_nm, was_in[plate.pk], check) for plate in mine]


def _change(plate: Plate, check: GaugeCheck, error_nm: int, bins: Sequence[Bin]) -> Change:
    """State and holder stay; a plate that lies there goes into the bin that spans it, one that is gone keeps its."""
    thickness_nm = plate.thickness_nm - error_nm
    if thickness_nm <= 0:
        raise NotAffected(
            f"Without {both(error_nm)}, a plate of {both(plate.thickness_nm)} would be no plate. Check the check.",
            [("/check", "its error is larger than a plate")],
        )
    home = plate.bin
    if plate.state in LYING:
        spanning = [one for one in bins if (one.fit_id, one.role) == (plate.fit_id, plate.role)]
        home, _ = bin_for(plate.kind, thickness_nm, bins=spanning)
    return Change(
        plate=plate.pk,
        revision=plate.revision,
        state=State(plate.state),
        bin=home.pk if home else None,
        thickness_nm=thickness_nm,
        u_nm=plate.u_nm,
        match=plate.match_id,
        job=plate.job_id,
        hand_out=plate.hand_out_id,
        held_until=plate.held_until,
        findings={"check": str(check.pk), "error_nm": error_nm, "was_in": plate.bin.code if plate.bin else None},
    )


def _others_check(person: Person, errors: Errors, asked: Sequence[uuid.UUID], found: set[uuid.UUID]) -> None:
    """Every plate that was asked for is affected, or was corrected for these checks already."""
    missing = [key for key in asked if key not in found]
    if not missing:
        return
    known = Plate.objects.filter(shop_id=person.shop_id, pk__in=missing).in_bulk()
    ours = [str(check.pk) for check in errors.checks]
    lines = LedgerLine.objects.filter(shop_id=person.shop_id, plate__in=known, act=Act.CORRECTED)
    done = set(lines.filter(findings__check__in=ours).values_list("plate", flat=True))
    for row, key in enumerate(asked):
        pointer = f"/plates/{row}"
        if key in found or key in done:
            continue
        if key not in known:
            raise Malformed(f"There is no plate {key} in this shop.", [(pointer, "no plate has this id")])
        raise NotAffected(
            f"This plate ({known[key].get_state_display()}, {both(known[key].thickness_nm)}) is gone, or its thickness "
            f"was not read with gauge {errors.gauge} while it was wrong. Look at its page; nothing was corrected.",
            [(pointer, "not read with the error")],
        )
