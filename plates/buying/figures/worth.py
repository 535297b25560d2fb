"""What the shelf is worth, how often it turns, and what has not moved: in plates and in money.

A plate costs what the line of its order says, else what its kind does today; one of which neither says anything is
counted beside, and in no sum of money. No customer's plate is counted anywhere.
"""

from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.utils import timezone

from plates.buying.demand import USED_LINES, YEAR_WEEKS
from plates.buying.figures.rows import rows_of
from plates.buying.figures.table import Column, Table, plates_worth
from plates.catalogue.models import Role
from shop.people.models import Shop

#: Ages since a plate came in, from so many weeks on: what they are called.
AGES = {0: "under 13 weeks", 13: "13 to 26 weeks", 26: "26 to 52 weeks", 52: "over 52 weeks"}
#: The average on the shelf is the mean of so many points, so many weeks apart, the last one now.
POINTS, STEP_WEEKS = 13, 4

#: What one plate costs, and the rows that say so, of rows ``g`` with the kind and the line of the order of plates.
COST = "coalesce(ol.unit_cost, k.unit_cost)"
PRICED = """JOIN plates_kind k ON k.shop_id = %(shop)s AND k.id = g.kind_id
  LEFT JOIN plates_orderline ol ON ol.shop_id = %(shop)s AND ol.id = g.order_line_id"""

_LYING = "p.shop_id = %(shop)s AND p.state IN ('on_shelf', 'held') AND p.owner = ''"
_WORTH = f"""sum(g.plates)::int AS plates, sum(g.plates * {COST}) AS value,
       coalesce(sum(g.plates) FILTER (WHERE {COST} IS NULL), 0)::int AS no_cost"""

_BY_AGE = f"""
SELECT f.code AS fit, k.role, g.age, {_WORTH}
  FROM (SELECT p.kind_id, p.order_line_id, count(*) AS plates, width_bucket(
               greatest(0, extract(epoch FROM now() - p.received_at) / 604800), %(ages)s::numeric[]) - 1 AS age
          FROM plates_plate p WHERE {_LYING} GROUP BY 1, 2, 4) g
  {PRICED}
  JOIN plates_fit f ON f.shop_id = %(shop)s AND f.id = k.fit_id
 GROUP BY 1, 2, 3
"""  # noqa: S608  # only what stands above is put in

# What lay there at each point is what lies there now, less what the ledger has booked since: a line counts against all
# points before it. So only the lines of the time itself are read.
_TURNS = f"""
SELECT f.code AS fit, k.role, sum(g.plates)::int AS used, coalesce(sum(g.plates * {COST}), 0) AS used_cost,
       coalesce(sum(g.plates) FILTER (WHERE {COST} IS NULL), 0)::int AS used_no_cost,
       coalesce(sum(g.points * {COST}), 0) / %(points)s AS average,
       coalesce(sum(g.points) FILTER (WHERE {COST} IS NULL), 0) / %(points)s AS average_no_cost
  FROM (
    SELECT p.kind_id, p.order_line_id, 0 AS plates, count(*) * %(points)s::numeric AS points
      FROM plates_plate p WHERE {_LYING} GROUP BY 1, 2
    UNION ALL
    SELECT p.kind_id, p.order_line_id, 0,
           sum(-l.delta * (%(points)s - 1 - greatest(0, floor(extract(epoch FROM now() - l.at) / %(step)s))))
      FROM plates_ledgerline l JOIN plates_plate p ON p.shop_id = %(shop)s AND p.id = l.plate_id
     WHERE l.shop_id = %(shop)s AND l.at > now() - %(reach)s AND l.delta <> 0 AND p.owner = '' GROUP BY 1, 2
    UNION ALL
    SELECT p.kind_id, p.order_line_id, sum(-l.delta), 0 FROM {USED_LINES} GROUP BY 1, 2) g
  {PRICED}
  JOIN plates_fit f ON f.shop_id = %(shop)s AND f.id = k.fit_id
 GROUP BY 1, 2 HAVING sum(g.plates) <> 0 OR sum(g.points) <> 0
 ORDER BY used_cost DESC, 1, 2
"""  # noqa: S608  # only what stands above is put in

_STILL = f"""
SELECT k.code AS kind, f.code AS fit, k.role, {_WORTH}, string_agg(DISTINCT b.code, ', ' ORDER BY b.code) AS bins
  FROM (SELECT p.kind_id, p.order_line_id, p.bin_id, count(*) AS plates
          FROM plates_plate p WHERE {_LYING} AND p.received_at <= now() - %(span)s GROUP BY 1, 2, 3) g
  {PRICED}
  JOIN plates_fit f ON f.shop_id = %(shop)s AND f.id = k.fit_id
  LEFT JOIN plates_bin b ON b.shop_id = %(shop)s AND b.id = g.bin_id
 WHERE g.kind_id NOT IN (SELECT p.kind_id FROM {USED_LINES} GROUP BY 1 HAVING sum(-l.delta) > 0)
 GROUP BY 1, 2, 3 ORDER BY value DESC NULLS LAST, plates DESC, 1
"""  # noqa: S608  # only what stands above is put in

_FIT = (Column("fit", "Fit and role", "text"), Column("role", sort="text", beside=True))
_PLATES = (
    Column("plates", "Plates"),
    Column("value", "Value", "money"),
    Column("no_cost", "Without a cost", minor=True),
)
_COSTS = "A plate costs what the line of its order says, else what its kind costs today; used ones count like new ones."


