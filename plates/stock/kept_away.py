"""What is on hand and yet not offered to a slot, and why: the other side of :func:`plates.stock.selectors.shelf`."""

import uuid
from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple

from django.db import connection

from plates.stock.selectors import used_roles


class Place(NamedTuple):
    """What one slot takes. ``proven`` and ``alike``: codes of its own fits, and of fits with the same teeth that are
    not proven for it, by id. ``closing`` and ``closing_any_size``: ranges of thickness, both ends inclusive, of which
    one plate alone closes the pack, within the sizes that the slot takes and of any size.
    """

    role: str
    lined_faces: int
    material: str
    facing: str
    proven: dict[uuid.UUID, str]
    alike: dict[uuid.UUID, str]
    thinnest_nm: int
    thickest_nm: int | None
    closing: Sequence[tuple[int, int]]
    closing_any_size: Sequence[tuple[int, int]]


class KeptAway(NamedTuple):
    """Plates that one reason keeps away from one slot (its row among the places). ``note``: what the reason names, as
    the fit, the owner, the box, or why they are set aside. ``closes``: one of them alone would close the pack.
    """

    slot: int
    reason: str
    note: str
    kind: str
    match: int | None
    job: str | None
    until: datetime | None
    plates: int
    thinnest_nm: int
    thickest_nm: int
    closes: bool


# Read fit by fit, with one arm for each state, so that each reads its part of its own index once. A plate is told once
# a slot, under the reason that is hardest to change. Of a fit that is not proven only what lies free and would close
# the pack is told: a shop may have thousands of such plates, and the others are of no use to anybody here.
# OFFSET 0 keeps the planner from reading the whole of such a fit and asking for the range afterwards, and from
# beginning with the kinds, of which it may believe that the shop has one.
_KEPT_AWAY = """
WITH slot AS (
  SELECT slot, role, faces, material, facing, thinnest, thickest,
         closing::int8multirange AS closing, any_size::int8multirange AS any_size
    FROM unnest(%(slot)s::int[], %(role)s::text[], %(faces)s::int[], %(material)s::text[], %(facing)s::text[],
                %(thinnest)s::bigint[], %(thickest)s::bigint[], %(closing)s::text[], %(any_size)s::text[])
      AS s(slot, role, faces, material, facing, thinnest, thickest, closing, any_size)
), served AS (
  SELECT * FROM unnest(%(served)s::int[], %(fit)s::uuid[], %(code)s::text[], %(proven)s::boolean[])
    AS f(slot, fit, code, proven)
)
SELECT s.slot, r.reason,
       CASE r.reason WHEN 'fit' THEN f.code WHEN 'owner' THEN p.owner WHEN 'box' THEN p.box
                     WHEN 'quarantined' THEN p.why
       END AS note,
       k.code, m.number, j.code, p.held_until, sum(p.plates)::int, min(p.thickness_nm), max(p.thickness_nm),
       bool_or(p.thickness_nm <@ CASE WHEN r.reason IN ('thinnest', 'thickest') THEN s.any_size ELSE s.closing END)
  FROM slot s
  JOIN served f ON f.slot = s.slot
 CROSS JOIN LATERAL (
         SELECT state, kind_id, thickness_nm, condition, owner, box, match_id, held_until, NULL AS why,
                count(*) AS plates
           FROM plates_plate
          WHERE f.proven AND shop_id = %(shop)s AND fit_id = f.fit AND role = s.role AND state = 'on_shelf'
          GROUP BY 1, 2, 3, 4, 5, 6, 7, 8
         UNION ALL
         SELECT state, kind_id, thickness_nm, condition, owner, box, match_id, held_until, (
                  SELECT l.reason FROM plates_ledgerline l
                   WHERE l.shop_id = p.shop_id AND l.plate_id = p.id AND l.reason <> '' ORDER BY l.seq DESC LIMIT 1
                ), 1
           FROM plates_plate p
          WHERE f.proven AND shop_id = %(shop)s AND fit_id = f.fit AND role = s.role AND state = 'quarantined'
         UNION ALL
         SELECT state, kind_id, thickness_nm, condition, owner, box, match_id, held_until, NULL, 1
           FROM plates_plate
          WHERE f.proven AND shop_id = %(shop)s AND fit_id = f.fit AND role = s.role AND state = 'held'
            AND match_id IS DISTINCT FROM %(held_by)s
         UNION ALL
         SELECT near.* FROM unnest(s.closing) range CROSS JOIN LATERAL (
                  SELECT state, kind_id, thickness_nm, condition, owner, box, match_id, held_until, NULL, 1
                    FROM plates_plate
                   WHERE shop_id = %(shop)s AND fit_id = f.fit AND role = s.role AND state = 'on_shelf'
                     AND owner = '' AND thickness_nm >= lower(range) AND thickness_nm < upper(range)
                  OFFSET 0
                ) near
          WHERE NOT f.proven
       ) p
 CROSS JOIN LATERAL (
         SELECT code, lined_faces, material, facing, reuse_minimum_nm FROM plates_kind
          WHERE shop_id = %(shop)s AND id = p.kind_id OFFSET 0
       ) k
  LEFT JOIN plates_match m ON m.shop_id = %(shop)s AND m.id = p.match_id
  LEFT JOIN plates_job j ON j.shop_id = %(shop)s AND j.id = m.job_id
 CROSS JOIN LATERAL (SELECT CASE
         WHEN k.lined_faces <> s.faces THEN CASE WHEN f.proven THEN 'lining' END
         WHEN s.material <> '' AND k.material <> s.material THEN CASE WHEN f.proven THEN 'material' END
         WHEN s.facing <> '' AND k.facing <> s.facing THEN CASE WHEN f.proven THEN 'facing' END
         WHEN NOT f.proven THEN 'fit'
         WHEN p.owner <> '' THEN 'owner'
         WHEN p.state = 'quarantined' THEN 'quarantined'
         WHEN p.thickness_nm < s.thinnest THEN 'thinnest'
         WHEN p.thickness_nm > s.thickest THEN 'thickest'
         WHEN p.condition = 'used' AND p.thickness_nm < k.reuse_minimum_nm THEN 'worn'
         WHEN p.state = 'held' THEN 'held'
         WHEN p.box <> '' AND NOT %(boxes)s THEN 'box'
         WHEN p.condition = 'used' AND s.role <> ALL(%(used_roles)s) THEN 'used'
       END AS reason) r
 WHERE r.reason IS NOT NULL
 GROUP BY 1, 2, 3, 4, 5, 6, 7
 ORDER BY 1, 2, 8 DESC, 4, 3, 5
"""


