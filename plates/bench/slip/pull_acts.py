"""What a pull check does to the ledger: the plate goes on into the pack, or goes back and is asked for again.

The match is locked already, or is not ours to change (then everything is undone); plates are locked here, by their ids.
"""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any

from plates.bench.locks import Givers, Moved, clock
from plates.bench.lying import lying_back
from plates.bench.models import Match
from plates.bench.overrides import lifted_words
from plates.bench.slip.agreement import named_rows
from plates.lengths import both
from plates.stock.booking import Verdict
from plates.stock.findings import Findings, Reading
from plates.stock.ledger import Change, ledger_write
from plates.stock.ledger_models import Act
from plates.stock.models import Plate, State
from shop.errors import WrongState
from shop.people.models import Person


@dataclass(frozen=True)
class Read:
    """One plate read at the bin. ``named`` stands on the slip, ``plate`` is the one that it was, ``agrees`` whether it
    is so by the rule; ``verdict`` says where it would lie if it went back.
    """

    person: Person
    named: Plate
    plate: Plate
    agrees: bool
    reading: Reading
    gauge: str
    agreed_by: str
    verdict: Verdict

    @property
    def said(self) -> str:
        return f"read {both(self.reading.thickness_nm)} at the bin"


def _lock(match: Match, seen: Iterable[Plate]) -> None:
    """Raises Moved unless each plate is as it was seen."""
    ids = {plate.pk: plate.revision for plate in seen}
    rows = Plate.objects.select_for_update(of=("self",)).filter(shop_id=match.shop_id, pk__in=ids).order_by("pk")
    if dict(rows.values_list("pk", "revision")) != ids:
        raise Moved


def plate_goes_on(match: Match, read: Read, at: datetime | None) -> dict[str, Any]:
    """The plate that was read goes into the pack, with its reading on record; returns its row of the slip."""
    named, plate, reading = read.named, read.plate, read.reading
    _lock(match, [named, plate])
    write = partial(ledger_write, person=read.person, at=at)
    taken = partial(Change, plate=plate.pk, state=State.TAKEN, match=match.pk, job=match.job_id)
    revision, row = plate.revision, named_rows(match).get(plate.pk)
    if row is None:  # another one of its bin left: the ledger says so from now on
        row = named_rows(match)[named.pk]
        write(
            act=Act.PUT_BACK,
            changes=[Change(plate=named.pk, revision=named.revision, state=State.ON_SHELF)],
            reason=f"never left: another one of its bin did, {read.said}",
            for_match=match.pk,
            for_job=match.job_id,
        )
        why = [f"left in place of the one on the slip, {read.said}", lifted_words(match)]
        write(act=Act.TAKEN, changes=[taken(revision=revision)], reason="; ".join(filter(None, why)))
        revision += 1
    write(
        act=Act.PULLED if read.agrees else Act.CORRECTED,
        changes=[
            taken(
                revision=revision,
                thickness_nm=reading.thickness_nm,
                spread_nm=reading.spread_nm,
                readings=reading.kept,
                findings=Findings(agreed_by=read.agreed_by).json(),
            )
        ],
        gauge=read.gauge,
        reason="" if read.agrees else f"misfiled: {read.said}",
    )
    return {
        **row,
        "plate": str(plate.pk),
        "revision": revision + 1,
        "bin": plate.bin.code if plate.bin else None,
        "kind": plate.kind.code,
        "thickness_nm": reading.thickness_nm,
        **dict.fromkeys(("u_nm", "unread_u_nm", "alike_u_nm"), 0.0),
        "gauge": read.gauge,
        "pulled": {
            "texts": reading.kept,
            "thickness_nm": reading.thickness_nm,
            "by": read.person.username,
            "at": clock(at).isoformat(),
        },
    }


def plates_go_back(match: Match, read: Read, givers: Givers, at: datetime | None) -> dict[uuid.UUID, int]:
    """The plate that was read goes where its reading belongs, whatever else the slip took back into its bin or onto the
    bench; returns the revision that each was found at. Raises WrongState when what came out of the pack is disposed of
    already.
    """
    if any(out["option"] == match.option_taken for out in match.outs):
        raise WrongState(
            f"What came out of this pack has its fate already, so match {match.number} cannot be asked again as it "
            "was. Keep the plate, or measure the assembled pack and go on from there."
        )
    plate, reading, verdict = read.plate, read.reading, read.verdict
    ids, from_bins = [row["plate"] for row in match.slip if row["plate"]], named_rows(match)
    on_slip = Plate.objects.filter(shop_id=match.shop_id, pk__in=ids, state=State.TAKEN, match=match)
    others = list(on_slip.exclude(pk=plate.pk))
    _lock(match, [plate, *others])
    lying_back(person=read.person, match=match, givers=givers, plates=others, at=at)
    write = partial(
        ledger_write,
        person=read.person,
        at=at,
        for_match=match.pk,
        for_job=match.job_id,
    )
    write(
        act=Act.PUT_BACK if plate.state == State.TAKEN else Act.CORRECTED,
        changes=[
            Change(
                plate=plate.pk,
                revision=plate.revision,
                state=verdict.state,
                bin=verdict.home.pk if verdict.home else None,
                thickness_nm=reading.thickness_nm,
                spread_nm=reading.spread_nm,
                readings=reading.kept,
                findings=Findings(agreed_by=read.agreed_by).json(),
            )
        ],
        rebin=True,
        gauge=read.gauge,
        reason=f"{verdict.reason} {read.said}" if verdict.reason else f"misfiled: {read.said}",
    )
    write(
        act=Act.PUT_BACK,
        changes=[
            Change(plate=one.pk, revision=one.revision, state=State.ON_SHELF) for one in others if one.pk in from_bins
        ],
        reason=f"not built in: match {match.number} is asked again",
    )
    return {one.pk: one.revision for one in (plate, *others)}
