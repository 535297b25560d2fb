"""Why what is on hand does not go into this pack: a few lines, those first that would have helped most."""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

import numpy as np
from django.utils import timezone
from numpy.typing import NDArray

from plates.bench.pool import Whole
from plates.bench.pose import Posed
from plates.bench.question import Question
from plates.bench.stack_limits import sizes_of
from plates.catalogue.selectors import fits_of_the_same_teeth
from plates.catalogue.spec_models import Slot, Spec
from plates.lengths import both
from plates.matching.problem import Problem
from plates.matching.shortfall import would_close
from plates.stock.kept_away import KeptAway, Place, kept_away
from plates.stock.selectors import OnShelf

#: Reasons that keep a plate away, those first that are easiest to change, and how each reads after the number of
#: plates. Those that a rule of the spec makes carry its code.
REASONS = {
    "held": "held for another pack",
    "box": "in a sealed box, not opened unless you say so",
    "used": "used, and used ones are not asked for",
    "spread": "that would make the pack too uneven",
    "splines": "that would make the stack too high",
    "thickest": "thicker than it takes",
    "thinnest": "thinner than it takes",
    "quarantined": "set aside",
    "fit": "of a fit with the same teeth that is not proven for this slot",
    "worn": "used, below the reuse minimum of their kind",
    "material": "of another material than it takes",
    "facing": "of another facing than it takes",
    "lining": "lined on another number of faces",
    "owner": "a customer's, never for another job",
}
#: What lies free and stands in no option: what one alone, in place of one, would do.
FREE = {
    "farther": "more on the shelf: one alone would close it, too, but no nearer to the target than what is offered",
    "ends_below": "more on the shelf: one alone, in place of any, leaves it below the window",
    "ends_above": "more on the shelf: one alone, in place of any, leaves it above the window",
}
#: Where the owner or the question opens the way; with any other reason a plate stays out, however well it would fit.
OPEN = ("held", "box", "used", "spread", "splines", "thickest", "thinnest")
#: So many examples of kinds, matches, owners, boxes stand in one line.
EXAMPLES = 3

Ranges = list[list[tuple[int, int]]]


@dataclass
class Group:
    """Plates that one reason keeps away from one slot, as they are told; ``names`` are what the reason names."""

    reason: str
    slot: Slot
    count: int = 0
    from_nm: int = 0
    to_nm: int = 0
    closes: bool = False
    kinds: list[str] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    holds: list[dict[str, Any]] = field(default_factory=list)

    def add(self, count: int, from_nm: int, to_nm: int, closes: bool) -> None:
        self.from_nm = min(self.from_nm, from_nm) if self.count else from_nm
        self.to_nm = max(self.to_nm, to_nm)
        self.count, self.closes = self.count + count, self.closes or closes


def why_not(
    *,
    spec: Spec,
    question: Question,
    posed: Posed,
    options: Sequence[dict[str, Any]],
    unit: str,
    held_by: uuid.UUID | None = None,
) -> list[dict[str, Any]]:
    """What is on hand and in no option, grouped: slot, reason, count, from_nm, to_nm, closes, text, kinds, matches.

    ``posed`` and ``options`` are the question as it was searched. Two queries, and no search: ``closes``, that one
    plate alone would bring the pack into its window, is plain arithmetic, left out where the pack may stay as it is.
    """
    if not posed.slots:
        return []
    stays = any(not option["changes"] for option in options)
    problem = replace(posed.problem, max_changes=0 if stays else min(1, _most(posed.problem)))
    kept = _kept(spec, question, posed.slots, problem, held_by)
    free = _free(posed, problem, options)
    kept += [group for group in free if group.reason not in FREE]
    order = list(REASONS)
    kept.sort(key=lambda group: (not group.closes, order.index(group.reason)))
    told = [_told(spec, question, group, unit) for group in kept]
    told += _rules(spec, problem, {group.reason for group in kept}, unit)
    return told + [_told(spec, question, group, unit) for group in free if group.reason in FREE]


def _most(problem: Problem) -> int:
    return 1 if problem.max_changes is None else problem.max_changes


