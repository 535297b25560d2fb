"""A question that the shelf could not answer is demand: it is kept for the buyer."""

import json
from dataclasses import replace
from typing import Any

from django.db import connection
from django.utils import timezone

from plates.bench.models import Match
from plates.bench.options import searched, shortfall_of
from plates.bench.pose import pose
from plates.bench.question import Question, may_change
from plates.bench.reading import asked_of
from plates.bench.repeatability import method_u_nm
from shop.rows import uuid7

# One statement, so that two who ask for one job at once make one row. It points at the question asked last, and takes
# the place of what was missed by another revision of the same pack spec.
_MISSED = """
WITH other AS (
  DELETE FROM plates_missed AS gone USING plates_spec AS spec
   WHERE gone.shop_id = %(shop)s AND gone.job_id = %(job)s AND gone.day = %(day)s AND gone.spec_id <> %(spec)s
     AND spec.shop_id = gone.shop_id AND spec.id = gone.spec_id AND spec.code = %(code)s)
INSERT INTO plates_missed AS kept (id, shop_id, match_id, job_id, spec_id, day, at, ranges)
VALUES (%(id)s, %(shop)s, %(match)s, %(job)s, %(spec)s, %(day)s, %(at)s, %(ranges)s::jsonb)
ON CONFLICT (shop_id, job_id, spec_id, day) WHERE job_id IS NOT NULL
DO UPDATE SET match_id = excluded.match_id, at = greatest(kept.at, excluded.at), ranges = excluded.ranges
 WHERE kept.at <= excluded.at OR %(now)s
"""


def missed_ranges(match: Match) -> list[dict[str, Any]] | None:
    """What would have closed a match that was just read and is not saved yet, where plates might and the shelf has none
    that do; None where nothing was missed.

    How many changes a person allowed says nothing of the shelf: where there was such a limit, the shelf is searched
    once more without it, and what closes the pack with more changes is no miss. Never under a lock.
    """
    question = Question.from_json(match.question)
    if match.shortfall is None or not any(may_change(slot, question) for slot in match.spec.slots.all()):
        return None
    would_close: list[dict[str, Any]] = match.shortfall["would_close"]
    if question.max_changes is None:
        return would_close
    asked = replace(asked_of(match, None), question=replace(question, max_changes=None))
    posed = pose(asked, sure=match.shop.sure_level, measured=method_u_nm(match.shop_id))
    _, shortfall = searched(posed)
    return shortfall_of(posed, shortfall)["would_close"] if shortfall else None


def missed_write(match: Match, ranges: list[dict[str, Any]] | None, *, now: bool) -> None:
    """Keep a match that was just asked and saved, with its :func:`missed_ranges`; None keeps nothing. ``now``: it is no
    ask of an earlier time, entered late. Of two asked at once the one with the higher number is the last: numbers are
    counted out under a lock, and the clock of a transaction is that of its beginning.

    Asked again for the same job and pack spec on the same day, by the wall of the shop, it stays one.
    """
    if ranges is None:
        return
    with connection.cursor() as cursor:
        cursor.execute(
            _MISSED,
            {
                "id": uuid7(),
                "shop": match.shop_id,
                "match": match.pk,
                "job": match.job_id,
                "spec": match.spec_id,
                "code": match.spec.code,
                "day": timezone.localdate(match.asked_at),
                "at": match.asked_at,
                "now": now,
                "ranges": json.dumps(ranges),
            },
        )
