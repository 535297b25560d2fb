"""A question that the shelf could not answer is demand: it is kept for the buyer."""

import json

from django.db import connection
from django.utils import timezone

from plates.bench.models import Match
from plates.bench.pose import may_change
from plates.bench.question import Question
from shop.rows import uuid7

# One statement, so that two who ask for one job at once make one row. It points at the question asked last.
_MISSED = """
INSERT INTO plates_missed AS kept (id, shop_id, match_id, job_id, spec_id, day, at, ranges)
VALUES (%(id)s, %(shop)s, %(match)s, %(job)s, %(spec)s, %(day)s, %(at)s, %(ranges)s::jsonb)
ON CONFLICT (shop_id, job_id, spec_id, day) WHERE job_id IS NOT NULL
DO UPDATE SET match_id = excluded.match_id, at = excluded.at, ranges = excluded.ranges WHERE kept.at <= excluded.at
"""


def missed_write(match: Match) -> None:
    """Keep a match that was just asked and saved, where plates might have closed it and the shelf has none that do.

    Asked again for the same job and spec on the same day, by the wall of the shop, it stays one.
    """
    question = Question.from_json(match.question)
    if match.shortfall is None or not any(may_change(slot, question) for slot in match.spec.slots.all()):
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
                "day": timezone.localdate(match.asked_at),
                "at": match.asked_at,
                "ranges": json.dumps(match.shortfall["would_close"]),
            },
        )