def _closing(problem: Problem) -> Ranges:
    """Of each slot the thicknesses of which one new plate alone closes the pack."""
    found: Ranges = [[] for _ in problem.slots]
    for one in would_close(problem):
        found[one.slot].append((one.from_nm, one.to_nm))
    return found


def _any_size(problem: Problem) -> Problem:
    slots = (replace(slot, thinnest_nm=1, thickest_nm=None) for slot in problem.slots)
    return replace(problem, slots=tuple(slots))


def _kept(
    spec: Spec, question: Question, slots: Sequence[Slot], problem: Problem, held_by: uuid.UUID | None
) -> list[Group]:
    closing, any_size = _closing(problem), _closing(_any_size(problem))
    alike = fits_of_the_same_teeth(spec.shop_id, [slot.fit for slot in slots])
    places = []
    for number, slot in enumerate(slots):
        proven = {slot.fit_id: slot.fit.code} | {one.fit_id: one.fit.code for one in slot.further_fits.all()}
        teeth = (slot.fit.tooth_side, slot.fit.teeth)
        siblings = {fit.pk: fit.code for fit in alike if (fit.tooth_side, fit.teeth) == teeth and fit.pk not in proven}
        places.append(
            Place(
                slot.role,
                slot.lined_faces,
                slot.material,
                slot.facing,
                proven,
                siblings,
                *sizes_of(slot, question),
                closing[number],
                any_size[number],
            )
        )
    rows = kept_away(
        shop_id=spec.shop_id, places=places, used_ok=question.used_ok, boxes=question.open_boxes, held_by=held_by
    )
    return _grouped(rows, slots)


def _grouped(rows: Iterable[KeptAway], slots: Sequence[Slot]) -> list[Group]:
    groups: dict[tuple[int, str], Group] = {}
    for row in rows:
        group = groups.setdefault((row.slot, row.reason), Group(row.reason, slots[row.slot]))
        group.add(row.plates, row.thinnest_nm, row.thickest_nm, row.closes)
        if row.kind not in group.kinds:
            group.kinds.append(row.kind)
        if row.note and row.note not in group.names:
            group.names.append(row.note)
        if row.until is not None:
            hold = {"number": row.match, "job": row.job, "until": row.until.isoformat()}
            if hold not in group.holds:
                group.holds.append(hold)
    return list(groups.values())


def _free(posed: Posed, problem: Problem, options: Sequence[dict[str, Any]]) -> list[Group]:
    """What lies free and is in no option, by what one of them alone would do; silent where no single one can be put in
    by itself.
    """
    pool = problem.pool
    offered = {row["plate"] for option in options for row in option["in"]}
    lies = np.array([isinstance(one, OnShelf) for one in posed.candidates], dtype=bool)
    # A row may stand for more plates than were read; what is offered is none of those that are left.
    left = np.array(
        [
            one.stands_for - (key in offered) if isinstance(one, OnShelf) else 0
            for one, key in zip(posed.candidates, pool.keys, strict=True)
        ],
        dtype=np.int64,
    )
    closing = _closing(problem)
    unlimited = _closing(replace(_any_size(problem), spread=None, splines=None))
    lifted = {
        "spread": _closing(replace(problem, spread=None)),
        "splines": _closing(replace(problem, splines=None)),
    }
    # Thick plates take up clearance, and make a stack high.
    thick, thin = ("ends_below", "ends_above") if problem.measures == "gap" else ("ends_above", "ends_below")
    groups = []
    for number, slot in enumerate(posed.slots):
        place = problem.slots[number]
        rows = np.concatenate([place.ordinary, place.substitute])
        rows = rows[lies[rows]]
        lengths, pieces = pool.thickness_nm[rows], left[rows]
        closes = _within(lengths, closing[number])
        parts = {"farther": closes}
        for rule, ranges in lifted.items():
            parts[rule] = _within(lengths, ranges[number]) & ~closes
        if ranges_nm := unlimited[number]:
            parts[thick] = lengths > max(to_nm for _, to_nm in ranges_nm)
            parts[thin] = lengths < min(from_nm for from_nm, _ in ranges_nm)
        for reason, part in parts.items():
            sizes, size_of = np.unique(lengths[part], return_inverse=True)
            count = np.zeros(len(sizes), np.int64)
            np.add.at(count, size_of, pieces[part])
            if count.any():
                some = sizes[count > 0]
                group = Group(reason, slot)
                group.add(
                    int(count.sum()), int(some[0]), int(some[-1]), reason not in ("ends_below", "ends_above")
                )
                groups.append(group)
    return groups


