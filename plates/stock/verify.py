"""Is the shelf what the ledger says? State, bin, thickness and holder of every plate, from the ledger alone."""

from collections.abc import Iterator

from django.db import connection

# The last line of a plate tells what it must be. Chain, balance and gaps are held by the constraints of the table;
# the sums are checked here again, so that a table restored without its constraints is found out too.
_DIFFERENCES = """
WITH last AS (
  SELECT DISTINCT ON (shop_id, plate_id) * FROM plates_ledgerline ORDER BY shop_id, plate_id, seq DESC
), sums AS (
  SELECT plate_id, count(*) AS lines, sum(delta) AS balance,
         bool_and(balance - delta = coalesce(before, 0)) AS chained
    FROM (SELECT plate_id, delta, balance, lag(balance) OVER (PARTITION BY plate_id ORDER BY seq) AS before
            FROM plates_ledgerline) l
   GROUP BY plate_id
), pair AS (
  SELECT p.shop_id, p.id AS plate_id, p.revision, l.seq, s.lines, s.balance AS summed, l.balance, s.chained,
         p.state, l.state AS l_state, p.bin_id, l.bin_id AS l_bin, p.thickness_nm, l.thickness_nm AS l_thickness,
         p.spread_nm, l.spread_nm AS l_spread, p.u_nm, l.u_nm AS l_u,
         p.match_id, p.job_id, p.hand_out_id, p.held_until,
         CASE WHEN l.state IN ('held', 'taken') THEN l.match_id END AS l_match,
         CASE WHEN l.state IN ('held', 'taken') THEN l.job_id END AS l_job,
         l.hand_out_id AS l_hand_out, l.held_until AS l_held_until, l.plate_id AS has
    FROM plates_plate p LEFT JOIN last l ON l.plate_id = p.id LEFT JOIN sums s ON s.plate_id = p.id
)
SELECT plate_id, what, is_now, should_be FROM pair, LATERAL (VALUES
  ('ledger', 'no line', 'at least one', has IS NULL),
  ('revision', revision::text, seq::text, has IS NOT NULL AND revision <> seq),
  ('lines', lines::text, seq::text, has IS NOT NULL AND lines <> seq),
  ('balance', summed::text, balance::text, has IS NOT NULL AND (summed <> balance OR NOT chained)),
  ('state', state, l_state, has IS NOT NULL AND state <> l_state),
  ('bin', bin_id::text, l_bin::text, has IS NOT NULL AND bin_id IS DISTINCT FROM l_bin),
  ('thickness', thickness_nm::text, l_thickness::text, has IS NOT NULL AND thickness_nm <> l_thickness),
  ('spread', spread_nm::text, l_spread::text, has IS NOT NULL AND spread_nm <> l_spread),
  ('uncertainty', u_nm::text, l_u::text, has IS NOT NULL AND u_nm <> l_u),
  ('match', match_id::text, l_match::text, has IS NOT NULL AND match_id IS DISTINCT FROM l_match),
  ('job', job_id::text, l_job::text, has IS NOT NULL AND job_id IS DISTINCT FROM l_job),
  ('hand-out', hand_out_id::text, l_hand_out::text, has IS NOT NULL AND hand_out_id IS DISTINCT FROM l_hand_out),
  ('held until', held_until::text, l_held_until::text, has IS NOT NULL AND held_until IS DISTINCT FROM l_held_until)
) AS v(what, is_now, should_be, wrong)
WHERE wrong ORDER BY plate_id, what
"""


def differences() -> Iterator[tuple[str, str, str, str]]:
    """(plate, what, as it stands, as the ledger has it) for every difference."""
    with connection.cursor() as cursor:
        cursor.execute(_DIFFERENCES)
        for plate, what, is_now, should_be in cursor.fetchall():
            yield str(plate), what, str(is_now), str(should_be)