def kept_away(
    *,
    shop_id: uuid.UUID,
    places: Sequence[Place],
    used_ok: bool | None,
    boxes: bool = False,
    held_by: uuid.UUID | None = None,
) -> list[KeptAway]:
    """What is on hand for these places, or nearly so, and not offered; counted by slot, reason, note, kind and hold,
    most first. One query. ``used_ok``, ``boxes`` and ``held_by`` as for the shelf.
    """
    served = [
        (number, fit, code, proven)
        for number, place in enumerate(places)
        for fits, proven in ((place.proven, True), (place.alike, False))
        for fit, code in fits.items()
    ]
    values: dict[str, Any] = {
        "shop": shop_id,
        "slot": list(range(len(places))),
        "role": [place.role for place in places],
        "faces": [place.lined_faces for place in places],
        "material": [place.material for place in places],
        "facing": [place.facing for place in places],
        "thinnest": [place.thinnest_nm for place in places],
        "thickest": [place.thickest_nm for place in places],
        "closing": [_multirange(place.closing) for place in places],
        "any_size": [_multirange(place.closing_any_size) for place in places],
        "served": [one[0] for one in served],
        "fit": [one[1] for one in served],
        "code": [one[2] for one in served],
        "proven": [one[3] for one in served],
        "held_by": held_by,
        "boxes": boxes,
        "used_roles": used_roles(used_ok),
    }
    with connection.cursor() as cursor:
        cursor.execute(_KEPT_AWAY, values)
        return [KeptAway._make((*row[:2], row[2] or "", *row[3:])) for row in cursor.fetchall()]


def _multirange(ranges: Sequence[tuple[int, int]]) -> str:
    return "{" + ",".join(f"[{low},{high}]" for low, high in ranges) + "}"