def _within(lengths: Whole, ranges: Sequence[tuple[int, int]]) -> NDArray[np.bool_]:
    found = np.zeros(len(lengths), dtype=bool)
    for from_nm, to_nm in ranges:
        found |= (lengths >= from_nm) & (lengths <= to_nm)
    return found


# --- in words ------------------------------------------------------------------------------------------------------


def _row(reason: str, text: str) -> dict[str, Any]:
    figures = {"slot": None, "count": None, "from_nm": None, "to_nm": None, "closes": False}
    return {**figures, "reason": reason, "text": text, "kinds": [], "matches": []}


def _rules(spec: Spec, problem: Problem, told: set[str], unit: str) -> list[dict[str, Any]]:
    """Rules of the whole stack that are in force and were not told with the plates that they keep away."""
    found = []
    if problem.spread is not None and "spread" not in told:
        found.append(_row("spread", f"{_figure(spec, 'spread', unit)}.{_lifts(spec, 'spread')}"))
    if problem.splines is not None and "splines" not in told:
        found.append(_row("splines", f"{_figure(spec, 'splines', unit)}.{_lifts(spec, 'splines')}"))
    return found


def _figure(spec: Spec, rule: str, unit: str) -> str:
    if rule == "spread":
        return f"The steels of this pack differ by no more than {both(spec.spread_nm or 0, unit)}"
    return f"The plates of this pack stand no higher than {both(spec.splines_nm or 0, unit)}"


def _lifts(spec: Spec, rule: str) -> str:
    return " The owner may lift that for one pack." if rule in spec.liftable else ""


def _told(spec: Spec, question: Question, group: Group, unit: str) -> dict[str, Any]:
    ends = dict.fromkeys((group.from_nm, group.to_nm))
    span = " to ".join(both(length_nm, unit) for length_nm in ends)
    words = (FREE | REASONS)[group.reason]
    text = f"{group.slot.name}: {group.count} {words}, {span}{_detail(spec, question, group, unit)}."
    if group.closes and group.reason not in FREE:
        which = "it" if group.count == 1 else "one of them"
        said = f"{which} would close it" if group.reason in OPEN else f"by its thickness {which} would close it"
        text += f" {said[0].upper()}{said[1:]}."
    text += _lifts(spec, group.reason)
    return {
        "slot": group.slot.name,
        "reason": group.reason,
        "count": group.count,
        "from_nm": group.from_nm,
        "to_nm": group.to_nm,
        "closes": group.closes,
        "text": text,
        "kinds": group.kinds[:EXAMPLES],
        "matches": group.holds[:EXAMPLES],
    }


def _detail(spec: Spec, question: Question, group: Group, unit: str) -> str:
    """What the reason names, behind a colon; blank where there is nothing to name."""
    slot = group.slot
    thinnest_nm, thickest_nm = sizes_of(slot, question)
    named = {
        "material": [f"the slot takes {slot.material}"],
        "facing": [f"the slot takes {slot.facing}"],
        "thinnest": [f"the thinnest is {both(thinnest_nm, unit)}"],
        "thickest": [f"the thickest is {both(thickest_nm or 0, unit)}"],
        "spread": [_figure(spec, "spread", unit)],
        "splines": [_figure(spec, "splines", unit)],
        "held": [_hold(hold) for hold in group.holds],
    }.get(group.reason, [name.rstrip(".") for name in group.names])
    if not named:
        return ""
    most = 1 if group.reason == "quarantined" else EXAMPLES  # each says its figures at length
    more = f"; and {len(named) - most} more" if len(named) > most else ""
    return f": {'; '.join(named[:most])}{more}"


def _hold(hold: dict[str, Any]) -> str:
    until = timezone.localtime(datetime.fromisoformat(hold["until"]))
    job = f", job {hold['job']}" if hold["job"] else ""
    return f"match {hold['number']}{job}, until {until.day} {until:%B %H:%M}"
