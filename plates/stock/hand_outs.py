"""Plates that leave otherwise than into a job: cash sale, loan, own use, warranty, loss, or to another shop of ours."""

import uuid
from collections import Counter
from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from django.db.models import QuerySet

from plates.stock.holds import holds_run_out
from plates.stock.ledger import Change, ledger_write
from plates.stock.ledger_models import Act
from plates.stock.models import Bin, HandOut, Plate, Reason, State
from shop.errors import NotFound, Refusal, WrongState
from shop.people.models import Person

#: For these reasons a quarantined plate may leave too: claimed on the supplier, or simply gone.
OUT_OF_QUARANTINE = (Reason.WARRANTY, Reason.LOST)
#: So many are handed out at once.
MOST_AT_ONCE = 1_000


class EmptyShelf(Refusal):
    status, code, title = 409, "stock_moved", "There are not so many"


class TooMany(Refusal):
    code, title = "too_many", "Too many at once"


class NobodyNamed(Refusal):
    code, title = "nobody_named", "It does not say to whom"


class CustomersPlate(Refusal):
    code, title = "customers_plate", "The plate is a customer's"


def hand_out_make(
    *,
    person: Person,
    reason: str,
    plate_ids: Sequence[uuid.UUID] = (),
    from_bins: Sequence[tuple[Bin, int]] = (),
    to: str = "",
    due: date | None = None,
    price: Decimal | None = None,
    why: str = "",
    right: str = "stock",
    made_key: str | None = None,
) -> HandOut:
    """Hand out these plates, or so many of each of these bins, oldest first, together: a transfer is one box with one
    note. ``why`` stands behind the reason in the ledger.

    Raises Forbidden without the ``right``, TooMany, NobodyNamed, NotFound, WrongState, EmptyShelf.
    """
    person.require(right)
    if reason == Reason.TRANSFER and not to:
        raise NobodyNamed("Say which shop gets them: its name goes with the plates.", [("/to", "name the other shop")])
    if (count := sum(count for _, count in from_bins)) > MOST_AT_ONCE:
        raise TooMany(f"{count} are too many for one hand-out: at most {MOST_AT_ONCE}. Hand them out in parts.")
    shop_id = person.shop_id
    holds_run_out(shop_id=shop_id)
    rows = Plate.objects.select_for_update(of=("self",)).filter(shop_id=shop_id).order_by("id")
    if from_bins:
        plates = _oldest(rows, from_bins)
    else:
        plates = list(rows.filter(pk__in=plate_ids))
        if missing := set(plate_ids) - {plate.pk for plate in plates}:
            raise NotFound(f"Nothing here has the id {missing.pop()}.")
        for plate in plates:
            aside = plate.state == State.QUARANTINED and reason in OUT_OF_QUARANTINE
            if plate.state != State.ON_SHELF and not aside:
                raise WrongState(f"Plate {plate.pk} is {plate.get_state_display()}: choose one that is on the shelf.")
            if plate.owner and reason != Reason.LOST:
                raise CustomersPlate(f"Plate {plate.pk} belongs to {plate.owner}: it is not ours to hand out.")
    made = HandOut.objects.create(
        shop_id=shop_id, reason=reason, to=to, due=due, price=price, person=person, made_key=made_key
    )
    ledger_write(
        person=person,
        act=Act.HANDED_OUT,
        changes=[
            Change(plate=plate.pk, revision=plate.revision, state=State.HANDED_OUT, hand_out=made.pk)
            for plate in plates
        ],
        reason=f"{made.get_reason_display()}: {why}" if why else made.get_reason_display(),
    )
    return made


def _oldest(rows: QuerySet[Plate], from_bins: Sequence[tuple[Bin, int]]) -> list[Plate]:
    """The oldest free plates of these bins, so many of each; locked in the order of their ids. Raises EmptyShelf."""
    bins, wanted = {one.pk: one for one, _ in from_bins}, Counter[uuid.UUID]()
    for one, count in from_bins:
        wanted[one.pk] += count
    # A customer's plate is not ours to hand out, and a box stays sealed unless its plates are named.
    free = rows.filter(bin__in=list(bins), state=State.ON_SHELF, owner="", box="")
    if len(bins) == 1:
        free = free[: wanted.total()]  # of several bins all free ones are locked: one statement keeps the order
    found, left = [], wanted.copy()
    for plate in free:
        if plate.bin_id and left[plate.bin_id]:
            left[plate.bin_id] -= 1
            found.append(plate)
    for bin_id, missing in left.items():
        if missing:
            code, count = bins[bin_id].code, wanted[bin_id]
            raise EmptyShelf(f"Bin {code} has {count - missing} free, not {count}. Look what is promised from it.")
    return found
