"""Claims on suppliers: opened as plates of an order are booked, settled by a person with a note."""

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from typing import Any

from django.utils import timezone

from plates.buying.claim_models import Claim, ClaimState
from plates.buying.orders import order_lock
from plates.buying.selectors import unclaimed
from plates.catalogue.selectors import tolerance_of
from plates.lengths import both
from plates.stock.booking import KindsAndBins
from plates.stock.hand_outs import hand_out_make
from plates.stock.models import Plate, Reason, State
from plates.stock.selectors import quarantined
from shop.errors import Malformed, NotFound, WrongState
from shop.people.models import Person

#: What may become of a claim, by what it is.
WAYS = {
    ClaimState.OPEN: (ClaimState.SENT_BACK, ClaimState.CREDITED, ClaimState.ACCEPTED),
    ClaimState.SENT_BACK: (ClaimState.CREDITED,),
}


def claims_open(*, shop_id: uuid.UUID, plates: Sequence[Plate], known: KindsAndBins | None = None) -> list[Claim]:
    """Claims for those of these plates, booked just now, that are set aside or outside the tolerance of their kind."""
    known = known or KindsAndBins(shop_id, {plate.fit_id for plate in plates})
    aside = [plate.pk for plate in plates if plate.state == State.QUARANTINED]
    booked: Any = quarantined(shop_id).filter(pk__in=aside) if aside else ()
    why = {plate.pk: plate.why for plate in booked}
    claims = []
    for plate in plates:
        kind = plate.kind
        tolerance_nm = tolerance_of(kind, known.siblings(kind.fit_id, kind.role))
        off_nm = plate.thickness_nm - kind.nominal_nm
        said = [why[plate.pk]] if plate.pk in why else []
        if abs(off_nm) > tolerance_nm:
            side = "over" if off_nm > 0 else "under"
            said.append(f"It is {both(abs(off_nm))} {side} nominal; {kind.code} allows {both(tolerance_nm)}.")
        if said:
            claims.append(
                Claim(
                    shop_id=shop_id,
                    plate=plate,
                    thickness_nm=plate.thickness_nm,
                    tolerance_nm=tolerance_nm,
                    why=" ".join(said),
                )
            )
    return Claim.objects.bulk_create(claims)


def order_claim(*, person: Person, order_id: uuid.UUID) -> list[Claim]:
    """Claim what came with this order and was set aside since. Raises NotFound."""
    person.require("buying")
    order = order_lock(person, order_id)
    return claims_open(shop_id=person.shop_id, plates=list(unclaimed(order)))


def claims_drop(*, shop_id: uuid.UUID, plates: Iterable[uuid.UUID]) -> None:
    """The scans of these plates are undone, and their claims with them. Raises WrongState for one that is settled."""
    rows = Claim.objects.select_for_update().filter(shop_id=shop_id, plate__in=plates).order_by("id")
    if any(claim.state != ClaimState.OPEN for claim in rows):
        raise WrongState("Its claim on the supplier was settled, so it stays on record: scrap it instead.")
    rows.delete()


def claims_settle(
    *, person: Person, claim_ids: Collection[uuid.UUID], state: str, note: str, made_key: str | None = None
) -> list[Claim]:
    """Say what became of these claims. What is sent back leaves by a hand-out under warranty, unless it left so before.

    Raises Malformed without a note, NotFound, and WrongState for a claim that is settled or a plate that is not there
    to be sent.
    """
    person.require("buying")
    if not note.strip():
        raise Malformed("Say in a note what was agreed with the supplier.", [("/note", "say what was agreed")])
    rows = Claim.objects.select_for_update(of=("self",)).filter(shop_id=person.shop_id, pk__in=claim_ids)
    claims = list(rows.select_related("plate__kind"))
    if not claims or len(claims) < len(set(claim_ids)):
        raise NotFound("There is no such claim. Choose from the list of claims.")
    for claim in claims:
        if state not in WAYS.get(ClaimState(claim.state), ()):
            raise WrongState(
                f"The claim of {claim.plate.kind.code} {both(claim.thickness_nm)} is {claim.get_state_display()} and "
                f"cannot become {ClaimState(state).label}. Look at it again in the list."
            )
    if state == ClaimState.SENT_BACK:
        _send_back(person, [claim.plate_id for claim in claims], note, made_key)
    for claim in claims:
        claim.note = f"{claim.note}; {note}" if claim.note else note
        claim.state, claim.person, claim.settled_at = state, person, timezone.now()
    Claim.objects.filter(shop_id=person.shop_id).bulk_update(claims, ["state", "note", "person", "settled_at"])
    return claims


def _send_back(person: Person, plate_ids: Sequence[uuid.UUID], note: str, made_key: str | None) -> None:
    """One hand-out to each supplier, of what did not leave under warranty before."""
    going: dict[str, list[uuid.UUID]] = defaultdict(list)
    rows = Plate.objects.select_for_update(of=("self",)).filter(shop_id=person.shop_id, pk__in=plate_ids)
    for plate in rows.select_related("kind", "hand_out", "order_line__order__supplier").order_by("id"):
        if plate.hand_out and plate.hand_out.reason == Reason.WARRANTY:
            continue
        if plate.state not in (State.ON_SHELF, State.QUARANTINED):
            raise WrongState(
                f"{plate.kind.code} {both(plate.thickness_nm)} is {plate.get_state_display()}, so it cannot be sent "
                "back. Have it credited, or accept it as it is."
            )
        assert plate.order_line is not None
        going[str(plate.order_line.order.supplier)].append(plate.pk)
    for supplier, some in sorted(going.items()):
        hand_out_make(
            person=person,
            right="buying",
            reason=Reason.WARRANTY,
            plate_ids=some,
            to=supplier,
            why=note,
            made_key=made_key,
        )
        made_key = None  # of one act, on its first row