def by_age(shop: Shop) -> tuple[Table, Table]:
    """What lies on the shelf now, of the whole shop by age, and by fit and role with a row each; one query."""
    found = rows_of(_BY_AGE, shop=shop.pk, ages=list(AGES))
    ages = [
        {"age": said, **_summed([row for row in found if row["age"] == place])}
        for place, said in enumerate(AGES.values())
    ]
    of_rows: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in found:
        of_rows.setdefault((row["fit"], row["role"]), []).append(row)
    worth = []
    for (fit, role), some in of_rows.items():
        one: dict[str, Any] = {"fit": fit, "role": Role(role).label, **_summed(some)}
        for place, (weeks, _) in enumerate(AGES.items()):
            here = _summed([row for row in some if row["age"] == place])
            one |= {f"plates_{weeks}w": here["plates"], f"value_{weeks}w": here["value"]}
        worth.append(one)
    worth.sort(key=lambda one: (-(one["value"] or 0), one["fit"], one["role"]))
    nothing = "Nothing of the shop's own lies on the shelf."
    in_all = Table(
        "worth-by-age",
        "What the shelf is worth, by age",
        "The shop's own plates on the shelf now, held ones among them, by the time since they came in. No quarantined "
        f"and no customer's plate is counted. {_COSTS}",
        nothing,
        (Column("age", "Came in", "text"), *_PLATES),
        ages if found else [],
        plates_worth(**_summed(found)),
    )
    ages_wide = [
        column
        for weeks, said in AGES.items()
        for column in (
            Column(f"plates_{weeks}w", said.capitalize(), minor=True),
            Column(f"value_{weeks}w", sort="money", beside=True),
        )
    ]
    by_row = Table(
        "worth",
        "What the shelf is worth, by fit and role",
        "The same plates by fit and role, the most money first; of each age so many plates for so much, as "
        "far as a cost is known.",
        nothing,
        (*_FIT, *_PLATES, *ages_wide),
        worth,
    )
    return in_all, by_row


def _summed(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Plates, value and plates without a cost of these rows; no value where there are plates and none has a cost."""
    values = [row["value"] for row in rows if row["value"] is not None]
    return {
        "plates": sum(row["plates"] for row in rows),
        "value": sum(values, Decimal(0)) if values or not rows else None,
        "no_cost": sum(row["no_cost"] for row in rows),
    }


def turns(shop: Shop) -> Table:
    """What was used in a year over what lay on the shelf on average in that time; one query."""
    found = rows_of(
        _TURNS,
        shop=shop.pk,
        span=timedelta(weeks=YEAR_WEEKS),
        points=POINTS,
        step=int(timedelta(weeks=STEP_WEEKS).total_seconds()),
        reach=timedelta(weeks=STEP_WEEKS * (POINTS - 1)),
    )
    rows = [
        {
            **row,
            "role": Role(row["role"]).label,
            "average": round(row["average"], 2),
            "average_no_cost": round(row["average_no_cost"], 1),
            "turns": round(row["used_cost"] / row["average"], 2) if row["average"] > 0 else None,
        }
        for row in found
    ]
    used, average = (sum((row[name] for row in found), Decimal(0)) for name in ("used_cost", "average"))
    return Table(
        "turns",
        "How often the shelf turns",
        f"Turns are the cost of what was used in the last {YEAR_WEEKS} weeks (put into jobs, sold, used up, lost or "
        f"scrapped, less what came back) over the average value on the shelf: the mean of {POINTS} points, "
        f"{STEP_WEEKS} weeks apart and the last one now, as the ledger has it. What lay there before the ledger began "
        "counts as nothing. Plates without a cost are in no figure of money, the others are in it at the cost above.",
        f"Nothing lay on the shelf or was used in the last {YEAR_WEEKS} weeks.",
        (
            *_FIT,
            Column("used", "Plates used"),
            Column("used_cost", "Cost of these", "money"),
            Column("average", "Value on average", "money"),
            Column("turns", "Turns a year", "turns"),
            Column("used_no_cost", "Used without a cost", minor=True),
            Column("average_no_cost", "On average without a cost", minor=True),
        ),
        rows,
        f"The whole shelf turns {used / average:.2f} times a year." if average > 0 else "",
    )


def not_moved(shop: Shop) -> Table:
    """Kinds with plates on the shelf that have lain there for a year while none of the kind was used; one query."""
    found = rows_of(_STILL, shop=shop.pk, span=timedelta(weeks=YEAR_WEEKS))
    return Table(
        "not-moved",
        "What has not moved in a year",
        f"Kinds of which nothing was used in the last {YEAR_WEEKS} weeks, with the plates on the shelf that came in "
        "before that, and the bins they lie in.",
        f"Nothing: of every kind that has lain for {YEAR_WEEKS} weeks some was used, or none has lain so long.",
        (Column("kind", "Kind", "text"), *_FIT, *_PLATES, Column("bins", "Bins", "text")),
        [{**row, "role": Role(row["role"]).label, "bins": row["bins"] or ""} for row in found],
        plates_worth(**_summed(found)),
    )


def ledger_young(shop: Shop) -> str:
    """Since when the ledger counts, where that is not a year yet, in a sentence; else nothing. One query."""
    ((begun,),) = (row.values() for row in rows_of(_BEGUN, shop=shop.pk))
    if begun is None or begun <= timezone.now() - timedelta(weeks=YEAR_WEEKS):
        return ""
    day = timezone.localtime(begun)
    return (
        f"The ledger of this shop begins on {day.day} {day:%B %Y}, less than {YEAR_WEEKS} weeks ago: averages, turns "
        "and what has not moved say less than they will."
    )


_BEGUN = "SELECT min(at) AS begun FROM plates_ledgerline WHERE shop_id = %(shop)s"
