"""Holds that run out without a scheduler: whoever asks, holds or takes releases first what has run out."""

import uuid

from django.db import connection

from shop.rows import uuid7

# One statement. Plates that somebody is working on right now are skipped: their lines come with the next call.
_RUN_OUT = """
WITH gone AS (
  SELECT id, match_id, job_id, held_until FROM plates_plate
   WHERE shop_id = %(shop)s AND state = 'held' AND held_until <= now()
   ORDER BY id FOR UPDATE SKIP LOCKED
), moved AS (
  UPDATE plates_plate p
     SET state = 'on_shelf', revision = p.revision + 1, match_id = NULL, job_id = NULL, held_until = NULL
    FROM gone g WHERE p.shop_id = %(shop)s AND p.id = g.id
  RETURNING p.*, g.match_id AS was_match, g.job_id AS was_job, g.held_until AS ran_out
)
INSERT INTO plates_ledgerline (
  id, shop_id, plate_id, seq, delta, balance, act, state, bin_id, thickness_nm, spread_nm, u_nm,
  match_id, job_id, readings, findings, gauge, reason, person_id, at)
SELECT (%(prefix)s || lpad(to_hex(row_number() OVER (ORDER BY m.id)), 12, '0'))::uuid,
       m.shop_id, m.id, m.revision, 0, 1, 'ran_out', 'on_shelf', m.bin_id, m.thickness_nm, m.spread_nm, m.u_nm,
       m.was_match, m.was_job, '[]', '{}', '', 'the hold ran out', l.person_id, m.ran_out
  FROM moved m JOIN plates_ledgerline l
    ON l.shop_id = m.shop_id AND l.plate_id = m.id AND l.seq = m.revision - 1
"""


def holds_run_out(*, shop_id: uuid.UUID) -> int:
    """Release every hold of the shop that has run out, dated at its expiry; returns how many plates came free."""
    prefix = str(uuid7())[:24]
    with connection.cursor() as cursor:
        cursor.execute(_RUN_OUT, {"shop": shop_id, "prefix": prefix})
        return cursor.rowcount
