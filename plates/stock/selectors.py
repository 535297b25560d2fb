"""Reads of the stock room."""

import uuid
from collections.abc import Collection
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from django.db import connection
from django.db.models import (
    Case,
    CharField,
    Count,
    Exists,
    F,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import Coalesce, Now

from plates.catalogue.models import Role
from plates.stock.count_models import BinCount, CountState
from plates.stock.ledger_models import Act, LedgerLine
from plates.stock.models import LYING, Bin, HandOut, Lot, Plate, State
from shop.compiled import compiled
from shop.people.models import Person


def bins(shop_id: uuid.UUID) -> QuerySet[Bin]:
    return Bin.objects.filter(shop_id=shop_id).select_related("fit")


def bin_typed(shop_id: uuid.UUID, text: str) -> Bin | None:
    """The bin that is called so. Small letters do for capitals only where that names one: two bins may differ by it."""
    found = list(bins(shop_id).filter(code__iexact=text))
    exact = [one for one in found if one.code == text]
    return exact[0] if exact else found[0] if len(found) == 1 else None


def lots(shop_id: uuid.UUID) -> QuerySet[Lot]:
    return Lot.objects.filter(shop_id=shop_id).select_related("kind").prefetch_related("plates")


def hand_outs(shop_id: uuid.UUID) -> QuerySet[HandOut]:
    return HandOut.objects.filter(shop_id=shop_id).select_related("person").prefetch_related("lines")


def still_out(shop_id: uuid.UUID, reason: str) -> QuerySet[HandOut]:
    """Hand-outs for this reason of which plates are still away, each with ``away``: these plates. What is due first
    comes first, then what has no date, the latest first.
    """
    away = Plate.objects.filter(shop_id=shop_id, hand_out__isnull=False)
    return (
        HandOut.objects.filter(Exists(away.filter(hand_out=OuterRef("pk"))), shop_id=shop_id, reason=reason)
        .select_related("person")
        .prefetch_related(Prefetch("plates", away.select_related("kind", "fit", "bin"), to_attr="away"))
        .order_by(F("due").asc(nulls_last=True), "-at", "-id")
    )


def counts(shop_id: uuid.UUID) -> QuerySet[BinCount]:
    """The counts of bins, oldest first, each with ``state``, one of :class:`CountState`."""
    state = Case(
        When(dropped_at__isnull=False, then=Value(CountState.DROPPED.value)),
        When(booked_at__isnull=False, then=Value(CountState.BOOKED.value)),
        When(all_read_at__isnull=False, then=Value(CountState.LOOK.value)),
        default=Value(CountState.READING.value),
        output_field=CharField(),
    )
    rows = BinCount.objects.filter(shop_id=shop_id).annotate(state=state)
    return rows.select_related("bin__fit", "person", "dropped_by").order_by("begun_at", "id")


def counts_of(found: Bin, *, going_on: bool) -> QuerySet[BinCount]:
    """The counts of a bin that are going on, or those that are booked or dropped; the latest first."""
    unfinished = Q(booked_at=None, dropped_at=None)
    rows = counts(found.shop_id).filter(unfinished if going_on else ~unfinished, bin=found)
    return rows.order_by("-begun_at", "-id")


def plates(shop_id: uuid.UUID) -> QuerySet[Plate]:
    """All plates, with ``state_now``: a hold that has run out counts as on the shelf."""
    run_out = Q(state=State.HELD, held_until__lte=Now())
    state_now = Case(When(run_out, then=Value(State.ON_SHELF.value)), default=F("state"), output_field=CharField())
    return (
        Plate.objects.filter(shop_id=shop_id)
        .annotate(state_now=state_now)
        .select_related("kind", "fit", "bin", "match", "job")
    )


def plates_answered(shop_id: uuid.UUID) -> QuerySet[Plate]:
    """As :func:`plates`, with what an answer of the API shows of them: not the match, whose row is long."""
    return plates(shop_id).select_related(None).select_related("kind", "fit", "bin", "job")


@compiled
def _plates_of_id(shop_id: uuid.UUID, key: uuid.UUID) -> QuerySet[Plate]:
    return plates_answered(shop_id).filter(pk=key)


def plate_told(shop_id: uuid.UUID, key: uuid.UUID) -> Plate:
    """One that is there, as :func:`plates_answered` has it."""
    (found,) = _plates_of_id(shop_id, key)
    return found


def ledger(shop_id: uuid.UUID) -> QuerySet[LedgerLine]:
    return (
        LedgerLine.objects.filter(shop_id=shop_id)
        .select_related("plate__kind", "bin", "match", "job", "person", "terminal")
        .order_by("at", "id")
    )


class Interchange(NamedTuple):
    """What decides which slots a plate may serve."""

    fit_id: uuid.UUID
    role: str
    lined_faces: int
    material: str
    facing: str


class OnShelf(NamedTuple):
    """A plate as the search sees it. ``stands_for``: how many plates of the shelf are like it, where it is the oldest
    of them; 0 for every other one.
    """

    id: uuid.UUID
    revision: int
    received_s: int
    stands_for: int
    kind_id: uuid.UUID
    kind: str
    bin: str | None
    thickness_nm: int
    u_nm: float
    marked: bool
    gauge: str
    interchange: Interchange


# The shelf of some fits: what may be offered at all. A customer's plate never is, nor a used one below its reuse
# minimum; a sealed box stays sealed unless it is asked for. Holds that have run out were released just before. Read
# as a histogram: of plates alike in all but their age no more than a pack can take, the oldest first. What one
# question may have and another may not (used, boxed, held for it) stands in a group of its own: the same for all.
# Kind and bin are looked up once a group, not once a plate.
_SHELF = """
SELECT ids, revisions, received, plates, k.id, k.code, b.code, p.thickness_nm, p.u_nm, p.marked OR k.mark <> '',
       p.gauge, p.fit_id, p.role, k.lined_faces, k.material, k.facing
  FROM (SELECT (array_agg(id ORDER BY received_s, id))[1:%(most)s] AS ids,
               (array_agg(revision ORDER BY received_s, id))[1:%(most)s] AS revisions,
               (array_agg(received_s ORDER BY received_s, id))[1:%(most)s] AS received,
               count(*) AS plates, kind_id, bin_id, thickness_nm, u_nm, mark <> '' AS marked, gauge, fit_id, role,
               condition
          FROM plates_plate
         CROSS JOIN LATERAL (SELECT extract(epoch FROM received_at)::bigint AS received_s) a
         WHERE shop_id = %(shop)s AND fit_id = ANY(%(fits)s) AND role = ANY(%(roles)s)
           AND {there}
           AND owner = '' AND (%(boxes)s OR box = '')
           AND (condition = 'new' OR role = ANY(%(used_roles)s))
         GROUP BY kind_id, bin_id, thickness_nm, u_nm, mark <> '', gauge, fit_id, role, condition, box, match_id) p
  JOIN plates_kind k ON k.shop_id = %(shop)s AND k.id = p.kind_id
  LEFT JOIN plates_bin b ON b.shop_id = %(shop)s AND b.id = p.bin_id
 WHERE p.condition = 'new' OR k.reuse_minimum_nm IS NULL OR p.thickness_nm >= k.reuse_minimum_nm
 ORDER BY 1
"""


def used_roles(used_ok: bool | None) -> list[str]:
    """The roles of which used plates go in, too, above their minimum: all or none as the question says; where it does
    not say, all but frictions.
    """
    if used_ok is None:
        return [role for role in Role.values if role != Role.FRICTION]
    return list(Role.values) if used_ok else []


def shelf(
    *,
    shop_id: uuid.UUID,
    fits: list[uuid.UUID],
    roles: list[str],
    used_ok: bool | None,
    most: int,
    boxes: bool = False,
    held_by: uuid.UUID | None = None,
    let_in: Collection[uuid.UUID] = (),
) -> list[OnShelf]:
    """What lies on the shelf for these fits and roles, plates held by ``held_by`` and for the matches ``let_in``
    included: of plates alike in all but age the oldest ``most``. ``used_ok`` as in :func:`used_roles`.
    """
    values: dict[str, Any] = {
        "shop": shop_id,
        "fits": fits,
        "roles": roles,
        "matches": [*let_in, *([held_by] if held_by else [])],
        "most": most,
        "boxes": boxes,
        "used_roles": used_roles(used_ok),
    }
    # Without a match that holds plates, the partial index of the shelf alone answers.
    there = "state = 'on_shelf'"
    if values["matches"]:
        there = f"({there} OR (state = 'held' AND match_id = ANY(%(matches)s)))"
    with connection.cursor() as cursor:
        cursor.execute(_SHELF.format(there=there), values)
        return [
            OnShelf._make((*one, 0 if number else like[3], *like[4:11], Interchange._make(like[11:])))
            for like in cursor.fetchall()
            for number, one in enumerate(zip(*like[:3], strict=True))
        ]


def held_for_others(
    *, shop_id: uuid.UUID, fits: Collection[uuid.UUID], roles: Collection[str], but_for: uuid.UUID | None
) -> QuerySet[Plate]:
    """The plates of these fits and roles that are held for other matches than ``but_for``, each with ``holder``: who
    holds it.
    """
    held = LedgerLine.objects.filter(shop_id=shop_id, plate=OuterRef("pk"), act=Act.HELD).order_by("-seq")
    return (
        Plate.objects.filter(shop_id=shop_id, state=State.HELD, held_until__gt=Now(), fit__in=fits, role__in=roles)
        .exclude(match=but_for)
        .select_related("job")
        .annotate(number=F("match__number"), holder=Subquery(held.values("person__username")[:1]))
    )


def batch(*, person: Person, batch_id: uuid.UUID, since: datetime) -> QuerySet[Plate]:
    """The plates of one batch at the counter, those of its lots included, the last one first; undone scans left out.

    Every form of a batch carries a key that begins with the batch, and each plate or its lot keeps the key that made
    it; ``since`` (when the batch began) bounds what has to be looked at.
    """
    made_here = f"{person.pk}:{batch_id}."
    lines = LedgerLine.objects.filter(
        Q(plate__made_key__startswith=made_here) | Q(plate__lot__made_key__startswith=made_here),
        shop_id=person.shop_id,
        at__gte=since - timedelta(minutes=5),  # the clocks of service and database may differ
        act=Act.RECEIVED,
        person=person,
    )
    undone = LedgerLine.objects.filter(shop_id=person.shop_id, plate=OuterRef("pk"), act=Act.UNDONE)
    return (
        plates(person.shop_id)
        .select_related("kind", "fit", "bin", "lot")
        .filter(pk__in=lines.values("plate"))
        .exclude(Exists(undone))
        .order_by("-id")
    )


def bins_with_contents(shop_id: uuid.UUID) -> QuerySet[Bin]:
    """All bins, each with ``lying`` (held ones included) and ``held``. Of a slice only its own bins are counted: by a
    look into each, not by grouping the shop's plates.
    """
    inside = Plate.objects.filter(shop_id=shop_id, bin=OuterRef("pk"), state__in=LYING).order_by().values("bin")
    held = inside.filter(state=State.HELD, held_until__gt=Now())
    return bins(shop_id).annotate(
        lying=Coalesce(Subquery(inside.annotate(count=Count("pk")).values("count")), 0),
        held=Coalesce(Subquery(held.annotate(count=Count("pk")).values("count")), 0),
    )


def unsorted(shop_id: uuid.UUID) -> QuerySet[Plate]:
    """What lies on the shelf without a bin."""
    return plates(shop_id).filter(bin=None, state__in=LYING).order_by("fit__code", "thickness_nm")


def quarantined(shop_id: uuid.UUID) -> QuerySet[Plate]:
    """What is set aside, the latest first, each with ``why``: the reason that its last booking gives."""
    booked = LedgerLine.objects.filter(
        shop_id=shop_id, plate=OuterRef("pk"), act__in=(Act.RECEIVED, Act.PUT_BACK)
    ).order_by("-seq")
    rows = plates(shop_id).filter(state=State.QUARANTINED)
    return rows.annotate(why=Subquery(booked.values("reason")[:1])).order_by("-id")
