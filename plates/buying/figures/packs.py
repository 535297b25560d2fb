"""How the packs fared: closed from the shelf at the first ask, come back, built under a rule that was lifted."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.utils import timezone

from plates.buying.demand import WEEKS
from plates.buying.figures.rows import rows_of
from plates.buying.figures.table import Column, Table, share
from plates.buying.figures.worth import STEP_WEEKS, YEAR_WEEKS
from plates.catalogue.spec_models import LIFTABLE
from shop.people.models import Shop

# Packs by week back from now: a job's packs of one spec are one, and their first ask counts. Only what could have been
# set, by plates.bench.question: may_adjust and may_change. A miss that was asked again for its job on the same day was
# handed on to the later question, so a first ask without an option counts as missed where its day has a miss.
_FIRST = """
WITH first AS (
  SELECT m.id, m.job_id, m.spec_id, m.asked_at, m.verdict, m.question, m.next_option FROM plates_match m
   WHERE m.shop_id = %(shop)s AND m.asked_at > now() - %(span)s AND m.comeback_of_id IS NULL
     AND NOT EXISTS (SELECT FROM plates_match e JOIN plates_spec es ON es.shop_id = %(shop)s AND es.id = e.spec_id
                       JOIN plates_spec ms ON ms.shop_id = %(shop)s AND ms.id = m.spec_id AND ms.code = es.code
                      WHERE e.shop_id = %(shop)s AND e.job_id = m.job_id AND e.comeback_of_id IS NULL
                        AND (e.asked_at, e.number) < (m.asked_at, m.number))
), asked AS (
  SELECT f.*, s.code FROM first f JOIN plates_spec s ON s.shop_id = %(shop)s AND s.id = f.spec_id
   WHERE s.adjustable
     AND (NOT (s.set_only OR coalesce((f.question ->> 'set_only')::boolean, false))
          OR f.question -> 'lifted' ? 'set_only')
     AND EXISTS (SELECT FROM plates_slot t
                  WHERE t.shop_id = %(shop)s AND t.spec_id = f.spec_id AND (t.swap OR t.extra > 0)
                    AND (f.question -> 'installed' ? t.name OR f.question -> 'left_out' ? t.name))
), judged AS (
  SELECT greatest(0, floor(extract(epoch FROM now() - a.asked_at) / 604800))::int AS week,
         a.verdict = 'in_window' AS in_window,
         EXISTS (SELECT FROM plates_missed d WHERE d.shop_id = %(shop)s AND d.match_id = a.id)
         OR (a.next_option = 1 AND EXISTS (
               SELECT FROM plates_missed d JOIN plates_spec ds ON ds.shop_id = %(shop)s AND ds.id = d.spec_id
                WHERE d.shop_id = %(shop)s AND d.job_id = a.job_id AND ds.code = a.code
                  AND d.day = (a.asked_at AT TIME ZONE %(zone)s)::date)) AS missed
    FROM asked a
)
SELECT week, count(*)::int AS packs, count(*) FILTER (WHERE in_window)::int AS in_window,
       count(*) FILTER (WHERE missed)::int AS missed
  FROM judged GROUP BY 1 ORDER BY 1
"""

_BUILT = """
SELECT p.username AS person, s.code AS spec, count(*)::int AS built,
       count(*) FILTER (WHERE EXISTS (
         SELECT FROM plates_match c WHERE c.shop_id = %(shop)s AND c.comeback_of_id = m.id))::int AS back
  FROM plates_match m
  JOIN plates_spec s ON s.shop_id = %(shop)s AND s.id = m.spec_id
  JOIN shop_person p ON p.shop_id = %(shop)s AND p.id = coalesce(m.taken_by_id, m.person_id)
 WHERE m.shop_id = %(shop)s AND m.state = 'closed' AND m.closed_at > now() - %(span)s
 GROUP BY 1, 2
"""

# A unit that came back keeps the overrides of its pack: they were lifted once.
_LIFTED = """
SELECT o ->> 'by' AS person, o ->> 'rule' AS rule, count(*)::int AS packs
  FROM plates_match m CROSS JOIN LATERAL jsonb_array_elements(m.overrides) o
 WHERE m.shop_id = %(shop)s AND m.asked_at > now() - %(span)s AND m.comeback_of_id IS NULL
 GROUP BY 1, 2 ORDER BY 3 DESC, 1, 2
