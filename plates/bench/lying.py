"""Plates that came out of one pack and lie on the bench for another one: candidates that never touch the shelf.

A match keeps what came out of it. What got the fate *pack* lies on the bench of the job that was named for it, else of
the match's own job, until a pack uses it: ``used_by`` is the number of that match, ``held_by`` with ``held_until`` of
one that holds it. A fate told before there was a ``used_by`` says nothing of where the plate lies now.
"""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, ClassVar

from django.db.models import Q
from django.db.models.functions import Now

from plates.bench.locks import Givers, Moved, clock
from plates.bench.models import Match
from plates.bench.question import Entry, Question, limits_broken
from plates.catalogue.spec_models import Slot
from plates.stock.findings import Findings
from plates.stock.ledger import Change, ledger_write
from plates.stock.ledger_models import Act
from plates.stock.models import Condition, Plate, State
from plates.stock.selectors import Interchange, used_roles
from shop.errors import WrongState
from shop.people.models import Person

#: What lies on a bench, as the database finds it.
LIES = {"fate": "pack", "used_by": None}


@dataclass(frozen=True)
class Lying:
    """One of them as the search sees it. ``match``, ``number``, ``option`` and ``row`` say out of which pack and which
    of its outs it is; ``plate`` is set where it is one of ours. ``minimum_nm``: the reuse minimum of its kind.
    """

    match: uuid.UUID
    number: int
    option: int
    slot: str
    row: int
    thickness_nm: int
    at_book: bool
    u_nm: float
    gauge: str
    read_at: str
    cone_nm: int | None
    hot_spot: bool
    used: bool
    interchange: Interchange
    plate: str | None = None
    revision: int | None = None
    kind: str | None = None
    minimum_nm: int | None = None
    #: As of a row of the shelf: one piece.
    stands_for: ClassVar[int] = 1

    @property
    def source(self) -> str:
        return f"out of match {self.number}"

    @property
    def key(self) -> str:
        return f"lying-{self.match}-{self.option:06}-{self.row:03}"

    @property
    def out_of(self) -> dict[str, Any]:
        """What an option keeps of where it comes from."""
        return {
            "match": str(self.match),
            "number": self.number,
            "option": self.option,
            "slot": self.slot,
            "row": self.row,
            "read_at": self.read_at,
            "fit": str(self.interchange.fit_id),
        }

    def may_go(self, slot: Slot, question: Question) -> bool:
        """Whether the slot may have it by its limits, which are judged as those of a plate in the pack; role and fit
        are another matter.
        """
        below = self.minimum_nm is not None and self.thickness_nm < self.minimum_nm
        if self.used and (slot.role not in used_roles(question.used_ok) or below):
            return False
        as_in_pack = Entry(self.thickness_nm, at_book=self.at_book, cone_nm=self.cone_nm, hot_spot=self.hot_spot)
        return not limits_broken(slot, question, as_in_pack)


def laid_down(match: Match, row: dict[str, Any], slot: Slot, findings: Findings) -> dict[str, Any]:
    """What the record of an out keeps beside its fate where it lies on a bench from now on."""
    return {
        "at_book": row["at_book"],
        "u_nm": row["unread_u_nm"],
        "gauge": row["gauge"],
        "read_at": row.get("read_at") or match.asked_at.isoformat(),
        "cone_nm": findings.cone_nm,
        "hot_spot": bool(findings.hot_spot),
        "fit": row.get("fit") or str(slot.fit_id),
        "role": slot.role,
        "lined_faces": slot.lined_faces,
        "material": slot.material,
        "facing": slot.facing,
        **dict.fromkeys(("used_by", "held_by", "held_until")),
    }


def lying_on(*, shop_id: uuid.UUID, job: str, asking: Match | None = None) -> list[Lying]:
    """What lies on the bench of this job, but for what came out of the asking match itself or is held by another. Two
    queries, no locks.
    """
    if not job:
        return []
    for_job = Q(outs__contains=[{**LIES, "to_job": job}])
    of_job = Q(job__code=job, outs__contains=[{**LIES, "to_job": ""}])
    givers = Match.objects.filter(shop_id=shop_id, outs__contains=[LIES]).filter(for_job | of_job)
    givers = givers.exclude(pk=asking.pk) if asking else givers
    records = [
        (giver, record)
        for giver in givers.select_related("job").annotate(now=Now()).order_by("pk")
        for record in giver.outs
        if _lies(record) and (record["to_job"] or (giver.job and giver.job.code)) == job
        and _free(record, asking.number if asking else None, giver.now)
    ]
    ids = [record["plate"] for _, record in records if record["plate"]]
    ours = {str(one.pk): one for one in Plate.objects.filter(shop_id=shop_id, pk__in=ids).select_related("kind")}
    seen = (_seen(giver, record, ours.get(record["plate"] or "")) for giver, record in records)
    return [one for one in seen if one is not None]


def _lies(record: dict[str, Any]) -> bool:
    return record["fate"] == "pack" and "used_by" in record and record["used_by"] is None


def _free(record: dict[str, Any], number: int | None, now: datetime) -> bool:
    """Whether nobody else holds it."""
    holder, until = record["held_by"], record["held_until"]
    return holder is None or holder == number or datetime.fromisoformat(until) <= now


