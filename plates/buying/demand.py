"""What the shop used and missed, by thickness: the raw counts under the sizes."""

import uuid
from collections.abc import Collection
from datetime import timedelta
from functools import reduce
from operator import or_
from typing import Any, NamedTuple

from django.db import connection
from django.db.models import Exists, OuterRef, Q
from django.db.models.functions import Now

from plates.bench.models import Match, MatchState, Missed

#: Demand is looked at over so many weeks.
WEEKS = 13
#: A year of it.
YEAR_WEEKS = 52


class Counted(NamedTuple):
    """So many plates of one fit, role and thickness; ``held`` of them for a question."""

    fit: str
    role: str
    thickness_nm: int
    plates: int
    held: int = 0


_OF_FITS = """(cardinality(%(fits)s::text[]) = 0 OR fit_id IN (
    SELECT id FROM plates_fit WHERE shop_id = %(shop)s AND code = ANY(%(fits)s::text[])))"""

# Of the shop's own plates; a hold that has run out counts as free.
_LYING = f"""
SELECT f.code, p.role, p.thickness_nm, p.plates::int, p.held::int
  FROM (SELECT fit_id, role, thickness_nm, count(*) AS plates, 0 AS held FROM plates_plate
         WHERE shop_id = %(shop)s AND state = 'on_shelf' AND owner = '' AND {_OF_FITS} GROUP BY 1, 2, 3
         UNION ALL
        SELECT fit_id, role, thickness_nm, count(*), count(*) FILTER (WHERE held_until > now()) FROM plates_plate
         WHERE shop_id = %(shop)s AND state = 'held' AND owner = '' AND {_OF_FITS} GROUP BY 1, 2, 3) p
  JOIN plates_fit f ON f.shop_id = %(shop)s AND f.id = p.fit_id
 WHERE (%(role)s = '' OR p.role = %(role)s)
"""  # noqa: S608  # only what stands above is put in

#: What left the shelf for good within the ``span`` up to now, lines ``l`` of plates ``p``: into jobs, sold, used up by
#: the shop, lost, scrapped off the shelf. A loan is no demand, and neither is its return; what comes back from a job or
#: a sale is taken off again. What goes back to the supplier under warranty was never used.
USED_LINES = """plates_ledgerline l
  JOIN plates_plate p ON p.shop_id = %(shop)s AND p.id = l.plate_id
  LEFT JOIN plates_handout h ON h.shop_id = %(shop)s AND h.id = l.hand_out_id
  LEFT JOIN plates_ledgerline b ON l.act = 'put_back' AND b.plate_id = l.plate_id AND b.shop_id = l.shop_id
                               AND b.seq = l.prev_seq
  LEFT JOIN plates_handout bh ON bh.shop_id = %(shop)s AND bh.id = b.hand_out_id
 WHERE l.shop_id = %(shop)s AND l.at > now() - %(span)s AND p.owner = '' AND l.delta <> 0
   AND CASE l.act WHEN 'taken' THEN true
                  WHEN 'scrapped' THEN true
                  WHEN 'handed_out' THEN h.reason IN ('cash', 'own_use', 'lost')
                  WHEN 'put_back' THEN b.act = 'taken' OR bh.reason IN ('cash', 'own_use', 'lost')
                  ELSE false END"""

_USED = f"""
SELECT f.code, u.role, u.thickness_nm, u.plates::int, 0
  FROM (SELECT p.fit_id, p.role, l.thickness_nm, sum(-l.delta) AS plates FROM {USED_LINES}
           AND {_OF_FITS} AND (%(role)s = '' OR p.role = %(role)s)
         GROUP BY 1, 2, 3) u
  JOIN plates_fit f ON f.shop_id = %(shop)s AND f.id = u.fit_id
"""  # noqa: S608  # only what stands above is put in


def lying(shop_id: uuid.UUID, fits: Collection[str] = (), role: str = "") -> list[Counted]:
    """What lies on the shelf now, of these fits (their codes) and this role or of all, but no customer's; one query."""
    return _read(_LYING, shop=shop_id, fits=list(fits), role=role)


def used(shop_id: uuid.UUID, fits: Collection[str] = (), role: str = "") -> list[Counted]:
    """What was used in the last :data:`WEEKS` weeks, returns taken off. One query."""
    return _read(_USED, shop=shop_id, fits=list(fits), role=role, span=timedelta(weeks=WEEKS))


def _read(statement: str, **values: Any) -> list[Counted]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return [Counted._make(row) for row in cursor.fetchall()]


class Miss(NamedTuple):
    """One miss: what would have closed the pack, and whether its job still waits for it."""

    ranges: list[dict[str, Any]]
    waiting: bool


def misses(shop_id: uuid.UUID, fits: Collection[str] = ()) -> list[Miss]:
    """The misses of the last :data:`WEEKS` weeks, the oldest first: all, or those for which plates of these fits (by
    code) would have done; one query.

    A job waits while this is its last miss of the pack and no question asked since was answered by plates or closed.
    """
    same: dict[str, Any] = {"shop_id": shop_id, "job": OuterRef("job"), "spec__code": OuterRef("spec__code")}
    answered = Match.objects.filter(
        **same, asked_at__gte=OuterRef("match__asked_at"), state__in=[MatchState.TAKEN, MatchState.CLOSED]
    )
    again = Missed.objects.filter(**same, at__gt=OuterRef("at"))
    rows = Missed.objects.filter(shop_id=shop_id, at__gt=Now() - timedelta(weeks=WEEKS)).order_by("at", "id")
    if fits:
        rows = rows.filter(reduce(or_, (Q(ranges__contains=[{"fit": fit}]) for fit in fits)))
    waiting = Q(job__isnull=False) & ~Exists(answered) & ~Exists(again)
    return [Miss(*row) for row in rows.annotate(waiting=waiting).values_list("ranges", "waiting")]
