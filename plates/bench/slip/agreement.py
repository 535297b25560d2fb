"""Which plate left the bin? Nobody can tell like plates of one bin apart; a micrometer can.

**The rule of agreement.** Two micrometer readings are of one plate when they differ by no more than 2·√(u1² + u2²): the
expanded uncertainty (k = 2) of their difference (JCGM 100:2008, 5.1.2 and 6.2.1). Each u is the micrometer's 0.0002 in
(common practice, no source; a shop may set its own); a plate that was not read itself, of a lot say, adds its own u to
its side. So two readings agree within 0.0005657 in. Among the plates that agree the nearest is the one that left, and
the slip's own where another is as near.
"""

import uuid
from collections.abc import Iterable
from typing import Any

from django.db.models import Case, F, FloatField, Q, Value, When
from django.db.models.functions import Abs, Sqrt

from plates.bench.models import Match
from plates.bench.question import Question
from plates.catalogue.models import Kind
from plates.stock.models import Condition, Plate, State
from plates.stock.selectors import used_roles


def _within(match: Match) -> Any:
    """Twice the u of the difference between a fresh reading and the one on record, in nm."""
    u_nm = Question.from_json(match.question).figures.micrometer_nm
    return 2 * Sqrt(Value(2.0 * u_nm**2) + F("u_nm") * F("u_nm"), output_field=FloatField())


def named_rows(match: Match) -> dict[uuid.UUID, dict[str, Any]]:
    """The rows of the slip that name a plate of the shelf, by that plate; what lay on a bench leaves no bin."""
    return {uuid.UUID(row["plate"]): row for row in match.slip if row["plate"] and not row.get("out_of")}


def plate_that_left(match: Match, named: Plate, reading_nm: int) -> Any:
    """The plate that was read: the nearest that agrees, else the nearest on record; with ``off_nm``, ``within_nm`` and
    ``agrees``. One query, without locks.

    Candidates: the named plate of the slip, and unless that one can be told by its mark, box or owner, the plates of
    its kind and bin that it may be mistaken for: on the shelf and fit for this pack, or on the slip and not read yet.
    """
    candidates = Q(pk=named.pk)
    if not (named.mark or named.kind.mark or named.box or named.owner):
        unread = [plate for plate, row in named_rows(match).items() if not row.get("pulled")]
        alike = Q(kind=named.kind, bin=named.bin_id, mark="", box="", owner="")
        on_slip = Q(pk__in=unread, state=State.TAKEN, match=match)
        candidates |= alike & (on_slip | Q(state=State.ON_SHELF) & _fit_for(match, named.kind))
    return (
        Plate.objects.filter(candidates, shop_id=match.shop_id)
        .select_related("kind__fit", "bin")
        .annotate(off_nm=Abs(F("thickness_nm") - reading_nm), within_nm=_within(match))
        .annotate(
            agrees=Case(When(off_nm__lte=F("within_nm"), then=Value(True)), default=Value(False)),
            other=Case(When(pk=named.pk, then=Value(0)), default=Value(1)),
        )
        .order_by("-agrees", "off_nm", "other", "u_nm", "received_at", "pk")[0]
    )


def _fit_for(match: Match, kind: Kind) -> Q:
    """Which plates of this kind the match may be offered: a used one only where it was asked for, above its minimum."""
    if kind.role not in used_roles(match.question["used_ok"]):
        return Q(condition=Condition.NEW)
    return Q(condition=Condition.NEW) | Q(thickness_nm__gte=kind.reuse_minimum_nm or 0)


def row_read(match: Match, reading_nm: int) -> uuid.UUID | None:
    """The plate of the slip that a reading is most likely of: the nearest that was not read yet, else the nearest."""
    rows = named_rows(match)
    return _nearest((plate for plate, row in rows.items() if not row.get("pulled")), rows, reading_nm) or _nearest(
        rows, rows, reading_nm
    )


def _nearest(
    plates: Iterable[uuid.UUID], rows: dict[uuid.UUID, dict[str, Any]], reading_nm: int
) -> uuid.UUID | None:
    return min(plates, key=lambda plate: abs(rows[plate]["thickness_nm"] - reading_nm), default=None)