def _seen(giver: Match, record: dict[str, Any], ours: Plate | None) -> Lying | None:
    """One of ours is what its own row says, and lies there only while it is still taken for the pack that gave it."""
    if record["plate"] and (ours is None or ours.state != State.TAKEN or ours.match_id != giver.pk):
        return None
    names = ("option", "slot", "row", "at_book", "u_nm", "read_at", "cone_nm", "hot_spot")
    known: dict[str, Any] = {"match": giver.pk, "number": giver.number, **{name: record[name] for name in names}}
    if ours is None:
        on = (record["fit"], record["role"], record["lined_faces"], record["material"], record["facing"])
        return Lying(
            **known,
            thickness_nm=record["thickness_nm"],
            gauge=record["gauge"],
            used=True,
            interchange=Interchange(uuid.UUID(on[0]), *on[1:]),
        )
    kind = ours.kind
    return Lying(
        **known,
        thickness_nm=ours.thickness_nm,
        gauge=ours.gauge,
        used=ours.condition == Condition.USED or giver.closed_at is not None,
        interchange=Interchange(kind.fit_id, kind.role, kind.lined_faces, kind.material, kind.facing),
        plate=str(ours.pk),
        revision=ours.revision,
        kind=kind.code,
        minimum_nm=kind.reuse_minimum_nm,
    )


def in_pack(match: Match, slot: Slot, row: int, entry: Entry, ours: Plate | None) -> Lying | None:
    """A plate that is in a pack still, as it will lie once it has come out; None for one that is on record elsewhere.

    Which option takes it out is not known yet: its ``option`` is 0, its ``row`` the place in the slot.
    """
    as_out = {"at_book": entry.at_book, "unread_u_nm": entry.u_nm, "gauge": entry.gauge, "fit": entry.fit}
    findings = Findings(cone_nm=entry.cone_nm, hot_spot=entry.hot_spot or None)
    record = laid_down(match, {**as_out, "read_at": entry.read_at}, slot, findings)
    at = {"option": 0, "slot": slot.name, "row": row, "thickness_nm": entry.thickness_nm, "plate": entry.plate or None}
    one = _seen(match, {**record, **at}, ours)
    # The pack counts with the figures of the question, so they hold wherever the plate goes.
    return one and replace(one, thickness_nm=entry.thickness_nm, gauge=entry.gauge)


# --- under the locks of the matches that gave them --------------------------------------------------------------


def _records(givers: Givers, rows: Iterable[dict[str, Any]]) -> list[tuple[Match, dict[str, Any], dict[str, Any]]]:
    """Of each row that goes in off a bench: the match that gave it, its record there, and the row itself.

    Raises :class:`Moved` where that match is not locked, WrongState where the plate is only planned to come out.
    """
    found = []
    for row in rows:
        if out_of := row.get("out_of"):
            giver = givers.get(uuid.UUID(out_of["match"]))
            if giver is None:
                raise Moved
            place = out_of["option"], out_of["row"]
            record = next((one for one in giver.outs if (one["option"], one["row"]) == place), None)
            if record is None:
                raise WrongState(
                    f"This option gets a plate that is still in the pack of match {giver.number}. Take both by their "
                    f"bench plan; or take match {giver.number} first, and say that the plate goes into another pack."
                )
            found.append((giver, record, row))
    return found


def lying_check(givers: Givers, match: Match, rows: Iterable[dict[str, Any]]) -> None:
    """Raises :class:`Moved` unless each lies there for this match as the search saw it; of ours the revision tells."""
    if wanted := _records(givers, rows):
        now = clock()
        for _, record, row in wanted:
            as_seen = row["plate"] is not None or record["thickness_nm"] == row["thickness_nm"]
            if not (_lies(record) and _free(record, match.number, now) and as_seen):
                raise Moved


def lying_mark(
    givers: Givers,
    rows: Iterable[dict[str, Any]],
    *,
    used_by: int | None = None,
    held_by: int | None = None,
    until: datetime | None = None,
) -> None:
    """Say on the records who uses or holds what goes in off a bench; nobody: it is free."""
    touched = {}
    for giver, record, _ in _records(givers, rows):
        record.update(used_by=used_by, held_by=held_by, held_until=until.isoformat() if until else None)
        touched[giver.pk] = giver
    for giver in touched.values():
        giver.save(update_fields=["outs"])


def lying_back(
    *,
    person: Person,
    match: Match,
    givers: Givers,
    plates: Iterable[Plate],
    at: datetime | None = None,
) -> None:
    """What the slip took off a bench lies there again. ``plates``: those of ours still taken for this match, locked;
    they are on record as out of the pack that gave them. One that went another way meanwhile does not come back.
    """
    still = {str(plate.pk): plate for plate in plates}
    back = [one for one in _records(givers, match.slip) if one[2]["plate"] is None or one[2]["plate"] in still]
    ledger_write(
        person=person,
        act=Act.RELEASED,
        changes=[
            Change(
                plate=still[row["plate"]].pk,
                revision=still[row["plate"]].revision,
                state=State.TAKEN,
                match=giver.pk,
                job=giver.job_id,
            )
            for giver, _, row in back
            if row["plate"]
        ],
        reason=f"not built in with match {match.number}: it lies on the bench again",
        at=at,
    )
    lying_mark(givers, [row for _, _, row in back])
