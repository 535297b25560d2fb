"""What counts of bins found otherwise than the ledger had it: in plates and in money."""

from datetime import timedelta

from plates.buying.demand import YEAR_WEEKS
from plates.buying.figures.rows import rows_of
from plates.buying.figures.table import Column, Table
from plates.buying.figures.worth import COST, PRICED
from shop.people.models import Shop

# Under which names a booked count keeps the ids of its plates: stock.counts.
_COUNTED = f"""
SELECT b.code AS bin, t.counts, t.agreed, t.missing, t.missing_value, t.found, t.found_value, t.no_cost,
       t.reread, t.held
  FROM (SELECT c.bin_id, count(DISTINCT c.id)::int AS counts,
               count(*) FILTER (WHERE o.name = 'agreed')::int AS agreed,
               count(*) FILTER (WHERE o.name = 'missing')::int AS missing,
               coalesce(sum(o.cost) FILTER (WHERE o.name = 'missing'), 0) AS missing_value,
               count(*) FILTER (WHERE o.name IN ('found', 'back'))::int AS found,
               coalesce(sum(o.cost) FILTER (WHERE o.name IN ('found', 'back')), 0) AS found_value,
               count(*) FILTER (WHERE o.name IN ('missing', 'found', 'back') AND o.cost IS NULL)::int AS no_cost,
               count(*) FILTER (WHERE o.name = 'reread')::int AS reread,
               count(*) FILTER (WHERE o.name = 'held')::int AS held
          FROM plates_bincount c
          LEFT JOIN LATERAL (
            SELECT e.key AS name, {COST} AS cost
              FROM jsonb_each(c.outcome) e CROSS JOIN LATERAL jsonb_array_elements_text(e.value) i(plate)
              JOIN plates_plate g ON g.shop_id = c.shop_id AND g.id = i.plate::uuid AND g.owner = ''
              {PRICED}) o ON true
         WHERE c.shop_id = %(shop)s AND c.booked_at > now() - %(span)s
         GROUP BY 1) t
  JOIN plates_bin b ON b.shop_id = %(shop)s AND b.id = t.bin_id
 ORDER BY t.missing_value + t.found_value DESC, t.missing + t.found DESC, 1
"""  # noqa: S608  # only what stands above is put in


def count_differences(shop: Shop) -> Table:
    """By bin, the most money first; one query."""
    return Table(
        "counts",
        "What counts of bins found",
        f"Counts booked in the last {YEAR_WEEKS} weeks, by bin: plates that agreed, that were not there "
        "(booked as lost), that were there and on no record, or lost before; those that read otherwise, and promised "
        "ones with a difference, which stay promised. A plate costs what it does above; no customer's is counted.",
        f"No count of a bin was booked in the last {YEAR_WEEKS} weeks.",
        (
            Column("bin", "Bin", "text"),
            Column("counts", "Counts"),
            Column("agreed", "Plates agreed"),
            Column("missing", "Missing"),
            Column("missing_value", "Value missing", "money"),
            Column("found", "Found"),
            Column("found_value", "Value found", "money"),
            Column("no_cost", "Of these without a cost", minor=True),
            Column("reread", "Read otherwise", minor=True),
            Column("held", "Promised, with a difference", minor=True),
        ),
        rows_of(_COUNTED, shop=shop.pk, span=timedelta(weeks=YEAR_WEEKS)),
    )
