"""The sheet that goes with a built pack: what stands in it, how it was measured before and after, and by whom."""

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from plates.bench.models import FinalCheck, Match, MatchState
from plates.bench.odd import odd_ones
from plates.bench.overrides import overrides_shown
from plates.bench.question import Question
from plates.bench.shown import USUAL_CAUTIONS, interleaved
from plates.bench.slip.outs import FATES, outs_open
from plates.catalogue.spec_models import Slot
from plates.stock.models import Plate, State
from shop.errors import WrongState


@dataclass(frozen=True)
class Layer:
    """One plate of the built stack. ``thickness_nm`` None: nobody read it and the book is silent. ``origin`` says where
    it comes from; ``new``: it came in with this match.
    """

    slot: str
    role: str
    place: str
    thickness_nm: int | None
    new: bool = False
    kind: str = ""
    bin: str = ""
    origin: str = ""


@dataclass(frozen=True)
class Measured:
    """One reading of the pack, as it was typed and as it counts."""

    at: datetime
    person: str
    terminal: str | None
    method: str
    gauge: str
    soaked: bool
    readings: list[str]
    as_read_nm: int
    clearance_nm: int


@dataclass(frozen=True)
class BuildSheet:
    """Everything that the sheet says. ``stack`` from the base up, as it is drawn; ``after`` None until measured."""

    match: Match
    stack: list[Layer]
    before: Measured
    after: Measured | None
    #: Checks that came out of the window before this stack.
    earlier: list[FinalCheck]
    residual_nm: int | None
    pulled: list[dict[str, Any]]
    outs: list[dict[str, Any]]

    @property
    def built(self) -> dict[str, Any]:
        assert self.match.built is not None
        return self.match.built

    @property
    def overrides(self) -> list[dict[str, Any]]:
        """What was lifted for this pack."""
        return overrides_shown(self.match)

    @property
    def odd(self) -> list[dict[str, Any]]:
        """Slots whose plates clearly differ, each with where an odd one goes."""
        return odd_ones(self.match.question, self.built)

    @property
    def usual(self) -> list[str]:
        return USUAL_CAUTIONS


def build_sheet(match: Match) -> BuildSheet:
    """The sheet of a match that is taken or closed, with its spec's stack and its final checks at hand; one query.

    Raises WrongState for any other.
    """
    state = getattr(match, "state_now", match.state)
    if state not in (MatchState.TAKEN, MatchState.CLOSED):
        raise WrongState(f"Match {match.number} is {state}: there is a build sheet once its plates are taken.")
    assert match.built is not None
    checks = list(match.final_checks.all())
    last = checks.pop() if state == MatchState.CLOSED else None
    done = [{**one, "fate_words": FATES[one["fate"]]} for one in match.outs]
    return BuildSheet(
        match=match,
        stack=_stack(match),
        before=_of_check(checks[-1]) if checks else _as_asked(match),
        after=_of_check(last) if last else None,
        earlier=checks,
        residual_nm=last.residual_nm if last else None,
        pulled=[row for row in match.slip if row.get("pulled")],
        outs=done + [{**row, "fate": None} for row in outs_open(match)],
    )


def _as_asked(match: Match) -> Measured:
    asked = match.question
    return Measured(
        match.asked_at,
        match.person.username,
        match.terminal.code if match.terminal else None,
        match.method,
        asked["gauge"],
        asked["soaked"],
        match.readings,
        match.as_read_nm,
        match.clearance_nm,
    )


def _of_check(check: FinalCheck) -> Measured:
    return Measured(
        check.at,
        check.person.username,
        check.terminal.code if check.terminal else None,
        check.method,
        check.gauge,
        check.soaked,
        check.readings,
        check.as_read_nm,
        check.clearance_nm,
    )


def _stack(match: Match) -> list[Layer]:
    """The built stack from the base up: what stayed, and what came in, each with where it comes from."""
    slots, built = list(match.spec.slots.all()), match.built or {}
    question = Question.from_json(match.question)
    before = _taken_before(match, {row["plate"] for row in built["in"]})
    filled = {}
    for slot in slots:
        gone = {row["row"] for row in built["out"] if row["slot"] == slot.name}
        layers = [] if slot.name in question.left_out else _book(slot)
        if slot.name in question.installed:
            stayed = [one for row, one in enumerate(question.installed[slot.name]) if row not in gone]
            layers = [
                _layer(slot, one.thickness_nm, origin="book size, not read")
                if one.at_book
                else _in_before(slot, one.thickness_nm, before)
                for one in stayed
            ]
        layers += [_came_in(slot, row) for row in built["in"] if row["slot"] == slot.name]
        filled[slot.name] = layers
    return interleaved(slots, filled)


def _layer(slot: Slot, thickness_nm: int | None, **more: Any) -> Layer:
    return Layer(slot.name, slot.get_role_display(), slot.place, thickness_nm, **more)


def _book(slot: Slot) -> list[Layer]:
    origin = "stayed, book size" if slot.nominal_nm else "stayed, not read"
    return [_layer(slot, slot.nominal_nm, origin=origin)] * slot.count


def _came_in(slot: Slot, row: dict[str, Any]) -> Layer:
    origin = row["source"] or ("" if row["plate"] else "the bench")
    return _layer(
        slot, row["thickness_nm"], new=True, kind=row["kind"] or "", bin=row["bin"] or "", origin=origin
    )


def _in_before(slot: Slot, thickness_nm: int, before: list[Plate]) -> Layer:
    """A plate that stayed; one that an earlier take of this very match brought in is new with it all the same."""
    fits = slot.fit_ids
    for plate in before:
        if (plate.thickness_nm, plate.role) == (thickness_nm, slot.role) and plate.fit_id in fits:
            before.remove(plate)
            return _layer(
                slot, thickness_nm, new=True, kind=plate.kind.code, bin=plate.bin.code if plate.bin else ""
            )
    return _layer(slot, thickness_nm, origin="stayed")


def _taken_before(match: Match, now: set[Any]) -> list[Plate]:
    """Plates that were taken for this match before the option that is built now."""
    taken = Plate.objects.filter(shop_id=match.shop_id, match=match, state=State.TAKEN).select_related("kind", "bin")
    return list(taken.exclude(pk__in=[uuid.UUID(one) for one in now if one]).order_by("pk"))
