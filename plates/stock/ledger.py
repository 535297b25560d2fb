"""The one way by which a plate changes: its row and its ledger line in a single statement.

Whoever calls this has locked the plates, or has just made them, inside a transaction.
"""

import json
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import connection

from plates.stock.ledger_models import Act, LedgerLine
from plates.stock.models import LYING, Plate, State
from shop.people.models import Person
from shop.rows import plans_renew, uuid7


@dataclass
class Change:
    """What one plate becomes. Fields left None stay as the plate has them, except holder and hold, which are set."""

    plate: uuid.UUID
    revision: int
    state: State
    bin: uuid.UUID | None = None
    thickness_nm: int | None = None
    spread_nm: int | None = None
    #: With a thickness: its u beyond the micrometer's own. 0 for a plate that was read.
    u_nm: float = 0.0
    match: uuid.UUID | None = None
    job: uuid.UUID | None = None
    hand_out: uuid.UUID | None = None
    held_until: datetime | None = None
    condition: str | None = None
    readings: list[str] = field(default_factory=list)
    findings: dict[str, Any] = field(default_factory=dict)


# The bin stays on a plate that left the shelf (that is where it came from) unless a new one is given.
_WRITE = """
WITH change AS (
  SELECT * FROM unnest(
    %(plate)s::uuid[], %(revision)s::int[], %(state)s::text[], %(rebin)s::boolean[], %(bin)s::uuid[],
    %(thickness)s::bigint[], %(spread)s::bigint[], %(u)s::float8[], %(match)s::uuid[], %(job)s::uuid[],
    %(hand_out)s::uuid[], %(held_until)s::timestamptz[], %(condition)s::text[], %(readings)s::jsonb[],
    %(findings)s::jsonb[], %(line)s::uuid[]
  ) AS c(plate, revision, state, rebin, bin, thickness, spread, u, match, job, hand_out, held_until,
         condition, readings, findings, line)
), before AS (
  SELECT p.id, p.state IN ('on_shelf', 'held') AS lay FROM plates_plate p JOIN change c ON p.id = c.plate
   WHERE p.shop_id = %(shop)s
), moved AS (
  UPDATE plates_plate p SET
    state = c.state, revision = c.revision + 1,
    bin_id = CASE WHEN c.rebin THEN c.bin ELSE p.bin_id END,
    thickness_nm = coalesce(c.thickness, p.thickness_nm), spread_nm = coalesce(c.spread, p.spread_nm),
    u_nm = CASE WHEN c.thickness IS NULL THEN p.u_nm ELSE c.u END,
    gauge = CASE WHEN c.thickness IS NULL THEN p.gauge ELSE %(gauge)s END,
    match_id = c.match, job_id = c.job, hand_out_id = c.hand_out, held_until = c.held_until,
    condition = coalesce(c.condition, p.condition)
  FROM change c
  WHERE p.shop_id = %(shop)s AND p.id = c.plate AND p.revision = c.revision
  RETURNING p.*, c.readings AS c_readings, c.findings AS c_findings, c.line AS c_line
)
INSERT INTO plates_ledgerline (
  id, shop_id, plate_id, seq, delta, balance, act, state, bin_id, thickness_nm, spread_nm, u_nm,
  match_id, job_id, hand_out_id, held_until, readings, findings, gauge, reason, person_id, terminal_id, at)
SELECT m.c_line, m.shop_id, m.id, m.revision, l.lies::int - b.lay::int, l.lies::int, %(act)s, m.state, m.bin_id,
       m.thickness_nm, m.spread_nm, m.u_nm, coalesce(m.match_id, %(for_match)s), coalesce(m.job_id, %(for_job)s),
       m.hand_out_id, m.held_until, m.c_readings, m.c_findings, %(gauge)s, %(reason)s, %(person)s,
       %(terminal)s::uuid, coalesce(%(at)s::timestamptz, statement_timestamp())
  FROM moved m JOIN before b ON b.id = m.id, LATERAL (SELECT m.state IN ('on_shelf', 'held') AS lies) l
"""


class LostPlate(RuntimeError):
    """A plate was changed without its lock: a fault in the calling code, never the user's."""


def ledger_write(
    *,
    person: Person,
    act: Act,
    changes: Sequence[Change],
    rebin: bool = False,
    gauge: str = "",
    reason: str = "",
    at: datetime | None = None,
    for_match: uuid.UUID | None = None,
    for_job: uuid.UUID | None = None,
) -> None:
    """Carry out the changes in the person's shop, one ledger line each. ``rebin``: the bins given count, None included.

    ``for_match`` and ``for_job`` stand on the line of a plate that nobody holds afterwards (a released one, say).
    Raises :class:`LostPlate` when a plate is no longer at the revision given.
    """
    if not changes:
        return
    columns: dict[str, Any] = {
        "plate": [c.plate for c in changes],
        "revision": [c.revision for c in changes],
        "state": [str(c.state) for c in changes],
        "rebin": [rebin for _ in changes],
        "bin": [c.bin for c in changes],
        "thickness": [c.thickness_nm for c in changes],
        "spread": [c.spread_nm for c in changes],
        "u": [c.u_nm for c in changes],
        "match": [c.match for c in changes],
        "job": [c.job for c in changes],
        "hand_out": [c.hand_out for c in changes],
        "held_until": [c.held_until for c in changes],
        "condition": [c.condition for c in changes],
        "readings": [json.dumps(c.readings) for c in changes],
        "findings": [json.dumps(c.findings) for c in changes],
        "line": [uuid7() for _ in changes],
    }
    with connection.cursor() as cursor:
        cursor.execute(
            _WRITE,
            {
                **columns,
                "shop": person.shop_id,
                "act": str(act),
                "for_match": for_match,
                "for_job": for_job,
                "gauge": gauge,
                "reason": reason,
                "person": person.pk,
                "terminal": person.terminal_id,
                "at": at,
            },
        )
        if cursor.rowcount != len(changes):
            raise LostPlate(f"{len(changes) - cursor.rowcount} of {len(changes)} plates changed under our hands")


def ledger_open(
    *,
    plates: Sequence[Plate],
    person: Person,
    readings: Sequence[list[str]],
    findings: Sequence[dict[str, Any]],
    reasons: Sequence[str],
    at: datetime | None = None,
    for_match: uuid.UUID | None = None,
    for_job: uuid.UUID | None = None,
) -> None:
    """Write new plates and the first line of each, in two statements. Their revision becomes 1.

    ``readings``, ``findings`` and ``reasons`` go plate by plate. ``for_match`` and ``for_job`` stand on the lines:
    where the plates came from.
    """
    dated = {} if at is None else {"at": at}
    for plate in plates:
        plate.revision = 1
        if at is not None:
            plate.received_at = at
    Plate.objects.bulk_create(plates)
    plans_renew(len(plates))
    LedgerLine.objects.bulk_create(
        LedgerLine(
            shop_id=plate.shop_id,
            plate=plate,
            seq=1,
            delta=int(plate.state in LYING),
            balance=int(plate.state in LYING),
            act=Act.RECEIVED,
            state=plate.state,
            bin_id=plate.bin_id,
            thickness_nm=plate.thickness_nm,
            spread_nm=plate.spread_nm,
            u_nm=plate.u_nm,
            match_id=for_match,
            job_id=for_job,
            readings=texts,
            findings=found,
            gauge=plate.gauge,
            reason=reason,
            person=person,
            terminal_id=person.terminal_id,
            **dated,
        )
        for plate, texts, found, reason in zip(plates, readings, findings, reasons, strict=True)
    )