"""

YEAR = timedelta(weeks=YEAR_WEEKS)


@dataclass(frozen=True)
class Asked:
    """Packs by their first ask: how many, how many read in their window already, and for how many the shelf had
    nothing.
    """

    packs: int = 0
    in_window: int = 0
    missed: int = 0

    @property
    def wanted(self) -> int:
        """Packs that asked something of the shelf."""
        return self.packs - self.in_window

    @property
    def answered(self) -> int:
        return self.wanted - self.missed

    @classmethod
    def summed(cls, rows: Iterable[dict[str, int]]) -> "Asked":
        some = list(rows)
        return cls(*(sum(row[name] for row in some) for name in ("packs", "in_window", "missed")))


def first_asks(shop: Shop) -> tuple[Table, list[Asked]]:
    """Closed from the shelf the first time in :data:`~plates.buying.demand.WEEKS` weeks and in a year, and step by step
    of four weeks, the oldest first, from the first one with a pack on; one query.
    """
    found = rows_of(_FIRST, shop=shop.pk, span=YEAR, zone=timezone.get_current_timezone_name())
    spans = [(weeks, Asked.summed(row for row in found if row["week"] < weeks)) for weeks in (WEEKS, YEAR_WEEKS)]
    steps = [
        Asked.summed(row for row in found if row["week"] // STEP_WEEKS == step)
        for step in reversed(range(1 + max((row["week"] for row in found), default=-1) // STEP_WEEKS))
    ]
    rows = [
        {
            "weeks": f"last {weeks} weeks",
            "packs": asked.packs,
            "in_window": asked.in_window,
            "answered": asked.answered,
            "missed": asked.missed,
            "share": share(asked.answered, asked.wanted),
        }
        for weeks, asked in spans
    ]
    return (
        Table(
            "first-time",
            "Closed from the shelf the first time",
            "Packs that may be set, by their first ask: asked again for the same job and pack spec it is one pack "
            "still, and a unit that came back is none. One that reads in its window asks nothing of the shelf; of the "
            "others, the share for which it had an option, if only with more changes than the person allowed.",
            f"No pack that may be set was asked about in the last {YEAR_WEEKS} weeks.",
            (
                Column("weeks", "Asked in the", "text"),
                Column("packs", "Packs"),
                Column("in_window", "In the window already"),
                Column("answered", "With an option"),
                Column("missed", "Missed"),
                Column("share", "Closed from the shelf", "share"),
            ),
            rows if found else [],
        ),
        steps,
    )


def comebacks(shop: Shop) -> tuple[Table, Table]:
    """By the person who built, and by pack spec; one query."""
    found = rows_of(_BUILT, shop=shop.pk, span=YEAR)
    words = {
        "person": ("Which packs come back, by who built them",
                   "Whoever took the plates built it; where none was taken, whoever asked."),
        "spec": ("Which packs come back, by pack spec", "All revisions of a pack spec count together."),
    }  # fmt: skip
    by_person, by_spec = (
        Table(
            f"comebacks-by-{name}",
            title,
            f"Packs closed in the last {YEAR_WEEKS} weeks, and how many of them came back up to now. {more} "
            "Of a few packs a share says little.",
            f"No pack was closed in the last {YEAR_WEEKS} weeks.",
            (
                Column(name, label, "text"),
                Column("built", "Packs built"),
                Column("back", "Came back"),
                Column("share", "Share that came back", "share"),
            ),
            _built_by(found, name),
        )
        for (name, (title, more)), label in zip(words.items(), ("Built by", "Pack spec"), strict=True)
    )
    return by_person, by_spec


def _built_by(found: list[dict[str, Any]], name: str) -> list[dict[str, Any]]:
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    for row in found:
        counts[row[name]].update(built=row["built"], back=row["back"])
    rows = [{name: of, **some, "share": share(some["back"], some["built"])} for of, some in counts.items()]
    return sorted(rows, key=lambda row: (-row["back"], -row["built"], row[name]))


def overrides(shop: Shop) -> Table:
    """Rules lifted for single packs, by whom; one query."""
    found = rows_of(_LIFTED, shop=shop.pk, span=YEAR)
    return Table(
        "overrides",
        "Rules that were lifted",
        f"Packs asked about in the last {YEAR_WEEKS} weeks for which a rule of their spec was lifted, by person and "
        "rule. A pack with two rules lifted stands in two rows.",
        f"No rule was lifted in the last {YEAR_WEEKS} weeks.",
        (
            Column("person", "Lifted by", "text"),
            Column("rule", "Rule", "text"),
            Column("what", "What it says", "text"),
            Column("packs", "Packs"),
        ),
        [{**row, "what": LIFTABLE.get(row["rule"], "")} for row in found],
    )
