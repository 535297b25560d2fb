"""Would a hold free the plates that are missing? What to ask another bench for; nothing is taken."""

import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from plates.bench.options import option_of
from plates.bench.pose import Posed, fits_of
from plates.catalogue.spec_models import Slot
from plates.matching.problem import Exchange
from plates.matching.search import match
from plates.stock.models import Plate
from plates.stock.selectors import held_for_others

#: Of more holds than this, those that run out first are tried alone.
TRIED_ALONE = 8


@dataclass
class Hold:
    """What one other match holds: ``rows`` are its plates among the candidates."""

    plate: Plate
    rows: list[int]

    def told(self, posed: Posed, exchange: Exchange, others: Sequence["Hold"]) -> dict[str, Any]:
        """What the pack would read with these plates, those of ``others`` beside them; lengths in nm."""
        option, mine = option_of(posed, exchange), {posed.problem.pool.keys[row] for row in self.rows}
        return {
            "match": str(self.plate.match_id),
            "number": self.plate.number,  # type: ignore[attr-defined]
            "job": self.plate.job.code if self.plate.job else None,
            "person": self.plate.holder,  # type: ignore[attr-defined]
            "until": self.plate.held_until.isoformat() if self.plate.held_until else None,
            "plates": [row for row in option["in"] if row["plate"] in mine],
            "with": [other.plate.number for other in others],  # type: ignore[attr-defined]
            **{name: option[name] for name in ("changes", "predicted_nm", "u_nm", "probability", "confidence")},
        }


def holds_that_close(
    *, shop_id: uuid.UUID, slots: Sequence[Slot], held_by: uuid.UUID | None, put: Callable[..., Posed]
) -> list[dict[str, Any]]:
    """The holds of others with whose plates the pack that the shelf cannot close could be closed.

    First those whose release alone suffices, the sure ones before the marginal; where none of them is sure, those that
    would do it together, if that is sure or there is no other way. ``put`` puts the question with the plates of some
    matches let in. Takes its time as the search does: never under a lock.
    """
    plates = held_for_others(
        shop_id=shop_id, fits=fits_of(slots), roles={slot.role for slot in slots}, but_for=held_by
    )
    found = {str(plate.pk): plate for plate in plates} if slots else {}
    if not found:
        return []
    posed = put(let_in={plate.match_id for plate in found.values()})
    holds = _holds(posed, found)
    options = match(posed.problem).options if holds else ()
    if not options:
        return []
    alone = [hold.told(posed, one, []) for hold, one in _alone(posed, holds, options)]
    alone.sort(key=lambda row: (row["confidence"] != "sure", row["changes"], row["until"]))
    best = options[0]
    if alone and (alone[0]["confidence"] == "sure" or not best.sure):
        return alone
    drawn = {row for _, row in best.ins}
    joined = [hold for hold in holds if drawn & set(hold.rows)]
    if len(joined) < 2:
        return alone
    return alone + [hold.told(posed, best, [other for other in joined if other is not hold]) for hold in joined]


def _holds(posed: Posed, found: Mapping[str, Plate]) -> list[Hold]:
    """The holds of which a plate may go into this pack, those that run out first before the others."""
    serves = {int(row) for slot in posed.problem.slots for row in (*slot.ordinary, *slot.substitute)}
    holds: dict[uuid.UUID | None, Hold] = {}
    for row, key in enumerate(posed.problem.pool.keys):
        if row in serves and (plate := found.get(str(key))):
            holds.setdefault(plate.match_id, Hold(plate, [])).rows.append(row)
    return sorted(holds.values(), key=lambda hold: (hold.plate.held_until, str(hold.plate.match_id)))


def _alone(posed: Posed, holds: Sequence[Hold], options: Sequence[Exchange]) -> Iterator[tuple[Hold, Exchange]]:
    """Each hold that closes the pack with the shelf alone, with the first option that it gives."""
    if len(holds) == 1:
        yield holds[0], options[0]
        return
    held = {row for hold in holds for row in hold.rows}
    for hold in holds[:TRIED_ALONE]:
        alone = match(posed.problem.without(held - set(hold.rows))).options
        if alone and {row for _, row in alone[0].ins} & set(hold.rows):
            yield hold, alone[0]
